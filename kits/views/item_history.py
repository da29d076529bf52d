"""Every movement of an item, and every patient it was used in: page by page, and as files."""

from django.core.paginator import Paginator
from django.shortcuts import render
from django.views.decorators.http import require_safe

from kits import item_history
from kits.lot_pages import patient_shown
from kits.trace import Given
from practice import access
from stock.exports import KINDS, list_file
from stock.models import Item

PER_PAGE = 50


def _page(request, rows):
    return Paginator(rows, PER_PAGE).get_page(request.GET.get("page"))


@access.signed_in()
@require_safe
def item_moves(request, item_code):
    """Every movement of an item at the person's clinics, newest first."""
    item = access.fetch(request.user, Item, code=item_code)
    entries = item_history.item_moves(item=item, clinics=access.clinics(request.user))
    if request.GET.get("export") in KINDS:
        rows = item_history.move_rows(entries)
        name, header = f"movements-{item.code}", item_history.MOVES_HEADER
        return list_file(request.GET["export"], name=name, header=header, rows=rows)
    page = _page(request, entries.values_list("pk", flat=True))
    shown = {"item": item, "page": page, "moves": item_history.moves_by_number(list(page))}
    return render(request, "kits/stock/item_moves.html", shown)


@access.signed_in()
@require_safe
def item_patients(request, item_code):
    """Every use of an item in a patient at the person's clinics, newest first."""
    item = access.fetch(request.user, Item, code=item_code)
    uses = item_history.item_uses(item=item, clinics=access.clinics(request.user))
    if request.GET.get("export") in KINDS:
        rows = item_history.use_rows(uses)
        name, header = f"patients-{item.code}", item_history.USES_HEADER
        return list_file(request.GET["export"], name=name, header=header, rows=rows)
    page = _page(request, uses)
    shown = {"item": item, "page": page, "patients": [patient_shown(Given(unit)) for unit in page]}
    return render(request, "kits/stock/item_patients.html", shown)
