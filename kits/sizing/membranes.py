"""Which membrane covers a defect. Pure; all lengths in millimetres."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from kits.sizing.measures import checked

# Common practice: the membrane reaches at least 2 mm beyond the defect on every side; a published trial
# protocol used 2 to 3 mm.
LEAST_OVERLAP = 2.0
# Common practice: with less slack than this a slip of the scissors leaves the sheet too small.
_LEAST_SLACK = 1.0
_ROUNDING = 1e-9


@dataclass(frozen=True)
class MembraneChoice:
    """The rectangle a defect needs and the stock sheets that cover it.

    ``needed_width`` runs along the ridge, ``needed_height`` across it. ``chosen`` is the stock size as it was
    given, with the least waste; ``larger`` the next larger one that would do as a substitute, trimmed. Either
    is None when stock has none. ``take_larger_too`` says that the chosen one fits so closely that the next
    size belongs on the trolley as well. ``notes`` are whole sentences for the person.
    """

    needed_width: float
    needed_height: float
    chosen: Sequence[float] | None
    larger: Sequence[float] | None
    take_larger_too: bool = False
    notes: tuple[str, ...] = ()


def rebuilt_height(facial_height: float, thickness: float) -> float:
    """Length a membrane runs along a facial defect that is filled out by ``thickness``: the slant of the two.

    Raises ImpossibleMeasure.
    """
    return math.hypot(
        checked("facial defect height", facial_height), checked("thickness of the wall", thickness)
    )


def membrane(
    *,
    defect_width: float,
    facial_height: float,
    crest_width: float,
    palatal_extent: float,
    overlap: float,
    stock_sizes: Sequence[Sequence[float]],
) -> MembraneChoice:
    """The membrane to have in the room for one defect.

    Needed: (defect width + 2 m) x (facial height + crest width + palatal or lingual extent + 2 m), m being
    the overlap. An overlap below 2 mm is raised to 2 mm and said so. ``stock_sizes`` are (width, height), or
    (width, height, price); a sheet may be turned. The one that covers the need with the least cut away is
    chosen: least cost where every sheet has a price, else least area. Raises ImpossibleMeasure.
    """
    margin = max(checked("overlap", overlap), LEAST_OVERLAP)
    width = checked("defect width", defect_width) + 2 * margin
    height = (
        checked("facial defect height", facial_height)
        + checked("crest width", crest_width)
        + checked("palatal or lingual extent", palatal_extent)
        + 2 * margin
    )
    choice = _choose(width, height, [_checked_sheet(sheet) for sheet in stock_sizes])
    if overlap >= LEAST_OVERLAP:
        return choice
    note = (
        f"An overlap of {overlap:g} mm was asked for; {LEAST_OVERLAP:g} mm on every side is planned, "
        "the least in common practice."
    )
    return replace(choice, notes=(note, *choice.notes))


def _choose(width: float, height: float, sheets: list[Sequence[float]]) -> MembraneChoice:
    """The covering sheet with the least cut away, and the next larger one."""
    priced = all(len(sheet) > 2 for sheet in sheets)
    covering = [(sheet, slack) for sheet in sheets if (slack := _slack(sheet, width, height)) is not None]
    if not covering:
        note = f"No membrane in the catalogue covers {width:.1f} x {height:.1f} mm."
        return MembraneChoice(width, height, None, None, notes=(note,))
    chosen, slack = min(
        covering, key=lambda pair: (_cut_away(pair[0], width * height, priced=priced), _area(pair[0]))
    )
    larger = min((sheet for sheet, _ in covering if _area(sheet) > _area(chosen)), key=_area, default=None)
    if slack >= _LEAST_SLACK:
        return MembraneChoice(width, height, chosen, larger)
    note = (
        f"{chosen[0]:g} x {chosen[1]:g} mm covers {width:.1f} x {height:.1f} mm with less than "
        f"{_LEAST_SLACK:g} mm to spare; have the next larger size at hand."
    )
    return MembraneChoice(width, height, chosen, larger, take_larger_too=True, notes=(note,))


def _checked_sheet(sheet: Sequence[float]) -> Sequence[float]:
    checked("width of a membrane in stock", sheet[0], positive=True)
    checked("height of a membrane in stock", sheet[1], positive=True)
    for price in sheet[2:3]:
        checked("price of a membrane in stock", price)
    return sheet


def _area(sheet: Sequence[float]) -> float:
    return sheet[0] * sheet[1]


def _cut_away(sheet: Sequence[float], needed_area: float, *, priced: bool) -> float:
    """What is cut off and thrown away: its area, or its share of the price."""
    waste = _area(sheet) - needed_area
    return sheet[2] * waste / _area(sheet) if priced else waste


def _slack(sheet: Sequence[float], width: float, height: float) -> float | None:
    """The tighter margin of a sheet over the need, laid the better way round; None if it is too small."""
    ways = (
        min(sheet[0] - width, sheet[1] - height),
        min(sheet[1] - width, sheet[0] - height),
    )
    best = max(ways)
    return best if best >= -_ROUNDING else None
