"""Slots filled with a membrane: the class from plan and consent, the size from the defect. Pure.

Where nobody has measured, the sizes are those of an ordinary defect (trade reference 4.4); the clinician
measures in surgery and decides.
"""

from collections.abc import Sequence
from math import hypot
from typing import Any

from kits.plans import MEMBRANE_WORDS, Plan, SitePlan, segments
from kits.sizing import MembraneChoice, membrane
from kits.slot_answers import Asked, Filled, Missing, NoSuch

# An ordinary defect, millimetres: facial width and height, crest from facial to palatal edge.
USUAL_WIDTH, USUAL_HEIGHT, USUAL_CREST = 6.0, 8.0, 8.0
# Two neighbouring sites covered by one sheet are this much wider for each further site.
WIDER_PER_NEIGHBOUR = 8.0
# Thickness of bone to rebuild, the way under the palatal edge, the overlap all round (common practice).
THICKNESS, TUCK, OVERLAP = 2.5, 4.0, 3.0


def membrane_class(plan: Plan) -> tuple[str, str]:
    """The class to lay ready and why: the plan's, else collagen, or dense PTFE if porcine is declined."""
    if plan.membrane_class:
        written = plan.membrane_class.strip()
        return MEMBRANE_WORDS.get(written.lower(), written.upper()), ""
    if "porcine" in plan.declined:
        return "PT", "porcine material is declined, so dense PTFE; it needs a removal visit"
    return "RC", ""


def sized(asked: Asked) -> tuple[Filled, ...]:
    """The smallest sheet of the class that covers the defect with its overlap."""
    kind, note = membrane_class(asked.plan)
    sheets = asked.families.membranes(kind)
    if not sheets:
        return (Missing(f"The catalogue has no membrane of class {kind}; choose one for this case."),)
    choice = _choice(asked.sites, sheets)
    if choice.chosen is None:
        needed = f"{choice.needed_width:.0f} × {choice.needed_height:.0f} mm"
        return (Missing(f"No sheet of class {kind} covers {needed}; choose two sheets or another class."),)
    needed = f"needs {choice.needed_width:.1f} × {choice.needed_height:.1f} mm"
    return (Filled(_sheet(sheets, choice.chosen), note="; ".join(filter(None, (needed, note)))),)


def next_larger(asked: Asked) -> tuple[Filled, ...]:
    """The next larger sheet of the class that is chosen or planned."""
    first = _prepared(asked)
    if first.item is None:
        return (first,)
    kind = first.item.substitution_group.removeprefix("MEM-")
    sheets = asked.families.membranes(kind)
    choice = _choice(asked.sites, [sheet for sheet in sheets if _sides(sheet) != _sides(first.item)])
    area = first.item.width_mm * first.item.height_mm
    larger = [sheet for sheet in sheets if sheet.width_mm * sheet.height_mm > area]
    if not larger:
        return (NoSuch(f"{first.item.name} is the largest sheet of its class; nothing larger stands by."),)
    covering = [sheet for sheet in larger if choice.chosen and _sides(sheet) == choice.chosen]
    return (Filled((covering or larger)[0], note="next larger"),)


def _prepared(asked: Asked) -> Filled:
    """The sheet that is laid ready for the same sites: a person's choice, else the sized one."""
    site_id = asked.sites[0].id if asked.sites else None
    chosen = [item for item, _ in asked.plan.chosen("MEMBRANE_SIZED", site_id) if item is not None]
    return Filled(chosen[0]) if chosen and chosen[0].width_mm else sized(asked)[0]


def _choice(sites: tuple[SitePlan, ...], sheets: list[Any]) -> MembraneChoice:
    width, height = defect_of(sites)
    return membrane(
        defect_width=width,
        # The facial wall is measured over the slope of what is rebuilt.
        facial_height=hypot(height, THICKNESS),
        crest_width=USUAL_CREST,
        palatal_extent=TUCK - OVERLAP,
        overlap=OVERLAP,
        stock_sizes=[_sides(sheet) for sheet in sheets],
    )


def defect_of(sites: tuple[SitePlan, ...]) -> tuple[float, float]:
    """Width and height (mm) of the defect one sheet has to cover: measured, else usual, over neighbours."""
    runs = segments(sites) or [()]
    widths, heights = [], []
    for run in runs:
        measured = [float(site.defect_width_mm) for site in run if site.defect_width_mm]
        widths.append(max(measured, default=USUAL_WIDTH) + WIDER_PER_NEIGHBOUR * max(0, len(run) - 1))
        heights += [float(site.defect_height_mm) for site in run if site.defect_height_mm]
    return max(widths), max(heights, default=USUAL_HEIGHT)


def _sides(sheet: Any) -> tuple[float, float]:
    return float(sheet.width_mm), float(sheet.height_mm)


def _sheet(sheets: list[Any], sides: Sequence[float]) -> Any:
    wanted = tuple(map(float, sides))
    return next(sheet for sheet in sheets if _sides(sheet) in (wanted, wanted[::-1]))
