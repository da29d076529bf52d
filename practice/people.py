"""People who sign in: adding them, their roles at each clinic, letting them go, and locked sign-ins."""

import datetime as dt

from axes.models import AccessAttempt
from axes.utils import reset
from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max, Sum

from practice import audit
from practice.access import may
from practice.models import Clinic, Role, User
from practice.refusals import Refusal

ADD = audit.action("person.add", "added {subject} as {role} at {clinic_name}")
SET_ROLE = audit.action("person.set-role", "made {subject} {role} at {clinic_name}")
DROP_ROLE = audit.action("person.drop-role", "took the role of {subject} at {clinic_name} away")
DEACTIVATE = audit.action("person.deactivate", "closed the sign-in of {subject}")
REACTIVATE = audit.action("person.reactivate", "opened the sign-in of {subject} again")
UNLOCK = audit.action("person.unlock", "unlocked the sign-in of {subject}")
SET_PASSWORD = audit.action("person.set-password", "set a new first password for {subject}")
CHANGE_PASSWORD = audit.action("person.change-password", "changed the own password ({subject})")


class NameTaken(Refusal):
    """Somebody else signs in under this name."""


class WeakPassword(Refusal):
    """The password would be guessed."""


class LastAdministrator(Refusal):
    """Nobody would be left who can set up the clinic."""


class NotYourself(Refusal):
    """Closing one's own sign-in."""


class NotYours(Refusal):
    """The person also works where the other one sets nothing up."""


def _check_reach(user: User, by) -> None:
    """Refuse what would reach into a clinic that ``by`` does not set up; the system may do everything."""
    if by is None:
        return
    beyond = [
        role.clinic for role in user.roles.select_related("clinic") if not may(by, role.clinic, "set_up")
    ]
    if beyond:
        raise NotYours(
            f"{user} also works at {', '.join(map(str, beyond))}, which you do not set up. "
            "Ask an administrator of all clinics where this person works."
        )


def _role_words(kind: str) -> str:
    return Role.Kind(kind).label.lower()


def _check_password(password: str, user: User) -> None:
    try:
        validate_password(password, user)
    except ValidationError as fault:
        raise WeakPassword(" ".join(fault.messages)) from fault


@transaction.atomic
def add_person(
    *, username: str, display_name: str, password: str, clinic: Clinic, kind: str, by, at: dt.datetime
) -> User:
    """A new person with a role at a clinic and a first password to change. Raises NameTaken, WeakPassword."""
    if User.objects.filter(username__iexact=username).exists():
        raise NameTaken(f"Somebody already signs in as {username}. Choose another name.")
    user = User(username=username, display_name=display_name)
    _check_password(password, user)
    user.set_password(password)
    user.save()
    Role.objects.create(user=user, clinic=clinic, kind=kind)
    audit.record(
        ADD, by=by, at=at, subject=username, clinic=clinic, role=_role_words(kind), clinic_name=str(clinic)
    )
    return user


def _keep_an_administrator(clinic: Clinic, user: User) -> None:
    """Lock the clinic's roles and refuse to take the last active administrator away."""
    others = (
        Role.objects.select_for_update()
        .filter(clinic=clinic, kind=Role.Kind.ADMINISTRATOR, user__is_active=True)
        .exclude(user=user)
    )
    is_one = Role.objects.filter(clinic=clinic, user=user, kind=Role.Kind.ADMINISTRATOR).exists()
    if is_one and not list(others):
        raise LastAdministrator(
            f"{user} is the last administrator of {clinic}. Make somebody else administrator first."
        )


@transaction.atomic
def set_role(*, user: User, clinic: Clinic, kind: str, by, at: dt.datetime) -> None:
    """Give a person a role at a clinic, instead of the one they had. Raises LastAdministrator."""
    if kind != Role.Kind.ADMINISTRATOR:
        _keep_an_administrator(clinic, user)
    role, made = Role.objects.get_or_create(user=user, clinic=clinic, defaults={"kind": kind})
    if made or role.kind != kind:
        Role.objects.filter(pk=role.pk).update(kind=kind)
        audit.record(
            SET_ROLE,
            by=by,
            at=at,
            subject=user.username,
            clinic=clinic,
            role=_role_words(kind),
            clinic_name=str(clinic),
        )


@transaction.atomic
def drop_role(*, user: User, clinic: Clinic, by, at: dt.datetime) -> None:
    """Take a person's role at a clinic away; they no longer see it. Raises LastAdministrator."""
    _keep_an_administrator(clinic, user)
    gone, _ = Role.objects.filter(user=user, clinic=clinic).delete()
    if gone:
        audit.record(DROP_ROLE, by=by, at=at, subject=user.username, clinic=clinic, clinic_name=str(clinic))


@transaction.atomic
def deactivate(*, user: User, by, at: dt.datetime) -> None:
    """Close a person's sign-in; what they did stays theirs. Raises NotYourself, LastAdministrator."""
    if by is not None and by.pk == user.pk:
        raise NotYourself("You cannot close your own sign-in. Ask another administrator.")
    _check_reach(user, by)
    for role in user.roles.select_related("clinic"):
        _keep_an_administrator(role.clinic, user)
    if User.objects.filter(pk=user.pk, is_active=True).update(is_active=False):
        audit.record(DEACTIVATE, by=by, at=at, subject=user.username)


@transaction.atomic
def reactivate(*, user: User, by, at: dt.datetime) -> None:
    """Open a closed sign-in again, with the roles it had."""
    _check_reach(user, by)
    if User.objects.filter(pk=user.pk, is_active=False).update(is_active=True):
        audit.record(REACTIVATE, by=by, at=at, subject=user.username)


@transaction.atomic
def unlock(*, user: User, by, at: dt.datetime) -> int:
    """Forget a person's failed tries at every address; returns how many records of tries there were."""
    _check_reach(user, by)
    count = reset(username=user.username)
    if count:
        audit.record(UNLOCK, by=by, at=at, subject=user.username)
    return count


@transaction.atomic
def set_password(*, user: User, password: str, by, at: dt.datetime) -> None:
    """Set a password for somebody else; their open sessions end. Raises WeakPassword, NotYours."""
    _check_reach(user, by)
    _check_password(password, user)
    user.set_password(password)
    user.save(update_fields=["password"])
    audit.record(SET_PASSWORD, by=by, at=at, subject=user.username)


def note_password_change(*, user: User, at: dt.datetime) -> None:
    """Record that somebody changed the own password."""
    audit.record(CHANGE_PASSWORD, by=user, at=at, subject=user.username)


def locked_names(*, at: dt.datetime) -> set[str]:
    """Sign-in names that are locked now, at one address or more."""
    since = at - dt.timedelta(hours=settings.AXES_COOLOFF_TIME)
    tries = (
        AccessAttempt.objects.filter(attempt_time__gte=since)
        .values("username", "ip_address")
        .annotate(failures=Sum("failures_since_start"), last=Max("attempt_time"))
        .filter(failures__gte=settings.AXES_FAILURE_LIMIT)
    )
    return {each["username"] for each in tries}
