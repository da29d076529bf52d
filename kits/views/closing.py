"""Accounting for a tray and closing the case."""

from django.contrib import messages
from django.http import Http404
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from kits import chairside, closing
from kits.forms import FateForm
from kits.models import Case, CaseSite, Procedure, TrayLine, TrayUnit
from kits.nothing_placed import say_none
from kits.scan_words import meaning
from kits.views.answers import said
from kits.views.closing_page import at_hand, closing_page, lying_anywhere
from practice import access, clock
from practice.refusals import Refusal
from practice.teeth import show

_WITH = ("clinic__practice", "room", "patient", "clinician")
_NEED = "record_surgery"
# What a form of use straight from a place sends.
_SENT = ("code", "balance", "quantity", "key")


def _case(request, case_code: str, need: str = "see") -> Case:
    return access.fetch(request.user, Case, need=need, select=_WITH, code=case_code)


def _answer(request, case: Case, *, kind="ok", title, text=""):
    """Say what came of it: in place with the page redrawn, or on the page again without scripts."""
    if not request.htmx:
        return said(request, kind, title, text, "case_close", case.code)
    shown = closing_page(case, user=request.user) | {"kind": kind, "title": title, "text": text}
    status = 409 if kind == "refused" else 200
    answer = render(request, "kits/fragments/close_answer.html", shown, status=status)
    answer["HX-Retarget"], answer["HX-Reswap"] = "#said", "innerHTML"
    return answer


def _refuse(request, case: Case, refusal):
    title, _, text = str(refusal).partition(". ")
    return _answer(request, case, kind="refused", title=title if text else title.rstrip("."), text=text)


@access.signed_in()
@require_safe
def case_close(request, case_code):
    """Everything on the tray, and what became of it."""
    case = _case(request, case_code)
    if case.state not in (Case.State.SET_OUT, Case.State.IN_SURGERY):
        messages.warning(request, f"{case} is {case.get_state_display()}; there is no tray to account for.")
        return redirect("case", case_code=case.code)
    return render(request, "kits/close.html", closing_page(case, user=request.user))


def _site(request, case: Case, fate: str) -> CaseSite | None:
    _, _, number = fate.partition(":")
    return access.fetch(request.user, CaseSite, case=case, pk=int(number)) if number else None


@access.signed_in(need=_NEED)
@require_POST
def close_record(request, case_code):
    """Record what became of a unit: used at a tooth, wasted with a reason, put back."""
    case = _case(request, case_code, need=_NEED)
    form = FateForm(request.POST)
    if not form.is_valid():
        return _answer(request, case, kind="refused", title="Say what became of the unit")
    data = form.cleaned_data
    unit = access.fetch(request.user, TrayUnit, line__case=case, pk=data["unit"])
    try:
        unit = closing.record(
            unit=unit,
            outcome=data["fate"].partition(":")[0],
            quantity=data["quantity"] or unit.quantity,
            site=_site(request, case, data["fate"]),
            reason=data["reason"],
            note=data["note"],
            by=request.user,
            at=clock.now(),
        )
    except Refusal as refusal:
        return _refuse(request, case, refusal)
    return _answer(
        request, case, title=f"{unit.quantity} × {unit.lot.item.name}: {unit.get_outcome_display()}"
    )


@access.signed_in(need=_NEED)
@require_POST
def close_undo(request, case_code):
    """Take back what was recorded for a unit."""
    case = _case(request, case_code, need=_NEED)
    unit = access.fetch(request.user, TrayUnit, line__case=case, pk=_number(request.POST.get("unit", "")))
    try:
        closing.undo(unit=unit, by=request.user, at=clock.now())
    except Refusal as refusal:
        return _refuse(request, case, refusal)
    return _answer(request, case, kind="notice", title=f"Taken back: {unit.lot.item.name}")


@access.signed_in(need=_NEED)
@require_POST
def close_site(request, case_code):
    """Say at which tooth a unit was used."""
    case = _case(request, case_code, need=_NEED)
    unit_id, site_id = (request.POST.get(name, "") for name in ("unit", "site"))
    unit = access.fetch(request.user, TrayUnit, line__case=case, pk=_number(unit_id))
    site = access.fetch(request.user, CaseSite, case=case, pk=_number(site_id))
    try:
        unit = closing.say_site(unit=unit, site=site, by=request.user, at=clock.now())
    except Refusal as refusal:
        return _refuse(request, case, refusal)
    tooth = show(site.tooth, case.clinic.tooth_notation)
    return _answer(request, case, title=f"{unit.quantity} × {unit.lot.item.name}: used at {tooth}")


@access.signed_in(need=_NEED)
@require_POST
def close_none(request, case_code):
    """Keep why none of what was planned for certain was placed."""
    case = _case(request, case_code, need=_NEED)
    line = access.fetch(request.user, TrayLine, case=case, pk=_number(request.POST.get("line", "")))
    try:
        say_none(line=line, why=request.POST.get("why", ""), by=request.user, at=clock.now())
    except Refusal as refusal:
        return _refuse(request, case, refusal)
    return _answer(request, case, title=f"{line.description}: none was placed")


def _number(text: str) -> int:
    return int(text) if text.isdecimal() else 0


@access.signed_in(need=_NEED)
@require_POST
def close_rest(request, case_code):
    """Record all that is left: opened as used, sealed as put back."""
    case = _case(request, case_code, need=_NEED)
    try:
        count = closing.settle_rest(case=case, by=request.user, at=clock.now())
    except Refusal as refusal:
        return _refuse(request, case, refusal)
    return _answer(request, case, title=f"Recorded the rest: {count} entries")


def _ask_why(request, case: Case, refusal):
    """The refusal with one field: it was used all the same, why. The form sends again what was sent."""
    title, _, text = str(refusal).partition(". ")
    sent = [(name, request.POST[name]) for name in _SENT if name in request.POST]
    shown = closing_page(case, user=request.user) | {"kind": "refused", "title": title, "text": text}
    template = "kits/fragments/close_answer.html" if request.htmx else "kits/close.html"
    answer = render(request, template, shown | {"again": request.path, "sent": sent}, status=409)
    if request.htmx:
        answer["HX-Retarget"], answer["HX-Reswap"] = "#said", "innerHTML"
    return answer


def _use(request, case: Case, balance, quantity: int, *, scanned: bool):
    """Record use straight from a place, and say so; once for each form that was drawn."""
    key, why = (request.POST.get(name, "").strip() for name in ("key", "although"))
    try:
        unit = chairside.add_used(
            case=case,
            lot=balance.lot,
            place=balance.place,
            quantity=quantity,
            scanned=scanned,
            key=key[:80],
            although=why,
            by=request.user,
            at=clock.now(),
        )
    except chairside.OVERRULED as refusal:
        return _ask_why(request, case, refusal)
    except Refusal as refusal:
        return _refuse(request, case, refusal)
    return _answer(request, case, title=f"{unit.quantity} × {unit.lot.item.name}: used from {balance.place}")


@access.signed_in(need=_NEED)
@require_POST
def close_room(request, case_code):
    """Record use of room stock."""
    case = _case(request, case_code, need=_NEED)
    number, count = request.POST.get("balance", ""), request.POST.get("quantity", "1")
    found = at_hand(case, request.user).filter(pk=int(number) if number.isdecimal() else 0).first()
    if found is None:
        raise Http404("Nothing of it lies there any more.")
    if not count.isdecimal() or int(count) < 1:
        return _answer(request, case, kind="refused", title="Say how many were used")
    return _use(request, case, found, int(count), scanned=False)


@access.signed_in(need=_NEED)
@require_POST
def close_scan(request, case_code):
    """Record use of whatever is scanned: something fetched during surgery."""
    case = _case(request, case_code, need=_NEED)
    try:
        meant = meaning(text=request.POST.get("code", ""), case=case, today=clock.today(clinic=case.clinic))
    except Refusal as refusal:
        return _refuse(request, case, refusal)
    here = at_hand(case, request.user)
    rows = here.filter(lot__in=meant.lots) if meant.lots else here.filter(lot__item=meant.item)
    found = rows.order_by("lot__expires_on", "pk").first() or lying_anywhere(case, request.user, meant.lots)
    if found is None:
        sentence = "If it was on the tray, record it there; if it is in your hand, have the stock counted."
        title = f"No unit of {meant.item.name} lies within reach"
        return _answer(request, case, kind="refused", title=title, text=sentence)
    return _use(request, case, found, 1, scanned=bool(meant.lots))


@access.signed_in(need=_NEED)
@require_POST
def close_done(request, case_code):
    """Close the case once everything is accounted for."""
    case = _case(request, case_code, need=_NEED)
    keys = [key for key in request.POST.getlist("procedure") if key.isdecimal()]
    done = list(access.visible(request.user, Procedure).filter(pk__in=keys)) if keys else None
    try:
        closing.close(case=case, procedures_done=done, by=request.user, at=clock.now())
    except Refusal as refusal:
        messages.error(request, str(refusal))
        return redirect("case_close", case_code=case.code)
    messages.success(request, f"{case} is closed. What went into the patient stands in the record.")
    return redirect("today")
