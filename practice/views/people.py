"""People and their roles at the present clinic."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from practice import access, clock, people
from practice.forms import AddPersonForm, NewPasswordForm, RoleForm
from practice.models import Role, User
from practice.refusals import Refusal


def _rows(request):
    """Everybody at the clinics in reach, with the role here and whether the sign-in is locked."""
    here = {role.user_id: role for role in access.visible(request.user, Role).filter(clinic=request.clinic)}
    locked = people.locked_names(at=clock.now())
    return [
        {"person": person, "role": here.get(person.pk), "is_locked": person.username in locked}
        for person in access.visible(request.user, User, need="set_up")
    ]


@access.signed_in(need="set_up")
def people_list(request):
    """List everybody who may sign in."""
    rows = _rows(request)
    rows.sort(key=lambda row: (not row["person"].is_active, row["role"] is None, str(row["person"])))
    return render(request, "practice/people.html", {"rows": rows})


@sensitive_post_parameters("password")
@access.signed_in(need="set_up")
@require_http_methods(["GET", "HEAD", "POST"])
def person_add(request):
    """Add a person with a role at this clinic."""
    form = AddPersonForm(request.POST or None)
    if form.is_valid():
        try:
            person = people.add_person(
                **form.cleaned_data, clinic=request.clinic, by=request.user, at=clock.now()
            )
        except Refusal as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, f"{person} can sign in as {person.username}.")
            return redirect("people")
    return render(request, "practice/person_add.html", {"form": form}, status=422 if form.is_bound else 200)


@access.signed_in(need="set_up")
def person(request, user_id):
    """One person: role here, sign-in, password."""
    found = access.fetch(request.user, User, need="set_up", pk=user_id)
    role = access.visible(request.user, Role).filter(user=found, clinic=request.clinic).first()
    shown = {
        "person": found,
        "roles": access.visible(request.user, Role).filter(user=found).select_related("clinic"),
        "is_locked": found.username in people.locked_names(at=clock.now()),
        "role_form": RoleForm(initial={"kind": role.kind if role else ""}),
        "password_form": NewPasswordForm(),
    }
    return render(request, "practice/person.html", shown)


def _done(request, user_id, change, sentence):
    """Make one change of a person and come back to the page, whatever came of it."""
    found = access.fetch(request.user, User, need="set_up", pk=user_id)
    try:
        change(found)
    except Refusal as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, sentence.format(person=found))
    return redirect("person", user_id=user_id)


@access.signed_in(need="set_up")
@require_POST
def person_role(request, user_id):
    """Give, change or take away the role at this clinic."""
    form = RoleForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Choose one of the roles.")
        return redirect("person", user_id=user_id)
    facts = {"clinic": request.clinic, "by": request.user, "at": clock.now()}
    kind = form.cleaned_data["kind"]
    if kind:
        return _done(
            request,
            user_id,
            lambda who: people.set_role(user=who, kind=kind, **facts),
            "{person} has the role.",
        )
    return _done(
        request,
        user_id,
        lambda who: people.drop_role(user=who, **facts),
        "{person} has no role here any more.",
    )


@access.signed_in(need="set_up")
@require_POST
def person_sign_in(request, user_id):
    """Close a sign-in, or open it again."""
    facts = {"by": request.user, "at": clock.now()}
    if request.POST.get("open"):
        return _done(
            request, user_id, lambda who: people.reactivate(user=who, **facts), "{person} may sign in again."
        )
    return _done(
        request,
        user_id,
        lambda who: people.deactivate(user=who, **facts),
        "{person} may not sign in any more.",
    )


@access.signed_in(need="set_up")
@require_POST
def person_unlock(request, user_id):
    """Unlock somebody who mistyped too often."""
    facts = {"by": request.user, "at": clock.now()}
    return _done(
        request, user_id, lambda who: people.unlock(user=who, **facts), "{person} may try again now."
    )


@sensitive_post_parameters("password")
@access.signed_in(need="set_up")
@require_POST
def person_password(request, user_id):
    """Set a first password for somebody who forgot theirs."""
    form = NewPasswordForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Type the new password.")
        return redirect("person", user_id=user_id)
    facts = {"password": form.cleaned_data["password"], "by": request.user, "at": clock.now()}
    return _done(
        request, user_id, lambda who: people.set_password(user=who, **facts), "{person} has a new password."
    )
