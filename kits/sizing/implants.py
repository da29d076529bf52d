"""Which neighbouring implant sizes lie ready beside the planned one, and why the others do not. Pure.

Lengths and diameters in millimetres. The margins are rules of thumb of the trade; the clinician's measured
limits always go first.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from kits.sizing.measures import checked

# Common practice: 2 mm above the nerve canal, 1.5 mm to each neighbouring tooth.
MARGIN_TO_CANAL = 2.0
MARGIN_TO_TOOTH = 1.5
_ROUNDING = 1e-9


@dataclass(frozen=True)
class ImplantSize:
    """One implant of the catalogue: size in mm, connection family, and the item's code."""

    diameter: float
    length: float
    connection: str
    code: str = ""

    def __str__(self) -> str:
        return f"{self.diameter:g} x {self.length:g} mm {self.connection}"


@dataclass(frozen=True)
class Standby:
    """A size of the catalogue weighed as a stand-by: taken, as which step, or left out, and why."""

    size: ImplantSize
    taken: bool
    step: str
    reason: str


def safe_length(bone_height: float, *, margin: float = MARGIN_TO_CANAL) -> float:
    """Longest implant for a height of bone, keeping the margin to what lies below; 0 if there is none.

    Raises ImpossibleMeasure.
    """
    return max(checked("bone height", bone_height) - checked("margin", margin), 0.0)


def safe_diameter(gap: float, *, margin: float = MARGIN_TO_TOOTH) -> float:
    """Widest implant for the gap between two teeth, keeping the margin to each; 0 if there is none.

    Raises ImpossibleMeasure.
    """
    return max(checked("gap", gap) - 2 * checked("margin", margin), 0.0)


def why_not_safe(size: ImplantSize, *, longest_safe: float | None, widest_safe: float | None) -> str | None:
    """Why a size goes beyond the measured limits, in a sentence; None when it keeps to them."""
    if longest_safe is not None and size.length > longest_safe + _ROUNDING:
        return f"At {size.length:g} mm it is longer than the safe length of {longest_safe:g} mm."
    if widest_safe is not None and size.diameter > widest_safe + _ROUNDING:
        return f"At {size.diameter:g} mm it is wider than the safe diameter of {widest_safe:g} mm."
    return None


def standby_implants(
    planned: ImplantSize,
    catalogue: Sequence[ImplantSize],
    *,
    longest_safe: float | None,
    widest_safe: float | None,
) -> list[Standby]:
    """Every other size of the catalogue, the stand-bys first, each with its reason.

    Taken are the next size up and down in diameter and in length, of the same connection and within the safe
    length and diameter. Where the next diameter is not made in the planned length, or that is not safe, its
    nearest shorter safe length stands in. A different connection is never taken. Without a measured limit
    (None) nothing longer, or wider, than planned is taken. Raises ImpossibleMeasure for a limit below zero.
    """
    for name, limit in (("safe length", longest_safe), ("safe diameter", widest_safe)):
        if limit is not None:
            checked(name, limit)
    # Without a measurement the plan itself is the only limit anyone has thought about.
    limits = {
        "longest_safe": planned.length if longest_safe is None else longest_safe,
        "widest_safe": planned.diameter if widest_safe is None else widest_safe,
    }
    others = [size for size in dict.fromkeys(catalogue) if not _same(size, planned)]
    family = [size for size in others if size.connection == planned.connection]
    steps = _steps(planned, family, [size for size in family if why_not_safe(size, **limits) is None])
    weighed = [
        Standby(
            size, size in steps, steps.get(size, ""), _reason(size, planned, steps, longest_safe, widest_safe)
        )
        for size in others
    ]
    return sorted(weighed, key=lambda one: _ORDER[one.step])


def _steps(
    planned: ImplantSize, family: Sequence[ImplantSize], safe: Sequence[ImplantSize]
) -> dict[ImplantSize, str]:
    """The stand-bys, each with the name of its step; sizes that come under several codes stay together."""
    steps: dict[ImplantSize, str] = {}

    def take(step: str, diameter: float | None, length: float | None) -> None:
        if diameter is None or length is None:
            return
        for size in safe:
            if _close(size.diameter, diameter) and _close(size.length, length):
                steps[size] = step

    def lengths(sizes: Sequence[ImplantSize], diameter: float | None) -> list[float]:
        return [size.length for size in sizes if diameter is not None and _close(size.diameter, diameter)]

    same = planned.diameter
    wider = min((size.diameter for size in family if size.diameter > same + _ROUNDING), default=None)
    narrower = max((size.diameter for size in family if size.diameter < same - _ROUNDING), default=None)
    for step, diameter in (("wider", wider), ("narrower", narrower)):
        fitting = [length for length in lengths(safe, diameter) if length <= planned.length + _ROUNDING]
        take(step, diameter, max(fitting, default=None))
    shorter = [length for length in lengths(safe, same) if length < planned.length - _ROUNDING]
    longer = [length for length in lengths(family, same) if length > planned.length + _ROUNDING]
    take("shorter", same, max(shorter, default=None))
    take("longer", same, min(longer, default=None))
    return steps


def _reason(
    size: ImplantSize,
    planned: ImplantSize,
    steps: dict[ImplantSize, str],
    longest_safe: float | None,
    widest_safe: float | None,
) -> str:
    """Why one size of the catalogue is taken or left out, in a sentence."""
    if size in steps:
        return f"The next {steps[size]} safe size with the same connection."
    if size.connection != planned.connection:
        return f"Its connection is {size.connection}; the plan is for {planned.connection}."
    unsafe = why_not_safe(size, longest_safe=longest_safe, widest_safe=widest_safe)
    if unsafe is not None:
        return unsafe
    if longest_safe is None and size.length > planned.length + _ROUNDING:
        return "It is longer than planned, and no safe length has been measured."
    if widest_safe is None and size.diameter > planned.diameter + _ROUNDING:
        return "It is wider than planned, and no safe diameter has been measured."
    return "It is more than one step away from the planned size."


def _close(one: float, other: float) -> bool:
    return abs(one - other) <= _ROUNDING


def _same(one: ImplantSize, other: ImplantSize) -> bool:
    return (
        one.connection == other.connection
        and _close(one.diameter, other.diameter)
        and _close(one.length, other.length)
    )


# The order in which stand-bys are laid out: the ones a surgeon reaches for first.
_ORDER = {"wider": 0, "shorter": 1, "narrower": 2, "longer": 3, "": 4}
