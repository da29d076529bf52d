"""Places of the clinic and what lies there."""

from django.shortcuts import render
from django_tables2 import RequestConfig

from practice import access, clock
from stock.exports import KINDS, list_file
from stock.models import Place
from stock.shelves import lying_in, with_contents
from stock.tables import PlaceStockTable

PER_PAGE = 50


@access.signed_in()
def places(request):
    """Every place of the clinic: how much lies there, and what is out of date."""
    today = clock.today(clinic=request.clinic)
    here = access.visible(request.user, Place).filter(clinic=request.clinic).order_by("id")
    return render(request, "stock/places.html", {"places": with_contents(here, today=today), "today": today})


def _file(kind, place, rows):
    header = ("item", "name", "lot", "serial", "expires", "units", "held or recalled")
    lines = [
        (
            row.lot.item.code,
            row.lot.item.name,
            row.lot.lot_number,
            row.lot.serial,
            row.lot.expires_on,
            row.quantity,
            row.lot.get_decision_display() if row.lot.decision else "",
        )
        for row in rows
    ]
    return list_file(kind, name=f"place-{place.pk}", header=header, rows=lines)


@access.signed_in()
def place(request, place_id):
    """What lies at one place: search, sort, export."""
    found = access.fetch(request.user, Place, select=("clinic",), pk=place_id)
    text = request.GET.get("q", "").strip()
    rows = lying_in(found, text=text)
    if request.GET.get("export") in KINDS:
        return _file(request.GET["export"], found, rows)
    table = PlaceStockTable(rows, today=clock.today(clinic=found.clinic))
    RequestConfig(request, paginate={"per_page": PER_PAGE}).configure(table)
    return render(request, "stock/place.html", {"place": found, "table": table, "q": text})
