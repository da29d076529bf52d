"""Today: the day's cases by room, what to fetch, and what is left to finish."""

import datetime as dt
from collections import Counter

from django.shortcuts import render
from django.utils.dateparse import parse_date
from django.views.decorators.http import require_safe

from kits.models import Case, TrayUnit
from kits.picking import day_pick_lists
from kits.views.board import capital, columns, day_sentence, to_fetch, to_finish
from practice import access, clock
from practice.models import Clinic
from stock.queries import stock_units

# How far back a case that nobody closed is still held up. Unit: days.
LOOK_BACK = 14


def asked_day(request, today: dt.date) -> dt.date:
    """The day in the address (``on``), else today; a text that is no day counts as none."""
    try:
        return parse_date(request.GET.get("on", "")) or today
    except ValueError:
        return today


def cases_of_day(request, on: dt.date):
    """Cases of the clinic's day that take place or took place."""
    found = access.visible(request.user, Case).filter(clinic=request.clinic, on=on)
    return (
        found.exclude(state=Case.State.CANCELLED)
        .select_related("clinic", "room", "patient", "clinician")
        .prefetch_related("procedures__procedure", "sites__implant")
        .order_by("starts_at", "pk")
    )


def neighbours(request, on: dt.date) -> dict[str, dt.date | None]:
    """The nearest days with surgery before and after a day."""
    days = (
        access.visible(request.user, Case)
        .filter(clinic=request.clinic)
        .exclude(state=Case.State.CANCELLED)
        .order_by("on")
        .values_list("on", flat=True)
    )
    return {"earlier": days.filter(on__lt=on).last(), "later": days.filter(on__gt=on).first()}


@access.signed_in()
@require_safe
def today(request):
    """Show a day of the clinic: a column a room, a card a case, a row a visit."""
    now_on = clock.today(clinic=request.clinic)
    on = asked_day(request, now_on)
    cases = list(cases_of_day(request, on))
    lists = {pick.case.pk: pick for pick in day_pick_lists(clinic=request.clinic, on=on, today=now_on)}
    rooms = columns(cases, lists, _elsewhere(request, lists.values()))
    heading, fetch = to_fetch(lists.values(), request.clinic)
    shown = {
        "on": on,
        "is_today": on == now_on,
        "sentence": capital(day_sentence(cases, lists)) if cases else "",
        "columns": rooms,
        "surgery_rooms": [room for room in rooms if not room.is_visits],
        "visit_rooms": [room for room in rooms if room.is_visits],
        "fetch_heading": heading,
        "fetch": fetch,
        "finish": _left_over(request, now_on) if on == now_on else [],
        **neighbours(request, on),
    }
    return render(request, "kits/today.html", shown)


def _elsewhere(request, lists) -> dict[int, list[tuple[str, int]]]:
    """Units that other clinics of the practice have of what the day is short of, by item id."""
    items = {line.item.pk for pick in lists for line in pick.short if line.item is not None}
    if not items:
        return {}
    found: dict[int, list[tuple[str, int]]] = {}
    for clinic in access.visible(request.user, Clinic).filter(practice=request.clinic.practice):
        if clinic == request.clinic:
            continue
        units = Counter()
        for unit in stock_units(clinic=clinic, items=items):
            units[unit.item] += unit.quantity
        for item, count in units.items():
            found.setdefault(item, []).append((clinic.name, count))
    return found


def _left_over(request, today: dt.date) -> list:
    since = today - dt.timedelta(days=LOOK_BACK)
    here = access.visible(request.user, Case).filter(clinic=request.clinic, on__gte=since, on__lt=today)
    unclosed = list(here.filter(state__in=Case.OPEN).order_by("starts_at"))
    units = access.visible(request.user, TrayUnit).filter(line__case__in=unclosed)
    pending = Counter()
    for case_id, quantity in units.filter(outcome="").values_list("line__case_id", "quantity"):
        pending[case_id] += quantity
    last = here.filter(state=Case.State.CLOSED).order_by("-on").values_list("on", flat=True).first()
    tissue = access.visible(request.user, TrayUnit).filter(
        line__case__clinic=request.clinic,
        line__case__on=last,
        outcome="used",
        lot__item__tissue_log_needed=True,
    )
    return to_finish(unclosed, pending, tissue.count() if last else 0, today)
