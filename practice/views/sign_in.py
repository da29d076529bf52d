"""Signing in and out, the own password, and the clinic one works in."""

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login, logout, update_session_auth_hash
from django.contrib.auth.decorators import login_required
from django.contrib.auth.forms import PasswordChangeForm
from django.shortcuts import redirect, render, resolve_url
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from practice import clock
from practice.forms import SignInForm
from practice.founding import is_founded
from practice.people import note_password_change


def _way_on(request):
    """The page asked for, when it is one of ours; else the first page."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    safe = url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return wanted if safe else resolve_url(settings.LOGIN_REDIRECT_URL)


@sensitive_post_parameters("password")
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in(request):
    """Ask for name and password; after too many tries the lock-out page answers instead."""
    if request.user.is_authenticated and request.method != "POST":
        return redirect(_way_on(request))
    if not is_founded():
        return redirect("start")
    form = SignInForm(request, data=request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        login(request, form.get_user())
        return redirect(_way_on(request))
    status = 401 if form.is_bound else 200
    return render(
        request,
        "registration/sign_in.html",
        {"form": form, "next": request.GET.get("next", "")},
        status=status,
    )


def locked_out(request, *_):
    """Answer somebody who is locked out: 429, and in how many minutes to come back."""
    minutes = round(settings.AXES_COOLOFF_TIME * 60)
    answer = render(request, "429.html", {"minutes": minutes}, status=429)
    answer["Retry-After"] = str(minutes * 60)
    return answer


@require_POST
def sign_out(request):
    """End the session."""
    logout(request)
    return redirect(settings.LOGOUT_REDIRECT_URL)


@login_required
@require_POST
def choose_clinic(request):
    """Work at another clinic from now on; only one's own can be chosen."""
    chosen = next((c for c in request.clinics if str(c.pk) == request.POST.get("clinic")), None)
    if chosen is None:
        messages.error(request, "You have no role at that clinic. Ask its administrator for one.")
    else:
        request.session["clinic"] = chosen.pk
        messages.success(request, f"You now work at {chosen}.")
    return redirect(_way_on(request))


@sensitive_post_parameters()
@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def change_password(request):
    """Change the own password; other sessions of the person end."""
    form = PasswordChangeForm(request.user, data=request.POST or None)
    if form.is_valid():
        form.save()
        update_session_auth_hash(request, form.user)
        note_password_change(user=form.user, at=clock.now())
        messages.success(request, "Your password is changed. Use the new one from now on.")
        return redirect(_way_on(request))
    return render(
        request, "registration/change_password.html", {"form": form}, status=422 if form.is_bound else 200
    )
