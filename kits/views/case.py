"""The page of a case and the forms of its plan."""

from django.contrib import messages
from django.http import Http404
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from kits import chairside, scheduling
from kits.case_loading import with_plans
from kits.models import Case, CaseSite, PlanChoice
from kits.picking import pick_list
from kits.plan_choices import withdraw_choice
from kits.tray import loaded
from kits.views.case_page import case_page, finding_form, plan_form, site_form
from practice import access, clock
from practice.refusals import Refusal
from stock.models import Item


def _case(request, case_code: str, need: str = "see") -> Case:
    access.fetch(request.user, Case, need=need, code=case_code)
    return with_plans(access.visible(request.user, Case).filter(code=case_code)).get()


def _page(request, case: Case, **forms):
    """The page of a case, with a form that has faults in place of a fresh one."""
    pick = pick_list(case=case, today=clock.today(clinic=case.clinic)) if case.state in Case.OPEN else None
    # The list has read the whole plan already; only a case that has no list is read here.
    case = pick.case if pick else loaded(case)
    shown = case_page(case, pick, user=request.user)
    faulty = forms.get("site_form")
    for row in shown["sites"]:
        mine = faulty is not None and row["site"] == forms.get("site")
        row["form"] = faulty if mine else site_form(case, row["site"], user=request.user)
    shown |= {
        "plan_form": forms.get("plan_form") or plan_form(case, user=request.user),
        "new_site_form": faulty
        if faulty is not None and forms.get("site") is None
        else site_form(case, None, user=request.user),
        "finding_form": forms.get("finding_form") or finding_form(case, user=request.user),
        "faulty": bool(forms),
    }
    return render(request, "kits/case.html", shown, status=422 if forms else 200)


def _refused(request, case: Case, refusal):
    messages.error(request, str(refusal))
    return redirect("case", case_code=case.code)


def _done(request, case: Case, sentence: str):
    messages.success(request, sentence)
    return redirect("case", case_code=case.code)


@access.signed_in()
@require_safe
def case_page_view(request, case_code):
    """The plan of a case, what it needs, and what happened."""
    return _page(request, access.fetch(request.user, Case, select=("clinic",), code=case_code))


@access.signed_in(need="plan_case")
@require_POST
def case_plan(request, case_code):
    """Set what holds for the whole case."""
    case = _case(request, case_code, need="plan_case")
    form = plan_form(case, request.POST, user=request.user)
    if form.is_valid():
        try:
            scheduling.plan_case(case=case, by=request.user, at=clock.now(), **form.cleaned_data)
        except Refusal as refusal:
            return _refused(request, case, refusal)
        return _done(request, case, "The plan is changed; the pick list follows it.")
    return _page(request, case, plan_form=form)


@access.signed_in(need="plan_case")
@require_POST
def case_site(request, case_code):
    """Plan a tooth site, or add one."""
    case = _case(request, case_code, need="plan_case")
    number = request.POST.get("site", "")
    site = access.fetch(request.user, CaseSite, case=case, pk=int(number)) if number.isdecimal() else None
    form = site_form(case, site, request.POST, user=request.user)
    if form.is_valid():
        given = _site_values(form, is_new=site is None)
        try:
            scheduling.plan_site(case=case, by=request.user, at=clock.now(), **given)
        except Refusal as refusal:
            return _refused(request, case, refusal)
        return _done(request, case, "The site is planned; the pick list follows it.")
    return _page(request, case, site_form=form, site=site)


def _site_values(form, *, is_new: bool) -> dict:
    """What a form of a site says: a field left empty is cleared, one it did not show stays as it is.

    The short form that adds a tooth clears nothing, as the tooth may be planned already.
    """
    said = {name: value for name, value in form.cleaned_data.items() if name in form.data}
    if is_new:
        return {name: value for name, value in said.items() if value not in (None, "")}
    return {name: None if value == "" else value for name, value in said.items()}


@access.signed_in(need="plan_case")
@require_POST
def case_choose(request, case_code):
    """Decide an option of the plan, or one of a group."""
    case = _case(request, case_code, need="plan_case")
    subject = request.POST.get("subject", "")
    known = {choice.subject for choice in case.choices.all()}
    pick = pick_list(case=case, today=clock.today(clinic=case.clinic)) if case.state in Case.OPEN else None
    shown = case_page(case, pick, user=request.user)
    open_subjects = {row["subject"] for row in (*shown["decide"], *shown["missing"]) if "subject" in row}
    if subject not in known | open_subjects:
        raise Http404("There is no such thing to decide.")
    item_id, site_id = request.POST.get("item", ""), request.POST.get("site", "")
    item = access.fetch(request.user, Item, pk=int(item_id)) if item_id.isdecimal() else None
    site = access.fetch(request.user, CaseSite, case=case, pk=int(site_id)) if site_id.isdecimal() else None
    quantity = 0 if request.POST.get("answer") == "no" else 1
    facts = {"subject": subject, "item": item, "site": site, "quantity": quantity}
    try:
        scheduling.choose(case=case, by=request.user, at=clock.now(), **facts)
    except Refusal as refusal:
        return _refused(request, case, refusal)
    return _done(request, case, "Decided; the pick list follows it.")


@access.signed_in(need="plan_case")
@require_POST
def case_withdraw(request, case_code):
    """Take a choice of the plan back, so that it is open again or follows from the rules."""
    case = _case(request, case_code, need="plan_case")
    number = request.POST.get("choice", "")
    chosen = access.fetch(
        request.user, PlanChoice, case=case, select=("site",), pk=int(number) if number.isdecimal() else 0
    )
    try:
        withdraw_choice(case=case, subject=chosen.subject, site=chosen.site, by=request.user, at=clock.now())
    except Refusal as refusal:
        return _refused(request, case, refusal)
    return _done(request, case, "Taken back; the pick list follows it.")


@access.signed_in(need="plan_case")
@require_POST
def case_finding(request, case_code):
    """Record what is known of a finding before surgery."""
    case = _case(request, case_code, need="plan_case")
    form = finding_form(case, request.POST, user=request.user)
    if form.is_valid():
        try:
            chairside.record_finding(case=case, by=request.user, at=clock.now(), **form.cleaned_data)
        except Refusal as refusal:
            return _refused(request, case, refusal)
        return _done(request, case, "Recorded; the pick list follows it.")
    return _page(request, case, finding_form=form)
