"""Filling the slots of a bill from the plan: which implant, which healing abutment, how much graft. Pure.

A slot is never dropped. What the plan cannot answer comes back with a sentence that says what to decide;
what does not exist (no wider implant in the family) comes back with the reason and blocks nothing.
"""

from collections.abc import Callable
from typing import Any

from kits import slot_grafts, slot_implants, slot_membranes
from kits.plans import Plan
from kits.slot_answers import Asked, Filled, Missing, NoSuch

STERILE, EXAMINATION = "GLOVE-S", "GLOVE-N"
# Common practice: the size most people wear, until the preference card says otherwise.
USUAL_STERILE, USUAL_EXAMINATION = "7.5", "M"


def fill(asked: Asked) -> tuple[Filled, ...]:
    """What fills a slot: one item, or several where one vial is not enough.

    A person's own choice for the slot goes before every rule. A choice or rule that the patient declines is
    answered with a sentence, not with the item.
    """
    chosen = asked.plan.chosen(asked.slot, asked.sites[0].id if asked.sites else None)
    picked = [(item, quantity) for item, quantity in chosen if item is not None]
    if picked:
        answers = tuple(Filled(item, quantity, note="chosen for this case") for item, quantity in picked)
    else:
        rule = _RULES.get(asked.slot)
        if rule is None:
            return (Missing(f"Nobody has said what fills “{asked.slot}”; choose an item for it."),)
        answers = rule(asked)
    return tuple(_accepted(answer, asked.plan) for answer in answers)


def _accepted(answer: Filled, plan: Plan) -> Filled:
    declined = plan.declines(answer.item) if answer.item is not None else frozenset()
    if not declined:
        return answer
    words = " and ".join(sorted(declined))
    return Missing(
        f"{plan.patient} declines {words} material, so {answer.item.name} is not for this case; "
        "choose another with the clinician."
    )


def _glove(asked: Asked, *, who: str, prefers: dict[str, Any]) -> tuple[Filled, ...]:
    preferred = prefers.get(asked.slot) or prefers.get("GLOVE")
    if preferred is not None:
        return (Filled(preferred, note=who),)
    usual = asked.families.gloves(STERILE).get(USUAL_STERILE)
    if usual is None:
        return (Missing("Choose the glove size: no preference card and no usual size is in the catalogue."),)
    name = who or "the person not yet named"
    return (Filled(usual, note=f"usual size; {name} has no preference card"),)


def _glove_clinician(asked: Asked) -> tuple[Filled, ...]:
    return _glove(asked, who=asked.plan.clinician, prefers=dict(asked.plan.clinician_prefers))


def _glove_assistant(asked: Asked) -> tuple[Filled, ...]:
    return _glove(asked, who=asked.plan.assistant, prefers=dict(asked.plan.assistant_prefers))


def _nitrile(asked: Asked) -> tuple[Filled, ...]:
    preferred = asked.plan.assistant_prefers.get("NITRILE")
    item = preferred or asked.families.gloves(EXAMINATION).get(USUAL_EXAMINATION)
    if item is None:
        return (Missing("Choose the examination gloves: size M is not in the catalogue."),)
    return (Filled(item),)


def _part(find: str, words: str) -> Callable[[Asked], tuple[Filled, ...]]:
    """A rule for a part that follows from the platform alone."""

    def rule(asked: Asked) -> tuple[Filled, ...]:
        connection = slot_implants.connection_at(asked.sites)
        if not connection:
            return (slot_implants.unknown_platform(asked.sites, asked.procedure),)
        item = getattr(asked.families, find)(connection)
        if item is None:
            return (NoSuch(f"The catalogue has no {words} for platform {connection}."),)
        return (Filled(item),)

    return rule


_RULES: dict[str, Callable[[Asked], tuple[Filled, ...]]] = {
    "IMPLANT_PLANNED": slot_implants.planned,
    "IMPLANT_STANDBY_UP": slot_implants.standby_up,
    "IMPLANT_STANDBY_DOWN": slot_implants.standby_down,
    "HEALING_PLANNED": slot_implants.healing_planned,
    "HEALING_OTHER": slot_implants.healing_other,
    "COVER_SCREW": _part("cover_screw", "cover screw"),
    "TEMP_ABUT": _part("temporary_abutment", "temporary abutment"),
    "SCAN_BODY": _part("scan_body", "scan body"),
    "IMP_POST": _part("impression_post", "impression post"),
    "ANALOGUE": _part("analogue", "laboratory analogue"),
    "FINAL_SCREW": _part("final_screw", "final screw"),
    "GRAFT_SIZED": slot_grafts.sized,
    "GRAFT_NEXT": slot_grafts.next_vial,
    "MEMBRANE_SIZED": slot_membranes.sized,
    "MEMBRANE_NEXT": slot_membranes.next_larger,
    "GLOVE_CLIN": _glove_clinician,
    "GLOVE_ASST": _glove_assistant,
    "NITRILE": _nitrile,
}
SLOTS = frozenset(_RULES)
