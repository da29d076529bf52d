"""Receive: scan the label of what arrived, check what was read, take it in."""

from django.contrib import messages
from django.db.models import F
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from practice import access, clock
from practice.refusals import Refusal
from stock.arrivals import take_in
from stock.forms import ReceiveForm
from stock.looking_up import look_up
from stock.models import Item, Order, OrderLine, Place
from stock.order_progress import RECEIVABLE
from stock.unit_words import units_and_packs, units_words
from stock.views.scope import fresh_key


def _lines(request, order, item):
    """Order lines that goods may arrive on: of the order and the item where they are known."""
    lines = access.visible(request.user, OrderLine, need="handle_stock").filter(
        order__clinic=request.clinic,
        order__state__in=RECEIVABLE,
        units_received__lt=F("packs") * F("pack_size"),
    )
    if order is not None:
        lines = lines.filter(order=order)
    if item is not None:
        lines = lines.filter(supplier_item__item=item)
    return lines.select_related("order__clinic", "order__supplier", "supplier_item__item").order_by(
        "order_id", "id"
    )


def _places(request):
    kinds = (*Place.PICKABLE, Place.Kind.QUARANTINE)
    places = access.visible(request.user, Place, need="handle_stock").filter(clinic=request.clinic)
    return places.filter(kind__in=kinds).select_related("clinic")


def _order(request):
    number = request.GET.get("order", "")
    if not number:
        return None
    return access.fetch(request.user, Order, select=("supplier", "clinic"), number=number)


def _read(request):
    """(what the scan names, why it names nothing)."""
    code = request.GET.get("code", "").strip()
    if not code:
        return None, ""
    try:
        found = look_up(text=code, today=clock.today(clinic=request.clinic))
    except Refusal as refusal:
        return None, str(refusal)
    if found.item is None:
        why = "names several items" if found.items or found.lots else "belongs to no item of the catalogue"
        return found, f"“{code}” {why}. Choose the item by its code below; the rest stays as it was read."
    return found, ""


def _facts(found, item, lines):
    """First values of the form: what the label says, and units of a pack where it does not say how many."""
    label = found.label
    known = found.lots[0] if len(found.lots) == 1 else None
    line = lines.first()
    pack = line.pack_size if line else 1
    one_by_one = item is not None and item.is_unit_tracked
    return {
        "item": item.code if item else "",
        "lot_number": label.lot or (known.lot_number if known else ""),
        "serial": label.serial or label.donation or "",
        "expires_on": label.expiry or (known.expires_on if known else None),
        "quantity": 1 if one_by_one else label.quantity or pack,
        "label_as_scanned": label.raw if label.is_sound else "",
        "order_line": line.pk if line else None,
    }


def _form(request, order, found):
    item = found.item if found else None
    lines = _lines(request, order, item)
    initial = {"key": fresh_key("receive"), "place": request.GET.get("place")}
    if found is not None:
        initial |= _facts(found, item, lines)
    items = access.visible(request.user, Item).active().stocked()
    if request.method == "POST":
        lines = _lines(request, order, None)
    form = ReceiveForm(
        request.POST or None, items=items, places=_places(request), lines=lines, initial=initial
    )
    form.fields["quantity"].help_text = _pack_help(item, lines)
    return form


def _pack_help(item, lines):
    """What a pack holds, so that nobody types packs for units."""
    line = lines.first() if item is not None else None
    if item is None or item.is_unit_tracked or line is None or line.pack_size == 1:
        return ""
    return f"Single units, not packs: 1 pack is {units_words(line.pack_size, item.stock_unit)}."


def _page(request, form, order, found, fault, status):
    shown = {
        "form": form,
        "order": order,
        "found": found,
        "item": found.item if found else None,
        "fault": fault,
        "codes": form.fields["item"].queryset.values_list("code", "name"),
        "expected": [_expected(line) for line in _lines(request, order, None)],
        "here": reverse("stock_receive"),
    }
    return render(request, "stock/receive.html", shown, status=status)


def _expected(line):
    left = line.units - line.units_received
    item = line.supplier_item.item
    words = units_and_packs(left, unit=item.stock_unit, pack_size=line.pack_size)
    return {"line": line, "item": item, "order": line.order, "left": left, "words": words}


def _again(request, form):
    """The address for the next scan: the same order and place."""
    place, line = form.cleaned_data["place"], form.cleaned_data["order_line"]
    order = f"&order={line.order.number}" if request.GET.get("order") and line else ""
    return f"{reverse('stock_receive')}?place={place.pk}{order}"


def _receive(request, form):
    """Take the goods in; a refusal is put on the form."""
    facts = form.cleaned_data
    try:
        lot, _ = take_in(**facts, by=request.user, at=clock.now())
    except Refusal as refusal:
        form.add_error(None, str(refusal))
        return None
    units = units_words(facts["quantity"], lot.item.stock_unit)
    messages.success(request, f"{units} of {lot} lie at {facts['place']}. Scan the next.")
    today = clock.today(clinic=request.clinic)
    if lot.last_usable_on is not None and lot.last_usable_on < today:
        messages.warning(
            request, f"{lot} is already past its last day of use. Ask the supplier to take it back."
        )
    return redirect(_again(request, form))


@access.signed_in(need="handle_stock")
@require_http_methods(["GET", "HEAD", "POST"])
def stock_receive(request):
    """Receive goods, against an order or without one."""
    order = _order(request)
    found, fault = _read(request) if request.method != "POST" else (None, "")
    form = _form(request, order, found)
    status = 404 if fault else 200
    if form.is_bound:
        done = _receive(request, form) if form.is_valid() else None
        if done is not None:
            return done
        status = 409 if form.non_field_errors() else 422
    return _page(request, form, order, found, fault, status)
