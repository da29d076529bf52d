"""The pick list of a case: what to set out, scans, ticks, findings, and what is opened."""

from uuid import uuid4

from django.contrib import messages
from django.http import Http404
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST
from django_htmx.http import HttpResponseClientRedirect

from kits import chairside, picking
from kits.forms import ByHandForm
from kits.models import Case, CaseSite, Finding, TrayLine
from kits.pick_values import DONE
from kits.ready_together import REPROCESSING, WITHOUT_LOT, set_out_together
from kits.tray_checks import ScanIt
from kits.views.answers import said
from kits.views.tray_page import facts_of, tray_page
from kits.views.words import line_words
from practice import access, clock
from practice.refusals import Refusal

_WITH = ("clinic__practice", "room", "patient", "clinician")


def _case(request, case_code: str, need: str = "see") -> Case:
    return access.fetch(request.user, Case, need=need, select=_WITH, code=case_code)


def _today(case: Case):
    return clock.today(clinic=case.clinic)


def _page(request, case: Case, *, fresh: str = "", pick=None) -> dict:
    pick = pick or picking.pick_list(case=case, today=_today(case))
    shown = tray_page(pick, user=request.user, fresh=fresh)
    return shown | {"facts": facts_of(pick), "now": clock.now()}


def _answer(request, case: Case, *, kind="ok", title, text="", fresh="", pick=None, **more):
    """Say what came of it: in place with the tray redrawn, or on the page again without scripts.

    ``pick``: the list as it stands now, where it is known already.
    """
    if not request.htmx:
        return said(request, kind, title, text, "pick_list", case.code)
    case.refresh_from_db(fields=["state"])
    if case.state not in Case.OPEN:
        # Somebody else closed or cancelled it meanwhile: there is no tray any more to draw.
        messages.error(request, f"{title.rstrip('.')}. {text}".strip())
        return HttpResponseClientRedirect(reverse("case", args=[case.code]))
    shown = _page(request, case, fresh=fresh, pick=pick) | {"kind": kind, "title": title, "text": text} | more
    answer = render(
        request, "kits/fragments/tray_answer.html", shown, status=409 if kind == "refused" else 200
    )
    answer["HX-Retarget"], answer["HX-Reswap"] = "#said", "innerHTML"
    return answer


def _refuse(request, case: Case, refusal, **more):
    title, _, text = str(refusal).partition(". ")
    return _answer(
        request, case, kind="refused", title=title if text else title.rstrip("."), text=text, **more
    )


@access.signed_in()
@require_GET
def pick_list(request, case_code):
    """What to set out for a case, open and sealed."""
    case = _case(request, case_code)
    if case.state not in Case.OPEN:
        messages.warning(request, f"{case} is {case.get_state_display()}; its tray is no longer set out.")
        return redirect("case", case_code=case.code)
    return render(request, "kits/pick_list.html", _page(request, case))


@access.signed_in(need="set_out")
@require_POST
def pick_scan(request, case_code):
    """Take whatever was scanned onto the tray, or say why not."""
    case = _case(request, case_code, need="set_out")
    text = request.POST.get("code", "")
    found = picking.scan(case=case, text=text, by=request.user, at=clock.now(), today=_today(case))
    if not found.ok:
        return _refuse(request, case, found.detail)
    words = " ".join(part for part in (found.detail, *found.notices, found.next) if part)
    return _answer(request, case, title=found.title, text=words, fresh=found.line.key, pick=found.pick)


def _line(case: Case, key: str) -> TrayLine:
    line = case.tray_lines.filter(key=key).select_related("item", "case").first()
    if line is None:
        raise Http404("There is no such line on this tray.")
    return line


@access.signed_in(need="set_out")
@require_POST
def pick_tick(request, case_code):
    """Say that a line lies ready, or take that back (``off``)."""
    case = _case(request, case_code, need="set_out")
    facts = {"by": request.user, "at": clock.now()}
    key = request.GET.get("line", "")
    by_hand = {}
    try:
        case = picking.begin(case=case, **facts) if case.state == Case.State.BOOKED else case
        line = _line(case, key)
        if request.GET.get("off"):
            picking.untick(line=line, **facts)
            return _answer(request, case, kind="notice", title=f"Taken back: {line.description}", fresh=key)
        picking.tick(line=line, **facts)
    except ScanIt as refusal:
        by_hand = {"hand_line": key}
        return _refuse(request, case, refusal, **by_hand)
    except Refusal as refusal:
        return _refuse(request, case, refusal)
    return _answer(request, case, title=f"Set out: {line.description}", fresh=key)


@access.signed_in(need="set_out")
@require_POST
def pick_ready(request, case_code):
    """Set out with one touch what carries no lot, or what waits for reprocessing."""
    case = _case(request, case_code, need="set_out")
    group = request.GET.get("group", "")
    if group not in (WITHOUT_LOT, REPROCESSING):
        raise Http404("There is no such group of lines.")
    facts = {"today": _today(case), "by": request.user, "at": clock.now()}
    try:
        done = set_out_together(case=case, group=group, **facts)
    except Refusal as refusal:
        return _refuse(request, case, refusal)
    short = "; ".join(line.description for line in done.short)
    kind = "notice" if short else "ok"
    return _answer(
        request,
        case,
        kind=kind,
        title=f"Set out: {len(done.ready)} line{'' if len(done.ready) == 1 else 's'}",
        text=f"Not enough is free of: {short}." if short else "",
    )


def _to_put_on(case: Case, key: str | None):
    """The pick line with that key, if units of it are still to be put on a tray that is being set out."""
    if case.state not in (Case.State.SET_OUT, Case.State.IN_SURGERY):
        return None
    lines = picking.pick_list(case=case, today=_today(case)).lines
    return next((one for one in lines if one.key == key and one.line is not None and one.state != DONE), None)


@access.signed_in(need="set_out")
@require_http_methods(["GET", "HEAD", "POST"])
def pick_by_hand(request, case_code):
    """Put a unit on the tray whose label cannot be read: its number is chosen, and why is written down."""
    case = _case(request, case_code, need="set_out")
    found = _to_put_on(case, request.GET.get("line"))
    if found is None:
        return redirect("pick_list", case_code=case.code)
    form = ByHandForm(request.POST or None, parts=found.parts)
    if form.is_valid():
        part = form.cleaned_data["part"]
        facts = {"lot": part.lot, "place": part.place, "quantity": part.quantity, "scanned": False}
        facts |= {"note": form.cleaned_data["note"], "key": request.POST.get("key", "")[:80] or None}
        try:
            picking.put_on_tray(line=found.line, by=request.user, at=clock.now(), **facts)
        except Refusal as refusal:
            form.add_error(None, str(refusal))
        else:
            return _answer(
                request, case, title=f"Set out without a scan: {found.description}", fresh=found.key
            )
    shown = {"case": case, "line": line_words(found, case.clinic), "form": form, "key": str(uuid4())}
    return render(request, "kits/pick_by_hand.html", shown, status=422 if form.is_bound else 200)


@access.signed_in(need="record_surgery")
@require_POST
def pick_start(request, case_code):
    """Begin surgery: what is opened at set-up counts as opened."""
    case = _case(request, case_code, need="record_surgery")
    try:
        chairside.start_surgery(case=case, by=request.user, at=clock.now())
    except Refusal as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, "Surgery has begun. What is opened at set-up counts as opened.")
    return redirect("pick_list", case_code=case.code)


@access.signed_in(need="record_surgery")
@require_POST
def pick_finding(request, case_code):
    """Record with one touch that something was found, or is not there."""
    case = _case(request, case_code, need="record_surgery")
    finding = access.fetch(request.user, Finding, pk=_number(request.GET.get("finding")))
    site_id = request.GET.get("site")
    site = access.fetch(request.user, CaseSite, case=case, pk=_number(site_id)) if site_id else None
    present = request.GET.get("present") == "1"
    try:
        chairside.record_finding(
            case=case, finding=finding, site=site, present=present, by=request.user, at=clock.now()
        )
    except Refusal as refusal:
        return _refuse(request, case, refusal)
    case.refresh_from_db()
    return _answer(request, case, **_finding_words(finding, present))


def _finding_words(finding: Finding, present: bool) -> dict[str, str]:
    if present:
        return {"title": f"Recorded: {finding.name.lower()}", "text": "What it needs counts as opened."}
    return {
        "title": f"Recorded: not there ({finding.name.lower()})",
        "text": "What hangs on it stays sealed.",
    }


@access.signed_in(need="record_surgery")
@require_POST
def pick_open(request, case_code):
    """Open sealed lines on the clinician's word."""
    case = _case(request, case_code, need="record_surgery")
    keys = request.GET.getlist("line")
    try:
        lines = [_line(case, key) for key in keys]
        chairside.open_lines(lines=lines, by=request.user, at=clock.now())
    except Refusal as refusal:
        return _refuse(request, case, refusal)
    case.refresh_from_db()
    names = "; ".join(line.description for line in lines) or "nothing"
    return _answer(request, case, title=f"Opened: {names}", fresh=keys[0] if keys else "")


def _number(text: str | None) -> int:
    return int(text) if text and text.isdecimal() else 0
