"""Middleware: the session ends after idle time; the clinic a person is working in."""

import time

from django.conf import settings
from django.contrib.auth import logout

from practice import access


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
    """Set ``request.clinic`` to the clinic chosen in the session, or to the first one the user works at."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        """Put ``clinic`` and ``clinics`` on the request."""
        request.clinic = None
        request.clinics = []
        if request.user.is_authenticated:
            request.clinics = list(access.clinics(request.user))
            chosen = request.session.get("clinic")
            request.clinic = next((c for c in request.clinics if c.pk == chosen), None) or next(
                iter(request.clinics), None
            )
        return self.get_response(request)
