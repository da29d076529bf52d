"""The list of cases."""

import datetime as dt
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.shortcuts import render
from django.views.decorators.http import require_safe
from django_tables2 import RequestConfig

from kits.forms_lists import CaseFilter
from kits.models import Case, Procedure
from kits.promises import procedures_in_words
from kits.tables import CaseTable
from kits.views.answers import exported
from kits.views.case_page import people_at
from practice import access, clock
from practice.teeth import show_teeth

_EVERY = 25
_HEADER = ["Case", "Day", "Time", "Room", "Chart", "Procedures", "Teeth", "Minutes", "Clinician", "State"]


def _found(request, form: CaseFilter, text: str):
    cases = access.visible(request.user, Case).filter(clinic=request.clinic)
    if text:
        cases = cases.filter(Q(code__icontains=text) | Q(patient__chart_number__icontains=text))
    if not form.is_valid():
        return cases
    chosen = form.cleaned_data
    if chosen["state"] == "open":
        cases = cases.filter(state__in=Case.OPEN)
    elif chosen["state"]:
        cases = cases.filter(state=chosen["state"])
    if chosen["since"]:
        cases = cases.filter(on__gte=chosen["since"])
    if chosen["until"]:
        cases = cases.filter(on__lte=chosen["until"])
    if chosen["clinician"]:
        cases = cases.filter(clinician=chosen["clinician"])
    if chosen["procedure"]:
        cases = cases.filter(procedures__procedure=chosen["procedure"]).distinct()
    return cases


def _row(case: Case) -> list:
    teeth = show_teeth([site.tooth for site in case.sites.all()], case.clinic.tooth_notation)
    start = case.starts_at.astimezone(ZoneInfo(case.clinic.time_zone))
    who, room = str(case.clinician or ""), str(case.room or "")
    return [
        case.code,
        case.on,
        start.time().replace(tzinfo=None),
        room,
        case.patient.chart_number,
        procedures_in_words(case),
        teeth,
        case.minutes,
        who,
        case.get_state_display(),
    ]


@access.signed_in()
@require_safe
def case_list(request):
    """List cases of the clinic: from today on, unless a filter says otherwise."""
    today = clock.today(clinic=request.clinic)
    asked = request.GET.copy()
    if not set(asked) & {"since", "until", "state", "clinician", "procedure", "q"}:
        asked["since"] = today.isoformat()
    text = asked.get("q", "").strip()
    form = CaseFilter(
        asked,
        people=people_at(request.user, request.clinic),
        procedures=access.visible(request.user, Procedure),
    )
    cases = _found(request, form, text).select_related("clinic", "room", "patient", "clinician")
    cases = cases.prefetch_related("procedures__procedure", "sites")
    if wanted := request.GET.get("export"):
        return exported(
            wanted, "cases", _HEADER, [_row(case) for case in cases.order_by("on", "starts_at", "pk")]
        )
    table = CaseTable(cases)
    RequestConfig(request, paginate={"per_page": _EVERY}).configure(table)
    shown = {"table": table, "form": form, "q": text, "sort": request.GET.get("sort", ""), **_weeks(today)}
    return render(request, "kits/cases.html", shown | {"filtered": bool(request.GET), "asked": asked})


def _weeks(today: dt.date) -> dict[str, dt.date]:
    """This week and the next, Monday to Sunday, for the two quick ways."""
    monday = today - dt.timedelta(days=today.weekday())
    return {
        "this_monday": monday,
        "this_sunday": monday + dt.timedelta(days=6),
        "next_monday": monday + dt.timedelta(days=7),
        "next_sunday": monday + dt.timedelta(days=13),
    }
