"""Booking a case by hand, moving it, cancelling it."""

from zoneinfo import ZoneInfo

from django.contrib import messages
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from kits import scheduling
from kits.forms import BookForm, CaseTimeForm
from kits.models import Case, Procedure
from kits.views.case_page import people_at
from practice import access, clock
from practice.models import Room
from practice.patients import register
from practice.refusals import Refusal


def _rooms(request, clinic):
    return access.visible(request.user, Room).filter(clinic=clinic)


def time_form(request, case: Case, data=None) -> CaseTimeForm:
    """The form of when and where a case takes place."""
    # A field of time shows the moment as it is handed in, so it has to be on the clinic's own clock.
    local = case.starts_at.astimezone(ZoneInfo(case.clinic.time_zone))
    initial = {"on": case.on, "at": local, "minutes": case.minutes, "room": case.room_id}
    return CaseTimeForm(data, initial=initial, clinic=case.clinic, rooms=_rooms(request, case.clinic))


@access.signed_in(need="plan_case")
@require_http_methods(["GET", "HEAD", "POST"])
def case_book(request):
    """Book a case for a chart number; a new chart number makes a new patient."""
    form = BookForm(
        request.POST or None,
        initial={"on": clock.today(clinic=request.clinic)},
        clinic=request.clinic,
        rooms=_rooms(request, request.clinic),
        procedures=access.visible(request.user, Procedure).filter(is_active=True),
        people=people_at(request.user, request.clinic),
    )
    if form.is_valid():
        try:
            case = _book(request, form)
        except Refusal as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, f"{case} is booked. Complete its plan here.")
            return redirect("case", case_code=case.code)
    return render(request, "kits/case_book.html", {"form": form}, status=422 if form.is_bound else 200)


def _book(request, form: BookForm) -> Case:
    given, facts = form.cleaned_data, {"by": request.user, "at": clock.now()}
    chart = given["chart_number"]
    patient = register(practice=request.clinic.practice, chart_number=chart, **facts)
    names = ("minutes", "room", "clinician", "assistant", "teeth", "note", "on")
    return scheduling.book(
        clinic=request.clinic,
        patient=patient,
        procedures=list(given["procedures"]),
        starts_at=form.starts_at,
        **{name: given[name] for name in names},
        **facts,
    )


@access.signed_in(need="plan_case")
@require_http_methods(["GET", "HEAD", "POST"])
def case_move(request, case_code):
    """Move a case in time or to another room."""
    case = access.fetch(
        request.user, Case, need="plan_case", select=("clinic", "room", "patient"), code=case_code
    )
    form = time_form(request, case, request.POST or None)
    if form.is_valid():
        given = form.cleaned_data
        facts = {
            "on": given["on"],
            "starts_at": form.starts_at,
            "minutes": given["minutes"],
            "room": given["room"],
        }
        try:
            scheduling.move_case(case=case, by=request.user, at=clock.now(), **facts)
        except Refusal as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, f"{case} is moved; stock is promised anew in order of start.")
            return redirect("case", case_code=case.code)
    return render(
        request, "kits/case_move.html", {"case": case, "form": form}, status=422 if form.is_bound else 200
    )


@access.signed_in(need="plan_case")
@require_POST
def case_cancel(request, case_code):
    """Cancel a case and put back what lies on its tray."""
    case = access.fetch(request.user, Case, need="plan_case", code=case_code)
    try:
        scheduling.cancel_case(
            case=case, reason=request.POST.get("reason", ""), by=request.user, at=clock.now()
        )
    except Refusal as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, f"{case} is cancelled; what was sealed is back in its place.")
    return redirect("case", case_code=case.code)
