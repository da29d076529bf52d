"""The one module that reads the clock. Everything below views, commands and tasks is told the day."""

import datetime as dt
from zoneinfo import ZoneInfo

from django.utils import timezone


def now() -> dt.datetime:
    """The present moment, aware, in UTC."""
    return timezone.now()


def today(*, clinic=None) -> dt.date:
    """Today's date at a clinic (its own time zone), or in the default time zone."""
    zone = ZoneInfo(clinic.time_zone) if clinic is not None else timezone.get_default_timezone()
    return timezone.localtime(timezone.now(), zone).date()
