"""For the tests of the case pages: a clock that stands still, and answers in place."""

import datetime as dt

from django.urls import reverse

from practice import clock
from tests.builders import NOW

# Ten minutes after everything the builders post, so that what a page does comes later.
LATER = NOW + dt.timedelta(minutes=10)
HTMX = {"HTTP_HX_REQUEST": "true"}


def stop_clock(monkeypatch, at: dt.datetime = LATER) -> None:
    """Let the pages believe it is that moment."""
    monkeypatch.setattr(clock, "now", lambda: at)
    monkeypatch.setattr(clock, "today", lambda *, clinic=None: at.date())


def url(name: str, *args, **query) -> str:
    """An address with its query."""
    return reverse(name, args=args, query=query or None)


def text_of(response) -> str:
    """The body of an answer."""
    return response.content.decode()
