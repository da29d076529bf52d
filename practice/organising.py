"""Changing the practice itself: clinics, rooms, closures and policy, each with its audit entry."""

import datetime as dt
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.db import IntegrityError, transaction

from practice import audit
from practice.models import Clinic, Closure, Policy, Room
from practice.refusals import Refusal
from practice.workdays import LONGEST_CLOSURE_DAYS

CHANGE_CLINIC = audit.action("clinic.change", "changed {subject}: {what}")
MAKE_ROOM = audit.action("room.make", "added the room {subject} ({kind})")
CLOSE = audit.action("clinic.close", "closed {subject} from {first} to {last}: {reason}")
REOPEN = audit.action("clinic.reopen", "took back the closure of {subject} from {first} to {last}")
CHANGE_POLICY = audit.action("policy.change", "changed the policy of {subject}: {what}")

CLINIC_FIELDS = ("name", "time_zone", "currency", "tooth_notation", "open_weekdays")
POLICY_FIELDS = (
    *("target_cannot_start", "target_substitute", "target_convenience", "review_days", "safety_days"),
    *("waste_limit", "approval_limit", "retention_years", "plan_days"),
)


class BadTimeZone(Refusal):
    """No such time zone."""


class NeverOpen(Refusal):
    """The clinic would not open on any weekday."""


class NameTaken(Refusal):
    """Another clinic, or another room of the clinic, already has this name."""


class BadClosure(Refusal):
    """A closure that ends before it starts, or never ends."""


class RetentionShortened(Refusal):
    """Records would be kept for a shorter time than promised when they were made."""


def _alter(row, fields: tuple[str, ...], given: dict) -> str:
    """Set what differs and save it; returns the changes in words, "" for none."""
    said = []
    for name in fields:
        if name in given and given[name] != getattr(row, name):
            words = row._meta.get_field(name).verbose_name
            said.append(f"{words} {getattr(row, name)} → {given[name]}")
            setattr(row, name, given[name])
    if said:
        row.save(update_fields=[name for name in fields if name in given])
    return "; ".join(said)


def check_time_zone(name: str) -> None:
    """Raise BadTimeZone unless there is a time zone of that name."""
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as fault:
        # An empty name or that of a folder of zones raises OSError.
        raise BadTimeZone(f"There is no time zone “{name}”. Write it like Europe/London.") from fault


@transaction.atomic
def change_clinic(*, clinic: Clinic, by, at: dt.datetime, **facts) -> Clinic:
    """Change a clinic's name, time zone, currency, tooth notation or weekdays; only what is given.

    Raises BadTimeZone, NeverOpen or NameTaken.
    """
    clinic = Clinic.objects.select_for_update().get(pk=clinic.pk)
    check_time_zone(facts.get("time_zone", clinic.time_zone))
    if "1" not in facts.get("open_weekdays", clinic.open_weekdays):
        raise NeverOpen("A clinic opens on at least one weekday. Tick the days it does.")
    name = facts.get("name", clinic.name)
    if Clinic.objects.exclude(pk=clinic.pk).filter(name=name).exists():
        raise NameTaken(f"Another clinic is called {name}. Choose a different name.")
    what = _alter(clinic, CLINIC_FIELDS, facts)
    if what:
        audit.record(CHANGE_CLINIC, by=by, at=at, subject=str(clinic), clinic=clinic, what=what)
    return clinic


@transaction.atomic
def make_room(*, clinic: Clinic, code: str, kind: str, by, at: dt.datetime) -> Room:
    """Add a room to a clinic. Raises NameTaken."""
    try:
        with transaction.atomic():
            room = Room.objects.create(clinic=clinic, code=code.strip(), kind=kind)
    except IntegrityError as fault:
        raise NameTaken(f"{clinic} already has a room {code}. Choose a different code.") from fault
    audit.record(
        MAKE_ROOM, by=by, at=at, subject=room.code, clinic=clinic, kind=room.get_kind_display().lower()
    )
    return room


@transaction.atomic
def close_days(
    *, clinic: Clinic, starts_on: dt.date, ends_on: dt.date, reason: str, by, at: dt.datetime
) -> Closure:
    """Close a clinic from one day through another; the same closure twice is one. Raises BadClosure."""
    days = (ends_on - starts_on).days + 1
    if not 1 <= days <= LONGEST_CLOSURE_DAYS:
        raise BadClosure(
            f"A closure lasts from 1 to {LONGEST_CLOSURE_DAYS} days, and {starts_on} to {ends_on} does not. "
            "Correct one of the days."
        )
    closure, made = Closure.objects.get_or_create(
        clinic=clinic, starts_on=starts_on, ends_on=ends_on, defaults={"reason": reason[:80]}
    )
    if made:
        audit.record(
            CLOSE,
            by=by,
            at=at,
            subject=str(clinic),
            clinic=clinic,
            first=str(starts_on),
            last=str(ends_on),
            reason=closure.reason or "no reason given",
        )
    return closure


@transaction.atomic
def take_back_closure(*, closure: Closure, by, at: dt.datetime) -> None:
    """Open the clinic again on the days of a closure."""
    audit.record(
        REOPEN,
        by=by,
        at=at,
        subject=str(closure.clinic),
        clinic=closure.clinic,
        first=str(closure.starts_on),
        last=str(closure.ends_on),
    )
    closure.delete()


@transaction.atomic
def change_policy(*, clinic: Clinic, by, at: dt.datetime, **facts) -> Policy:
    """Change what a clinic has decided for itself; only what is given. Raises RetentionShortened."""
    policy = Policy.objects.select_for_update().get(clinic=clinic)
    years = facts.get("retention_years", policy.retention_years)
    if years < policy.retention_years:
        raise RetentionShortened(
            f"Records are promised for {policy.retention_years} years. The time can be made longer, not "
            "shorter: nothing that must be kept may be deleted."
        )
    what = _alter(policy, POLICY_FIELDS, facts)
    if what:
        audit.record(CHANGE_POLICY, by=by, at=at, subject=str(clinic), clinic=clinic, what=what)
    return policy
