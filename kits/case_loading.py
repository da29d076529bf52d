"""From rows to plans: cases with everything their requirements depend on, in a handful of queries."""

from collections.abc import Iterable, Mapping

from django.db.models import Prefetch, QuerySet

from kits.families import Families
from kits.models import BomLine, Case, CaseFinding, CaseProcedure, CaseSite, PlanChoice, Preference
from kits.plans import Plan, SitePlan
from kits.requirements import Requirement, of_case
from stock.models import Item


def families() -> Families:
    """The active catalogue, grouped by what an item can stand in for; one query."""
    return Families(Item.objects.active())


def with_plans(cases: QuerySet[Case]) -> QuerySet[Case]:
    """Cases with plan, bills and people fetched along; the number of queries does not grow with the cases."""
    # Bills share most of their items, so those are fetched once each; what is few comes along with its row.
    lines = BomLine.objects.select_related("finding__complement_of").prefetch_related("item")
    cards = Preference.objects.select_related("item")
    return cases.select_related("clinic", "room", "patient", "clinician", "assistant").prefetch_related(
        Prefetch("procedures", queryset=CaseProcedure.objects.select_related("procedure")),
        Prefetch("procedures__version__lines", queryset=lines),
        Prefetch("sites", queryset=CaseSite.objects.select_related("implant")),
        Prefetch("choices", queryset=PlanChoice.objects.select_related("item", "site")),
        Prefetch("findings", queryset=CaseFinding.objects.select_related("finding", "site")),
        Prefetch("clinician__preferences", queryset=cards),
        Prefetch("assistant__preferences", queryset=cards),
    )


def plan_of(case: Case) -> Plan:
    """The plan of one case as values."""
    choices: dict[tuple[str, int | None], list] = {}
    for choice in case.choices.all():
        choices.setdefault((choice.subject, choice.site_id), []).append((choice.item, choice.quantity))
    return Plan(
        case_code=case.code,
        patient=case.patient.chart_number,
        sites=tuple(_site(site) for site in case.sites.all()),
        declined=case.patient.declined_origins,
        graft_material=case.graft_material,
        membrane_class=case.membrane_class,
        guided=case.guided,
        choices={key: tuple(value) for key, value in choices.items()},
        known={(found.finding.code, found.site_id): found.present for found in case.findings.all()},
        clinician=str(case.clinician) if case.clinician else "",
        assistant=str(case.assistant) if case.assistant else "",
        clinician_prefers=_preferences(case.clinician),
        assistant_prefers=_preferences(case.assistant),
    )


def requirements_of(cases: Iterable[Case], *, among: Families | None = None) -> dict[int, list[Requirement]]:
    """Requirements by case id of cases fetched ``with_plans``; one query for the catalogue at most.

    A procedure that turned out not to be done asks for nothing more.
    """
    among = among or families()
    return {case.pk: of_case(plan_of(case), _bills(case), among) for case in cases}


def _bills(case: Case) -> list[tuple[str, list[BomLine]]]:
    return [
        (booked.procedure.code, list(booked.version.lines.all()))
        for booked in case.procedures.all()
        if booked.done
    ]


def _site(site: CaseSite) -> SitePlan:
    return SitePlan(
        id=site.pk,
        tooth=site.tooth,
        implant=site.implant,
        longest_safe_mm=site.longest_safe_mm,
        widest_safe_mm=site.widest_safe_mm,
        healing_height_mm=site.healing_height_mm,
        connection_in_place=site.connection_in_place,
        defect_width_mm=site.defect_width_mm,
        defect_height_mm=site.defect_height_mm,
        graft_cc=site.graft_cc,
    )


def _preferences(person) -> Mapping[str, Item]:
    if person is None:
        return {}
    return {preference.slot: preference.item for preference in person.preferences.all()}
