"""The one door through which objects reach a view.

A model that belongs to a clinic names the way there in ``clinic_path``; a model without it (catalogue,
lots, procedures) belongs to the whole practice. A stranger to the clinic gets 404, a member whose role
does not allow the need gets 403 with a sentence.
"""

from functools import wraps

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import Http404

from practice.models import Clinic, Role
from practice.roles import allows

_WORDS = {
    "see": "look at this",
    "plan_case": "plan a case",
    "set_out": "set out a tray",
    "record_surgery": "record surgery",
    "handle_stock": "move stock",
    "approve_orders": "approve orders",
    "decide_holds": "hold or release a lot",
    "edit_procedures": "change a procedure",
    "bring_files": "bring files in",
    "set_up": "change the set-up",
}


def roles_of(user) -> dict[int, str]:
    """The user's role kind by clinic id; read once per request and kept on the user object."""
    if not hasattr(user, "_roles_by_clinic"):
        user._roles_by_clinic = dict(Role.objects.filter(user_id=user.pk).values_list("clinic_id", "kind"))
    return user._roles_by_clinic


def clinics(user, *, need: str = "see"):
    """Clinics at which the user may do what the need names, in their usual order."""
    allowed = [clinic_id for clinic_id, kind in roles_of(user).items() if allows(kind, need)]
    return Clinic.objects.filter(pk__in=allowed).select_related("practice")


def may(user, clinic, need: str) -> bool:
    """Whether the user may do what the need names at this clinic."""
    kind = roles_of(user).get(getattr(clinic, "pk", None))
    return kind is not None and allows(kind, need)


def require(user, clinic, need: str) -> None:
    """Raise PermissionDenied with a sentence unless the user may do this at the clinic."""
    if not may(user, clinic, need):
        kind = roles_of(user).get(getattr(clinic, "pk", None))
        who = Role.Kind(kind).label.lower() if kind else "person without a role here"
        raise PermissionDenied(f"A {who} may not {_WORDS[need]} at {clinic}. Ask a colleague who may.")


def visible(user, model, *, need: str = "see"):
    """Rows of a model that the user may reach."""
    path = getattr(model, "clinic_path", None)
    queryset = model._default_manager.all()
    if path is None:
        return queryset if any(allows(kind, need) for kind in roles_of(user).values()) else queryset.none()
    allowed = [clinic_id for clinic_id, kind in roles_of(user).items() if allows(kind, need)]
    return (
        queryset.filter(**{f"{path}__in": allowed}).distinct()
        if "clinics" in path
        else queryset.filter(**{f"{path}__in": allowed})
    )


def fetch(user, model, *, need: str = "see", select=(), **lookup):
    """One object by look-up; Http404 for strangers, PermissionDenied when the role does not allow it."""
    found = visible(user, model).select_related(*select).filter(**lookup).first()
    if found is None:
        raise Http404(f"There is no such {model._meta.verbose_name} within your reach.")
    if need != "see" and not visible(user, model, need=need).filter(pk=found.pk).exists():
        raise PermissionDenied(f"Your role does not allow you to {_WORDS[need]}. Ask a colleague who may.")
    return found


def signed_in(*, need: str = "see"):
    """Decorate a view: the user is signed in and may do this at the clinic they are working in."""

    def decorate(view):
        @login_required
        @wraps(view)
        def inner(request, *args, **kwargs):
            require(request.user, request.clinic, need)
            return view(request, *args, **kwargs)

        inner.need = need
        return inner

    return decorate
