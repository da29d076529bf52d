"""The set-up of the present clinic: its facts, rooms, closures and policy."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from practice import access, clock, organising
from practice.first_steps import first_steps
from practice.forms import ClinicForm, ClosureForm, PolicyForm, RoomForm
from practice.models import Closure, Policy, Room
from practice.refusals import Refusal


@access.signed_in(need="set_up")
def set_up(request, kinds):
    """What can be set up; for a new clinic, what to do first."""
    clinic = request.clinic
    steps = first_steps(clinic=clinic, kinds=kinds, today=clock.today(clinic=clinic))
    shown = {
        "policy": _policy(request),
        "steps": steps,
        "next_step": next((step for step in steps if not step.is_done), None),
    }
    return render(request, "practice/set_up.html", shown)


def _policy(request):
    return access.fetch(request.user, Policy, need="set_up", clinic=request.clinic)


def _facts(request):
    return {"clinic": request.clinic, "by": request.user, "at": clock.now()}


@access.signed_in(need="set_up")
@require_http_methods(["GET", "HEAD", "POST"])
def clinic_settings(request):
    """Name, time zone, currency, teeth and weekdays of the clinic; its rooms and closures."""
    form = ClinicForm(request.POST or None, instance=request.clinic)
    if form.is_bound and form.is_valid():
        given = {name: form.cleaned_data[name] for name in organising.CLINIC_FIELDS}
        try:
            organising.change_clinic(**given, **_facts(request))
        except Refusal as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, "The clinic is changed.")
            return redirect("clinic_settings")
    request.clinic.refresh_from_db()
    shown = {
        "form": form,
        "room_form": RoomForm(),
        "closure_form": ClosureForm(),
        "rooms": access.visible(request.user, Room).filter(clinic=request.clinic),
        "closures": access.visible(request.user, Closure).filter(clinic=request.clinic),
    }
    return render(request, "practice/clinic.html", shown, status=422 if form.is_bound else 200)


def _change(request, form, verb, sentence):
    """Run a verb with a small form's data and come back to the clinic, whatever came of it."""
    if not form.is_valid():
        faults = " ".join(fault for found in form.errors.values() for fault in found)
        messages.error(request, f"Nothing was changed. {faults}")
        return redirect("clinic_settings")
    try:
        verb(**form.cleaned_data, **_facts(request))
    except Refusal as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, sentence)
    return redirect("clinic_settings")


@access.signed_in(need="set_up")
@require_POST
def room_add(request):
    """Add a room."""
    return _change(request, RoomForm(request.POST), organising.make_room, "The room is added.")


@access.signed_in(need="set_up")
@require_POST
def closure_add(request):
    """Close the clinic on some days."""
    return _change(request, ClosureForm(request.POST), organising.close_days, "The closure is noted.")


@access.signed_in(need="set_up")
@require_POST
def closure_take_back(request, closure_id):
    """Open again on the days of a closure."""
    closure = access.fetch(request.user, Closure, need="set_up", select=("clinic",), pk=closure_id)
    organising.take_back_closure(closure=closure, by=request.user, at=clock.now())
    messages.success(request, "The closure is taken back.")
    return redirect("clinic_settings")


@access.signed_in(need="set_up")
@require_http_methods(["GET", "HEAD", "POST"])
def policy(request):
    """What the clinic has decided for itself."""
    form = PolicyForm(request.POST or None, instance=_policy(request))
    if form.is_bound and form.is_valid():
        try:
            organising.change_policy(**form.cleaned_data, **_facts(request))
        except Refusal as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, "The policy is changed. Forecasts follow it from the next run.")
            return redirect("policy")
    return render(request, "practice/policy.html", {"form": form}, status=422 if form.is_bound else 200)
