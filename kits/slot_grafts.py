"""Slots filled with graft: material from plan and consent, volume from the tooth, vials from both.

Pure. A starting point for what to have in the room; the clinician decides what is used.
"""

from decimal import Decimal
from typing import Any

from kits.plans import GRAFT_WORDS, Plan, SitePlan
from kits.procedure_facts import GAP, SOCKET_AND_PLATE, facts_of
from kits.sizing import (
    NoAverageTooth,
    average_tooth,
    facial_defect_volume,
    graft_need,
    implant_in_socket_volume,
    socket_volume,
    vials,
)
from kits.slot_answers import Asked, Filled, Missing, NoSuch

# Order in which materials are taken where the plan names none; synthetic suits whoever declines the others.
_MATERIALS = (("AL", "human"), ("SY", "synthetic"), ("XB", "bovine"))
# A facial defect nobody has measured, millimetres (trade reference 4.2).
USUAL_DEFECT = (5.0, 7.0)
# The crest of the bone stands this far below the neck of the tooth, millimetres (common practice).
CREST_BELOW_NECK = 2.0
# An implant may fill its socket; one small vial still lies ready for the gap.
LEAST_CC = 0.01


def material_of(plan: Plan) -> tuple[str, str]:
    """The graft material to lay ready and why: the plan's, else the first that the patient accepts."""
    if plan.graft_material:
        written = plan.graft_material.strip()
        return GRAFT_WORDS.get(written.lower(), written.upper()), ""
    material = next(code for code, origin in _MATERIALS if origin not in plan.declined)
    return material, "" if material == "AL" else "human tissue is declined, so synthetic"


def need_cc(procedure: str, sites: tuple[SitePlan, ...]) -> float | None:
    """Volume to order (cc) for these sites: measured where it was, else from tooth or procedure.

    None where a tooth is needed and none is named.
    """
    measured = [float(site.graft_cc) for site in sites if site.graft_cc]
    if measured:
        return sum(measured)
    way = facts_of(procedure).graft
    if isinstance(way, Decimal):
        return float(way)
    if not all(site.tooth for site in sites):
        return None
    return sum(_of_tooth(way, site) for site in sites)


def _of_tooth(way: str, site: SitePlan) -> float:
    """Graft (cc) for the socket of one tooth, with a missing wall or round an implant."""
    wall = implant = 0.0
    if way == SOCKET_AND_PLATE or site.defect_width_mm or site.defect_height_mm:
        width, height = site.defect_width_mm or USUAL_DEFECT[0], site.defect_height_mm or USUAL_DEFECT[1]
        wall = facial_defect_volume(float(width), float(height))
    if way == GAP and site.implant is not None:
        depth = average_tooth(site.tooth).root - CREST_BELOW_NECK
        implant = implant_in_socket_volume(float(site.implant.diameter_mm), depth)
    return graft_need(socket_cc=socket_volume(site.tooth), wall_defect_cc=wall, implant_cc=implant)


def sized(asked: Asked) -> tuple[Filled, ...]:
    """The unopened vials of the material that cover the need with the least waste."""
    material, note = material_of(asked.plan)
    stock = asked.families.grafts(material)
    if not stock:
        return (Missing(f"The catalogue has no graft of material {material}; choose one for this case."),)
    try:
        need = need_cc(asked.procedure, asked.sites)
    except NoAverageTooth as unknown:
        return (Missing(str(unknown)),)
    if need is None:
        return (Missing("Say which tooth or teeth this case is for."),)
    by_size = {float(item.volume_cc): item for item in stock}
    sizes = [float(size) for size in vials(max(need, LEAST_CC), sorted(by_size))]
    words = "; ".join(filter(None, (f"needs {need:.2f} cc", note)))
    return tuple(
        Filled(by_size[size], quantity=sizes.count(size), note=words)
        for size in sorted(set(sizes), reverse=True)
    )


def next_vial(asked: Asked) -> tuple[Filled, ...]:
    """One more vial of the same material: the smallest that holds at least half of what is laid ready."""
    chosen = _prepared(asked)
    if chosen is None:
        return (Missing("Say which tooth or teeth this case is for."),)
    ready, stock = chosen
    if not stock:
        return (NoSuch("There is no further vial of this material in the catalogue."),)
    best = next((item for item in stock if float(item.volume_cc) >= ready / 2), stock[-1])
    return (Filled(best, note="one more vial of the same material"),)


def _prepared(asked: Asked) -> tuple[float, list[Any]] | None:
    """Volume laid ready (cc) at the same sites and the vials of that material, smallest first."""
    site_id = asked.sites[0].id if asked.sites else None
    chosen = [
        (item, quantity)
        for item, quantity in asked.plan.chosen("GRAFT_SIZED", site_id)
        if item is not None and item.volume_cc
    ]
    if chosen:
        ready = sum(float(item.volume_cc) * quantity for item, quantity in chosen)
        material = chosen[0][0].substitution_group.removeprefix("GRAFT-")
        return ready, asked.families.grafts(material)
    answers = [answer for answer in sized(asked) if answer.item is not None]
    if not answers:
        return None
    ready = sum(float(answer.item.volume_cc) * answer.quantity for answer in answers)
    return ready, asked.families.grafts(material_of(asked.plan)[0])
