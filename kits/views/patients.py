"""Patients: who they are by chart number, and which lot stands at which tooth."""

from django.contrib import messages
from django.db.models import Count, Max, Min, Q
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe
from django_tables2 import RequestConfig

from kits.consent import record_consent
from kits.forms import ConsentForm
from kits.forms_lists import PatientFilter
from kits.models import Case
from kits.tables import PatientTable
from kits.trace import by_tooth, materials_of
from kits.views.answers import exported
from kits.views.symbol import code_symbol
from kits.views.words import name_and_rest, tooth_shown
from practice import access, clock
from practice.models import Patient
from practice.patients import with_name

_EVERY = 25
_MATERIAL_HEADER = [
    *("Chart", "Tooth (FDI)", "Date", "Item", "Name", "Units", "Lot", "Serial or unit", "Donor"),
    *("Expiry", "Case", "Clinic", "Clinician"),
]
_HEADER = ["Chart", "Name", "Born", "Last surgery", "Next surgery", "Cases", "Declines", "Asked on"]


def _found(request, form: PatientFilter, text: str):
    patients = access.visible(request.user, Patient)
    if text:
        by_name = with_name(access.visible(request.user, Patient), text).values("pk")
        patients = patients.filter(Q(chart_number__icontains=text) | Q(pk__in=by_name))
    if form.is_valid() and form.cleaned_data["declines"]:
        patients = patients.filter(**{f"declines_{form.cleaned_data['declines']}": True})
    here = Q(cases__clinic__in=request.clinics)
    today = clock.today(clinic=request.clinic)
    ahead = Q(cases__state__in=Case.OPEN, cases__on__gte=today)
    # One grouped query: a subquery for each row takes seconds at a thousand patients.
    return patients.annotate(
        last_on=Max("cases__on", filter=here & Q(cases__state=Case.State.CLOSED)),
        next_on=Min("cases__on", filter=here & ahead),
        case_count=Count("cases", distinct=True, filter=here & ~Q(cases__state=Case.State.CANCELLED)),
    )


def _row(patient: Patient) -> list:
    return [
        patient.chart_number,
        patient.name,
        patient.born_in,
        patient.last_on,
        patient.next_on,
        patient.case_count,
        ", ".join(sorted(patient.declined_origins)),
        patient.consent_asked_on,
    ]


@access.signed_in()
@require_safe
def patient_list(request):
    """List patients; found by chart number or whole name."""
    text = request.GET.get("q", "").strip()
    form = PatientFilter(request.GET)
    patients = _found(request, form, text)
    if wanted := request.GET.get("export"):
        return exported(wanted, "patients", _HEADER, [_row(one) for one in patients.order_by("chart_number")])
    table = PatientTable(patients)
    RequestConfig(request, paginate={"per_page": _EVERY}).configure(table)
    shown = {"table": table, "form": form, "q": text, "sort": request.GET.get("sort", "")}
    return render(
        request, "kits/patients.html", shown | {"filtered": bool(text or request.GET.get("declines"))}
    )


def _patient(request, chart_number: str) -> Patient:
    return access.fetch(request.user, Patient, select=("practice",), chart_number=chart_number)


def _materials(request, patient: Patient, *, everything: bool) -> list[dict]:
    """What was used in a patient: a row a tooth site, newest first."""
    found = by_tooth(materials_of(patient=patient, everything=everything))
    return [
        {
            "tooth": tooth_shown(tooth, request.clinic) if tooth else None,
            "placed": [
                _placed(given) for given in sorted(rows, key=lambda one: one.case.starts_at, reverse=True)
            ],
        }
        for tooth, rows in found.items()
    ]


def _placed(given) -> dict:
    name, rest = name_and_rest(given.lot.item.name)
    lot = given.lot
    return {
        "given": given,
        "name": name,
        "rest": rest,
        "number": "" if lot.shown == "no lot" else lot.shown,
        "serial": lot.serial if lot.lot_number else "",
        "lot": lot,
        "on": given.on,
        "case": given.case,
        "quantity": given.unit.quantity,
    }


@access.signed_in()
@require_safe
def patient(request, chart_number):
    """What was used in a patient, by tooth site and date."""
    found = _patient(request, chart_number)
    everything = request.GET.get("everything") == "1"
    if wanted := request.GET.get("export"):
        rows = _material_rows(materials_of(patient=found, everything=everything))
        return exported(wanted, f"materials-{found.chart_number}", _MATERIAL_HEADER, rows)
    cases = access.visible(request.user, Case).filter(patient=found)
    cases = (
        cases.select_related("clinic")
        .prefetch_related("procedures__procedure", "sites")
        .order_by("-starts_at")
    )
    shown = {
        "patient": found,
        "sites": _materials(request, found, everything=everything),
        "everything": everything,
        "consent_form": ConsentForm(instance=found) if _may_plan(request, found) else None,
        "cases": [
            {"case": case, "procedures": ", ".join(row.procedure.short_name for row in case.procedures.all())}
            for case in cases
        ],
    }
    return render(request, "kits/patient.html", shown)


def _material_rows(found: list) -> list[list]:
    """What was used in a patient under _MATERIAL_HEADER, newest case first."""
    return [
        [
            *(given.patient.chart_number, given.tooth, given.on, given.lot.item.code, given.lot.item.name),
            *(given.unit.quantity, given.lot.lot_number, given.lot.serial, given.lot.donor_id),
            *(given.lot.expires_on, given.case.code, str(given.case.clinic), str(given.case.clinician or "")),
        ]
        for given in found
    ]


def _may_plan(request, found: Patient) -> bool:
    return access.visible(request.user, Patient, need="plan_case").filter(pk=found.pk).exists()


@access.signed_in(need="plan_case")
@require_POST
def patient_consent(request, chart_number):
    """Record what a patient, who was asked, declines."""
    found = access.fetch(request.user, Patient, need="plan_case", chart_number=chart_number)
    form = ConsentForm(request.POST, instance=found)
    form.full_clean()
    today = clock.today(clinic=request.clinic)
    left = record_consent(patient=found, on=today, by=request.user, at=clock.now(), **form.cleaned_data)
    found.refresh_from_db()
    messages.success(request, f"Recorded as asked today: {found.chart_number} {found.consent}.")
    for sentence in left:
        messages.warning(request, sentence)
    return redirect("patient", chart_number=found.chart_number)


def _sheet(request, chart_number: str) -> dict:
    found = _patient(request, chart_number)
    return {
        "patient": found,
        "sites": _materials(request, found, everything=False),
        "symbol": code_symbol(found.chart_number),
        "now": clock.now(),
        "facts": [
            ("Chart", found.chart_number),
            *([("Name", found.name)] if found.name else []),
            *([("Born", str(found.born_in))] if found.born_in else []),
            ("Consent", found.consent),
        ],
    }


@access.signed_in()
@require_safe
def patient_record(request, chart_number):
    """The material record of a patient, to print."""
    return render(request, "kits/patient_record.html", _sheet(request, chart_number))


@access.signed_in()
@require_safe
def patient_card(request, chart_number):
    """The implant card of a patient, to print and hand over."""
    shown = _sheet(request, chart_number)
    implants = [
        {"tooth": row["tooth"], **one}
        for row in shown["sites"]
        for one in row["placed"]
        if one["lot"].item.category == "Implant"
    ]
    return render(request, "kits/patient_card.html", shown | {"implants": implants})
