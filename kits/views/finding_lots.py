"""Find a lot: type or scan any code; where it is, what moved, and in whom it is. One lot with its facts."""

from django.shortcuts import render

from kits.item_history import item_history
from kits.lot_pages import handled_at, lots_page
from practice import access, clock
from practice.refusals import Refusal
from stock.forms import ReasonForm
from stock.looking_up import look_up
from stock.models import Lot

_WITH = ("item", "supplier", "received_by")


def _answer(request, text):
    """(what the text names, lots to tell of, why there are none)."""
    try:
        found = look_up(text=text, today=clock.today(clinic=request.clinic))
    except Refusal as refusal:
        return None, [], str(refusal)
    if found.lots or found.items:
        return found, found.lots, ""
    what = found.number or found.label.gtin or text
    return found, [], f"Nothing here is called “{what}”: no lot, serial, tissue unit, donor, code or item."


def _history(request, item):
    return item_history(
        item=item,
        clinic=request.clinic,
        clinics=list(access.clinics(request.user)),
        today=clock.today(clinic=request.clinic),
    )


@access.signed_in()
def find_lot(request):
    """Where something is, every movement, every patient, and what came from the same donor."""
    text = request.GET.get("q", "").strip()
    shown = {"q": text}
    if text:
        found, lots, fault = _answer(request, text)
        shown |= {"found": found, "fault": fault}
        if lots:
            today, clinics = clock.today(clinic=request.clinic), access.clinics(request.user)
            shown["page"] = lots_page(lots=lots, clinics=list(clinics), today=today)
        elif found is not None and len(found.items) == 1:
            shown["history"] = _history(request, found.items[0])
    return render(request, "kits/stock/find_lot.html", shown, status=404 if shown.get("fault") else 200)


@access.signed_in()
def lot(request, lot_id):
    """One lot: its facts, where it is, what moved, in whom it is, and what may be done with it."""
    found = access.fetch(request.user, Lot, select=_WITH, pk=lot_id)
    clinics = list(access.clinics(request.user))
    page = lots_page(lots=[found], clinics=clinics, today=clock.today(clinic=request.clinic))
    handling = list(access.clinics(request.user, need="handle_stock"))
    shown = {
        "lot": found,
        "page": page,
        "standing": page.lots[0].standing,
        "may_handle": handled_at(page, handling) and access.may(request.user, request.clinic, "handle_stock"),
        "may_correct": access.may(request.user, request.clinic, "handle_stock"),
        "may_decide": access.may(request.user, request.clinic, "decide_holds"),
        "reason_form": ReasonForm(),
    }
    return render(request, "kits/stock/lot.html", shown)
