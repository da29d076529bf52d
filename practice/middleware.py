"""Middleware: no NUL gets in; idle sessions end; the clinic a person works in, and its time of day."""

import time
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib.auth import logout
from django.http import HttpResponseBadRequest
from django.utils import timezone
from django.utils.cache import add_never_cache_headers

from practice import access

NUL = "\0"


class NoNul:
    """Turn away what holds a NUL character: PostgreSQL neither stores one nor looks for one."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        """Answer 400 in words before anything is looked up."""
        if any(NUL in text for text in _texts(request)):
            return HttpResponseBadRequest(
                "Something here holds a character that cannot be kept (NUL). Take it out and try again.",
                content_type="text/plain",
            )
        return self.get_response(request)


def _texts(request):
    """Everything in a request that may be looked up or kept: address, cookies, fields, names of files."""
    yield request.path_info
    yield from request.COOKIES.values()
    for given in (request.GET, request.POST):
        for name, values in given.lists():
            yield name
            yield from values
    for name, file in request.FILES.items():
        yield name
        yield file.name


class IdleTimeout:
    """Keep a busy session alive and let an idle one end; the row is touched at most once a minute."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        """Sign an idle person out before the view sees the request."""
        if request.user.is_authenticated:
            now = int(time.time())
            touched = request.session.get("touched", 0)
            if touched and now - touched > settings.IDLE_MINUTES * 60:
                logout(request)
            elif now - touched > 60:
                request.session["touched"] = now
        return self.get_response(request)


class CurrentClinic:
    """Set ``request.clinic`` to the clinic chosen in the session, or to the first one the user works at.

    Times are shown on that clinic's clock. Nothing shown to a person is kept by the browser: after
    signing out on a shared tablet, Back must not bring a patient's page up again.
    """

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        """Put ``clinic`` and ``clinics`` on the request, and answer in the clinic's time zone."""
        request.clinic, request.clinics = None, []
        if not request.user.is_authenticated:
            return self.get_response(request)
        request.clinics = list(access.clinics(request.user))
        chosen = request.session.get("clinic")
        request.clinic = next((c for c in request.clinics if c.pk == chosen), None) or next(
            iter(request.clinics), None
        )
        zone = ZoneInfo(request.clinic.time_zone) if request.clinic else timezone.get_default_timezone()
        with timezone.override(zone):
            response = self.get_response(request)
        add_never_cache_headers(response)
        return response
