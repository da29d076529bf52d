"""What the cases of the last half year used, and how far ahead they were booked.

Reads kits' cases and stock's ledger; the sums over them are pure and live in ``kits.expected_cases``.
"""

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import Sum

from kits.expected_cases import KnownCase
from kits.models import Case, CaseProcedure, TrayLine
from practice.models import Clinic
from stock.models import Entry
from stock.planning import pmf

# Half a year: long enough to steady rare procedures, short enough to follow a change (unit: days).
WINDOW_DAYS = 182
CASE_LABEL = "case:"
TAKEN = (Entry.Kind.USE, Entry.Kind.WASTE)
# Waste that no planning of use can foresee and no order should be placed for.
NOT_DEMAND = (
    Entry.Reason.EXPIRED,
    Entry.Reason.RECALL,
    Entry.Reason.TEMPERATURE,
    Entry.Reason.DAMAGED,
)


@dataclass(frozen=True, kw_only=True)
class CaseHistory:
    """Closed cases of the window, and the first day of record."""

    cases: tuple[KnownCase, ...]
    first_on: dt.date | None


def read_history(*, clinic: Clinic, today: dt.date) -> CaseHistory:
    """The closed cases of the last WINDOW_DAYS before `today`, with what each used and had lying ready."""
    start = today - dt.timedelta(days=WINDOW_DAYS)
    closed = Case.objects.filter(clinic=clinic, state=Case.State.CLOSED, on__gte=start, on__lt=today)
    rows = list(closed.values_list("id", "code", "on", "booked_at"))
    kinds = kinds_of(closed.values("id"))
    used = _used(clinic, start)
    ready = _ready(closed)
    zone = ZoneInfo(clinic.time_zone)
    cases = [
        KnownCase(
            kind=kinds.get(pk, ()),
            use={item: pmf.point(units) for item, units in used.get(code, {}).items() if units > 0},
            requirement=_at_least(ready[pk], used.get(code, {})) if pk in ready else None,
            lead=_lead(on, booked_at.astimezone(zone).date()),
        )
        for pk, code, on, booked_at in rows
    ]
    return CaseHistory(cases=tuple(cases), first_on=min((on for _, _, on, _ in rows), default=None))


def _lead(on: dt.date, booked_on: dt.date) -> int | None:
    """Days booked ahead; None for a case that was typed in afterwards."""
    return (on - booked_on).days if booked_on <= on else None


def kinds_of(case_ids) -> dict[int, tuple[int, ...]]:
    """The kind of each case: the procedures it was booked for, together, by case id."""
    found: dict[int, list[int]] = defaultdict(list)
    rows = CaseProcedure.objects.filter(case__in=case_ids, planned=True)
    for case_id, procedure_id in rows.values_list("case_id", "procedure_id"):
        found[case_id].append(procedure_id)
    return {case_id: tuple(sorted(procedures)) for case_id, procedures in found.items()}


def _used(clinic: Clinic, start: dt.date) -> dict[str, dict[int, int]]:
    """Units used or wasted by case code and item; corrections are already taken off."""
    since = dt.datetime.combine(start, dt.time.min, ZoneInfo(clinic.time_zone))
    rows = (
        Entry.objects.filter(clinic=clinic, at__gte=since, kind__in=TAKEN, source__startswith=CASE_LABEL)
        .order_by()
        .values_list("source", "lot__item_id")
        .annotate(units=-Sum("quantity"))
    )
    found: dict[str, dict[int, int]] = defaultdict(dict)
    for source, item_id, units in rows:
        found[source.removeprefix(CASE_LABEL)][item_id] = units
    return found


def _ready(closed) -> dict[int, dict[int, int]]:
    """Units that lay ready by case id and item, for the cases whose tray was kept."""
    rows = (
        TrayLine.objects.filter(case__in=closed.values("id"), item__isnull=False, added=False)
        .order_by()
        .values_list("case_id", "item_id")
        .annotate(units=Sum("quantity"))
    )
    found: dict[int, dict[int, int]] = defaultdict(dict)
    for case_id, item_id, units in rows:
        found[case_id][item_id] = units
    return found


def _at_least(ready: dict[int, int], used: dict[int, int]) -> dict[int, int]:
    """What lay ready, or what was used where that was more."""
    return {item: max(units, used.get(item, 0)) for item, units in ready.items()}


def other_use(*, clinic: Clinic, today: dt.date) -> dict[int, dict[dt.date, int]]:
    """Units that no case explains, by item and day at the clinic, over the last WINDOW_DAYS.

    Expired, recalled, damaged and spoilt units are losses, not demand, and are left out.
    """
    zone = ZoneInfo(clinic.time_zone)
    since = dt.datetime.combine(today - dt.timedelta(days=WINDOW_DAYS), dt.time.min, zone)
    until = dt.datetime.combine(today, dt.time.min, zone)
    rows = (
        Entry.objects.filter(clinic=clinic, at__gte=since, at__lt=until, kind__in=TAKEN)
        .exclude(source__startswith=CASE_LABEL)
        .exclude(reason__in=NOT_DEMAND)
        .exclude(corrects__reason__in=NOT_DEMAND)
        .values_list("lot__item_id", "at", "quantity")
    )
    found: dict[int, dict[dt.date, int]] = defaultdict(lambda: defaultdict(int))
    for item_id, at, quantity in rows:
        found[item_id][at.astimezone(zone).date()] -= quantity
    return {item: dict(days) for item, days in found.items()}


def counts_by_open_day(days: dict[dt.date, int], open_days: list[dt.date]) -> np.ndarray:
    """Units per open day, oldest first; use recorded on a closed day counts on the open day before."""
    counts = np.zeros(len(open_days))
    ordinals = np.array([day.toordinal() for day in open_days])
    for day, units in days.items():
        place = int(np.searchsorted(ordinals, day.toordinal(), side="right")) - 1
        counts[max(place, 0)] += units
    return np.clip(counts, 0, None)
