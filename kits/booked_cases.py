"""The cases in a clinic's book as the planner needs them: what each may still use and must find ready."""

import datetime as dt
from collections import defaultdict
from zoneinfo import ZoneInfo

from kits.case_history import kinds_of
from kits.case_loading import requirements_of, with_plans
from kits.demand import BookedCase
from kits.models import Case, TrayUnit
from kits.use_lines import Settled, lines_of
from practice.models import Clinic

# A case that nobody closed within a week is taken as forgotten, not as use still to come (unit: days).
# Our choice: material is recorded on the day, at the latest after a weekend and a closure.
OVERDUE_DAYS = 7


def booked_cases(*, clinic: Clinic, today: dt.date, days: int) -> list[BookedCase]:
    """Open cases of the coming `days` days, and those of the last week that are not closed yet.

    What an overdue case will have used counts today; nothing needs to lie ready for it any more. Units
    already used, wasted or put back are not counted again. The number of queries does not grow with the
    cases.
    """
    start, end = today - dt.timedelta(days=OVERDUE_DAYS), today + dt.timedelta(days=days)
    open_cases = Case.objects.open().filter(clinic=clinic, on__gte=start, on__lt=end)
    cases = list(with_plans(open_cases))
    requirements = requirements_of(cases)
    kinds = kinds_of([case.pk for case in cases])
    settled = _settled([case.pk for case in cases])
    zone = ZoneInfo(clinic.time_zone)
    return [
        _booked(case, requirements[case.pk], kinds.get(case.pk, ()), settled[case.pk], today, zone)
        for case in cases
    ]


def _booked(case, requirements, kind, settled: Settled, today: dt.date, zone: ZoneInfo) -> BookedCase:
    lines = lines_of(requirements, probability_of=_probabilities(case), settled=settled)
    use = lines.use()
    local = case.starts_at.astimezone(zone)
    starts = local.hour * 60 + local.minute
    return BookedCase(
        code=case.code,
        kind=kind,
        on=case.on,
        day=max((case.on - today).days, 0),
        starts=starts,
        ends=starts + case.minutes,
        use=use,
        requirement=lines.requirement(use) if case.on >= today else {},
    )


def _probabilities(case: Case) -> dict[int, float]:
    """Chance that the bill states, by id of the bill line."""
    return {
        line.pk: float(line.probability)
        for booked in case.procedures.all()
        for line in booked.version.lines.all()
    }


def _settled(case_ids: list[int]) -> dict[int, Settled]:
    """What has become of the units of each case's tray so far."""
    rows = TrayUnit.objects.filter(line__case__in=case_ids).values_list(
        "line__case_id",
        "line__key",
        "line__added",
        "line__substitutes__key",
        "lot__item_id",
        "quantity",
        "outcome",
        "opened_at",
    )
    by_case: dict[int, list[tuple]] = defaultdict(list)
    for case_id, *unit in rows:
        by_case[case_id].append(tuple(unit))
    return defaultdict(Settled, {case_id: _settled_units(units) for case_id, units in by_case.items()})


def _settled_units(units: list[tuple]) -> Settled:
    done: dict[str, int] = defaultdict(int)
    opened: dict[str, int] = defaultdict(int)
    instead: dict[str, list[tuple[int, int]]] = defaultdict(list)
    extra: list[tuple[int, int]] = []
    for key, added, stands_for, item_id, quantity, outcome, opened_at in units:
        asked = stands_for if added else key
        if outcome:
            done[asked or key] += quantity
        elif not added and opened_at:
            opened[key] += quantity
        elif opened_at:
            extra.append((item_id, quantity))
            done[asked or key] += quantity
        elif asked and added:
            instead[asked].append((item_id, quantity))
    return Settled(done=done, opened=opened, instead=instead, extra=tuple(extra))
