"""What the page of a case shows: its plan by tooth, what is to be decided, what it needs, what happened."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from kits.forms import FindingForm, PlanForm, SiteForm
from kits.models import Case, CaseFinding, CaseSite, Finding, PlanChoice
from kits.pick_values import PickLine, PickList
from kits.sizing import ImplantSize, standby_implants
from kits.trace import STAYS
from kits.views.tray_page import over_words
from kits.views.words import line_words, name_and_rest, plain_note, teeth_shown, tooth_shown
from practice import access, audit
from practice.models import AuditEntry, User
from practice.teeth import show
from stock.models import Item

_LATEST = 12
_GROUP = "group:"
_OPTION = "plan:"


def people_at(user, clinic):
    """Colleagues who assist or operate at a clinic."""
    kinds = ("clinician", "assistant")
    found = access.visible(user, User)
    return found.filter(roles__clinic=clinic, roles__kind__in=kinds, is_active=True).distinct()


def implants_of(user):
    """Implants of the catalogue, narrowest and shortest first within a connection."""
    return (
        access.visible(user, Item)
        .filter(category="Implant", is_active=True, diameter_mm__isnull=False, length_mm__isnull=False)
        .order_by("connection", "diameter_mm", "length_mm", "code")
    )


def case_page(case: Case, pick: PickList | None, *, user) -> dict[str, Any]:
    """Variables of templates/kits/case.html; ``pick`` is None for a closed or cancelled case."""
    implants = list(implants_of(user))
    sites = list(case.sites.all())
    plannable = case.state in (Case.State.BOOKED, Case.State.SET_OUT)
    may_plan = plannable and access.may(user, case.clinic, "plan_case")
    needs = [_need(line, case) for line in pick.lines if _is_shown(line)] if pick else []
    return {
        "case": case,
        "pick": pick,
        "over": over_words(case),
        "teeth": teeth_shown(case),
        "procedures": ", ".join(booked.procedure.short_name for booked in case.procedures.all()),
        "may_plan": may_plan,
        "is_open": case.state in Case.OPEN,
        "may_move": plannable and may_plan,
        "sites": [_site(site, case, implants) for site in sites],
        "decide": _to_decide(pick, case) if pick else [],
        "missing": _missing(pick, case, user) if pick else [],
        "choices": [_choice(choice, case) for choice in case.choices.all()],
        "known": [_known(found, case) for found in case.findings.all()],
        "conflicts": _conflicts(pick, case) if pick else [],
        "needs": [need for need in needs if need["matters"]],
        "needs_count": len(needs),
        "supplies": [need for need in needs if not need["matters"]],
        "history": _history(case, user),
        "clinic_notation": case.clinic.tooth_notation,
    }


def plan_form(case: Case, data=None, *, user) -> PlanForm:
    """The form of what holds for the whole case."""
    guided = {True: "1", False: "0", None: ""}[case.guided]
    initial = {
        "graft_material": case.graft_material,
        "membrane_class": case.membrane_class,
        "guided": guided,
        "clinician": case.clinician_id,
        "assistant": case.assistant_id,
        "note": case.note,
    }
    return PlanForm(data, initial=initial, people=people_at(user, case.clinic))


def site_form(case: Case, site: CaseSite | None, data=None, *, user, implants=None) -> SiteForm:
    """The form of one tooth site; a new one where ``site`` is None."""
    found = implants_of(user) if implants is None else implants
    connections = sorted({item.connection for item in found if item.connection})
    initial = {}
    if site is not None:
        names = SiteForm.base_fields
        initial = {name: getattr(site, name) for name in names if name not in ("tooth", "implant")}
        initial |= {"tooth": show(site.tooth, case.clinic.tooth_notation), "implant": site.implant_id}
    prefix = f"site{site.pk}" if site is not None else "new"
    return SiteForm(
        data,
        initial=initial,
        clinic=case.clinic,
        implants=implants_of(user),
        connections=connections,
        auto_id=f"id_{prefix}_%s",
    )


def finding_form(case: Case, data=None, *, user) -> FindingForm:
    """The form of a finding known before surgery: those of the case's procedures."""
    booked = [row.procedure_id for row in case.procedures.all()]
    findings = access.visible(user, Finding).filter(in_procedures__procedure__in=booked, is_planned=False)
    sites = access.visible(user, CaseSite).filter(case=case).select_related("case__clinic")
    return FindingForm(data, findings=findings.distinct(), sites=sites)


def _site(site: CaseSite, case: Case, implants: Sequence[Item]) -> dict[str, Any]:
    measures = [
        ("Longest safe", site.longest_safe_mm, "mm"),
        ("Widest safe", site.widest_safe_mm, "mm"),
        ("Defect width", site.defect_width_mm, "mm"),
        ("Defect height", site.defect_height_mm, "mm"),
        ("Graft", site.graft_cc, "cc"),
    ]
    return {
        "site": site,
        "tooth": tooth_shown(site.tooth, case.clinic),
        "implant": site.implant,
        "size": size_words(site.implant) if site.implant else "",
        "measures": [(name, value, unit) for name, value, unit in measures if value is not None],
        "neighbours": _neighbours(site, implants),
    }


def size_words(implant: Item) -> str:
    """Diameter by length as it is said: 4.3 × 10 mm."""
    return f"{implant.diameter_mm:.1f} × {_plain(implant.length_mm)} mm"


def _plain(number: Decimal) -> str:
    return format(number.normalize(), "f")


def _neighbours(site: CaseSite, implants: Sequence[Item]) -> list[dict[str, Any]]:
    """Sizes beside the planned one, the stand-bys first, each with the reason it is taken or left out."""
    if site.implant is None or not site.implant.diameter_mm:
        return []
    sizes = {item.pk: _size(item) for item in implants}
    by_code = {size.code: item for item in implants for size in [sizes[item.pk]]}
    weighed = standby_implants(
        _size(site.implant),
        list(sizes.values()),
        longest_safe=None if site.longest_safe_mm is None else float(site.longest_safe_mm),
        widest_safe=None if site.widest_safe_mm is None else float(site.widest_safe_mm),
    )
    near = [one for one in weighed if one.taken or one.size.connection == site.implant.connection]
    return [
        {
            "item": by_code[one.size.code],
            "size": size_words(by_code[one.size.code]),
            "taken": one.taken,
            "reason": one.reason,
        }
        for one in near
    ]


def _size(item: Item) -> ImplantSize:
    return ImplantSize(
        diameter=float(item.diameter_mm),
        length=float(item.length_mm),
        connection=item.connection,
        code=item.code,
    )


def _to_decide(pick: PickList, case: Case) -> list[dict[str, Any]]:
    """Options of the plan and groups of which one is chosen, each with the answers one can give."""
    found: dict[tuple, dict[str, Any]] = {}
    for line in pick.decide:
        if not line.undecided:
            continue
        grouped = bool(line.choose_one_group)
        subject = f"{_GROUP}{line.choose_one_group}" if grouped else f"{_OPTION}{_option_code(line)}"
        name, rest = name_and_rest(line.description)
        row = found.setdefault(
            (subject, line.site_id if grouped else None),
            {
                "subject": subject,
                "site_id": line.site_id or "",
                "grouped": grouped,
                "options": [],
                "title": name,
            },
        )
        row["note"] = rest or plain_note(line.note)
        if line.item is not None:
            row["options"].append({"pk": line.item.pk, "name": name})
        if line.tooth:
            row["tooth"] = show(line.tooth, case.clinic.tooth_notation)
    for row in found.values():
        if row["grouped"]:
            row["title"] = "Choose one of these"
    return list(found.values())


def _missing(pick: PickList, case: Case, user) -> list[dict[str, Any]]:
    """What blocks the case, each with the items that may be chosen instead where a choice can answer it."""
    lines = {
        f"{booked.procedure.code}.{line.position}": line
        for booked in case.procedures.all()
        for line in booked.version.lines.all()
    }
    found: dict[str, dict[str, Any]] = {}
    for line in pick.decide:
        if line.blocking and line.unresolved not in found:
            bill = lines.get(line.key.partition("/")[0])
            found[line.unresolved] = {"sentence": line.unresolved, **_instead(bill, line, case, user)}
    return list(found.values())


def _instead(bill, line: PickLine, case: Case, user) -> dict[str, Any]:
    """Items a person may choose for a line whose own item is not for this patient."""
    if bill is None or (bill.item is None and not bill.slot.startswith(("GRAFT", "MEMBRANE"))):
        return {"options": []}
    items = access.visible(user, Item).filter(is_active=True, single_patient_use=True)
    if bill.item is not None:
        items = items.filter(category=bill.item.category).exclude(pk=bill.item_id)
        subject = f"item:{bill.item.code}"
    else:
        category = {"G": "Bone graft", "M": "Membrane"}[bill.slot[0]]
        items, subject = items.filter(category=category), bill.slot
    declined = case.patient.declined_origins
    options = [{"pk": item.pk, "name": item.name} for item in items if not item.origins & declined]
    return {"options": options, "subject": subject, "site_id": line.site_id or ""}


def _option_code(line: PickLine) -> str:
    return line.item.code if line.item is not None else "IMPLANT_PLANNED"


def _choice(choice: PlanChoice, case: Case) -> dict[str, Any]:
    said = (
        choice.item.name
        if choice.item is not None
        else choice.subject.partition(":")[2].replace("_", " ").lower()
    )
    answer = "planned" if choice.quantity else "not planned"
    is_option = choice.subject.startswith(_OPTION)
    return {
        "pk": choice.pk,
        "subject": choice.subject,
        "site_id": choice.site_id or "",
        "item_id": choice.item_id or "",
        "words": f"{said}: {answer}" if is_option else said,
        "tooth": tooth_shown(choice.site.tooth, case.clinic)["number"] if choice.site else "",
        "is_option": is_option,
        "taken": bool(choice.quantity),
    }


def _known(found: CaseFinding, case: Case) -> dict[str, Any]:
    return {
        "words": found.finding.name,
        "present": found.present,
        "source": found.get_source_display(),
        "tooth": tooth_shown(found.site.tooth, case.clinic)["number"] if found.site else "",
    }


def _conflicts(pick: PickList, case: Case) -> list[str]:
    """Lines that the patient's refusal of an origin leaves without an item."""
    if not case.patient.declined_origins:
        return []
    found = [line.unresolved for line in pick.lines if "declines" in line.unresolved]
    return list(dict.fromkeys(found))


def _is_shown(line: PickLine) -> bool:
    return not line.undecided and (line.item is not None or line.blocking)


def _need(line: PickLine, case: Case) -> dict[str, Any]:
    if line.finding is not None:
        when = line.finding.condition
    elif line.checkpoint:
        when = line.checkpoint
    else:
        when = {"open": "At set-up", "room stock": "From the room, on use"}.get(
            line.set_out, "Sealed in reach"
        )
    sealed_on_finding = line.finding is not None and line.known is None
    stays = line.item is None or line.item.category in STAYS
    return line_words(line, case.clinic, with_tooth=len(case.sites.all()) > 1) | {
        "when": when,
        "matters": stays or line.must_scan or line.short or line.set_out not in ("open", "room stock"),
        "chance": line.chance if sealed_on_finding else None,
        "item": line.item,
    }


def _history(case: Case, user) -> list[dict[str, Any]]:
    entries = (
        access.visible(user, AuditEntry)
        .filter(subject=case.code, clinic=case.clinic, action__startswith="case.")
        .select_related("by")
        .order_by("-at", "-pk")[:_LATEST]
    )
    return [{"at": entry.at, "said": audit.sentence(entry)} for entry in entries]
