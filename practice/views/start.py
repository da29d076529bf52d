"""The first visit to an empty installation, and further clinics."""

from django.contrib import messages
from django.contrib.auth import login
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from practice import access, clock
from practice.forms import ClinicStartForm, StartForm
from practice.founding import AlreadyFounded, found_practice, is_founded, open_clinic
from practice.refusals import Refusal

BACKEND = "django.contrib.auth.backends.ModelBackend"


@sensitive_post_parameters()
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def start(request):
    """Set up the practice and its administrator; closed for ever once anyone can sign in."""
    if is_founded():
        return redirect("sign_in")
    form = StartForm(request.POST or None)
    if form.is_valid():
        try:
            person = found_practice(**form.cleaned_data, by=None, at=clock.now())
        except AlreadyFounded as refusal:
            messages.error(request, str(refusal))
            return redirect("sign_in")
        except Refusal as refusal:
            form.add_error(None, str(refusal))
        else:
            login(request, person, backend=BACKEND)
            messages.success(
                request, "The practice is set up and you are signed in. These are the next steps."
            )
            return redirect("set_up")
    return render(request, "practice/start.html", {"form": form}, status=422 if form.is_bound else 200)


@access.signed_in(need="set_up")
@require_http_methods(["GET", "HEAD", "POST"])
def clinic_open(request):
    """Add a clinic to the practice; its administrator is whoever adds it."""
    here = request.clinic
    usual = {"time_zone": here.time_zone, "currency": here.currency, "tooth_notation": here.tooth_notation}
    form = ClinicStartForm(request.POST or None, initial=usual)
    if form.is_valid():
        given = dict(form.cleaned_data)
        try:
            clinic = open_clinic(
                practice=here.practice,
                name=given.pop("clinic_name"),
                **given,
                by=request.user,
                at=clock.now(),
            )
        except Refusal as refusal:
            form.add_error(None, str(refusal))
        else:
            request.session["clinic"] = clinic.pk
            messages.success(
                request, f"{clinic} is added, and you now work there. Give its people their roles."
            )
            return redirect("set_up")
    return render(request, "practice/clinic_open.html", {"form": form}, status=422 if form.is_bound else 200)
