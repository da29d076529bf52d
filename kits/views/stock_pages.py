"""Items of the clinic and one item: stock, forecast, where the use comes from, why to order."""

from django.shortcuts import render
from django_tables2 import RequestConfig

from kits.item_list import item_rows, matching
from kits.item_pages import item_page, mass_words
from kits.proposal_sums import sums_rows
from kits.replanning import ensure_fresh
from practice import access, clock
from stock.exports import KINDS, list_file
from stock.forms import ItemFilterForm
from stock.models import Item
from stock.tables import ItemTable
from stock.unit_words import packs_words

PER_PAGE = 50


def _file(kind, rows):
    header = (
        *("item", "name", "category", "unit", "on hand", "in date", "on order"),
        *("expected use 30 days", "covered until", "order by", "standing"),
    )
    lines = [
        (
            *(row.code, row.name, row.category, row.unit, row.on_hand, row.usable, row.due),
            *(row.expected_use_30d, row.covered_until, row.order_by_on, row.status.word),
        )
        for row in rows
    ]
    return list_file(kind, name="items", header=header, rows=lines)


def _narrowed(request, rows):
    """The filter form and the rows that fit it; a filter that makes no sense is left out."""
    form = ItemFilterForm(request.GET, categories=sorted({row.category for row in rows}))
    wanted = form.cleaned_data if form.is_valid() else {}
    found = matching(
        rows,
        text=request.GET.get("q", ""),
        category=wanted.get("category", ""),
        criticality=wanted.get("criticality", ""),
        standing=wanted.get("status", ""),
    )
    return form, found


@access.signed_in()
def items(request):
    """List, search, filter and export the clinic's items."""
    today = clock.today(clinic=request.clinic)
    ensure_fresh(clinic=request.clinic, today=today, at=clock.now())
    rows = item_rows(clinic=request.clinic, today=today)
    form, found = _narrowed(request, rows)
    if request.GET.get("export") in KINDS:
        return _file(request.GET["export"], found)
    table = ItemTable(found)
    RequestConfig(request, paginate={"per_page": PER_PAGE}).configure(table)
    shown = {
        "table": table,
        "form": form,
        "q": request.GET.get("q", ""),
        "filtered": any(request.GET.get(name) for name in ("q", *form.fields)),
        "found": len(found),
        "all": len(rows),
        "pressing": sum(row.status.state == "stop" for row in rows),
    }
    return render(request, "kits/stock/items.html", shown)


def _proposal_sums(page, item):
    """The figures behind the proposal, in lines; none where nothing is proposed."""
    if page.proposal is None or not page.proposal.sums:
        return []
    size = page.proposal.supplier_item.pack_size
    return sums_rows(page.proposal.sums, unit=item.stock_unit, pack_size=size)


@access.signed_in()
def item(request, item_code):
    """One item: facts, projection, lots, use, suppliers, movements."""
    found = access.fetch(request.user, Item, code=item_code)
    today = clock.today(clinic=request.clinic)
    ensure_fresh(clinic=request.clinic, today=today, at=clock.now())
    page = item_page(
        item=found,
        clinic=request.clinic,
        clinics=access.clinics(request.user),
        today=today,
        whole_plan=request.GET.get("days") == "all",
    )
    shown = {"item": found, "page": page, "today": today, "sums": _proposal_sums(page, found)}
    shown["grams"] = mass_words(page.forecast.expected_use_30d if page.forecast else None, found)
    shown["packs"] = packs_words(page.usable, page.pack_size)
    shown["may_handle"] = access.may(request.user, request.clinic, "handle_stock")
    return render(request, "kits/stock/item.html", shown)
