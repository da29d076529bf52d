"""How much graft to have in the room, in cc. Pure.

The steps are those of practice: room to fill, less an implant standing in it, plus the missing wall, times
what is lost to pressing down and to handling. The factors are rough and may be overridden by the practice.
"""

import math

from kits.sizing.measures import ImpossibleMeasure, checked

# Common practice, no published source: granules are pressed down on placing, and some stay in the dish.
COMPACTION = 1.25
LOSS = 1.10
# Thickness of wall rebuilt over a facial defect, mm, and the share of its box a rounded defect fills.
# Common practice.
REBUILT_THICKNESS = 2.5
_DEFECT_SHAPE = 0.67
# An implant stands about 1 mm below the crest, and a tapered body fills 0.85 of its cylinder. Common
# practice.
_BELOW_CREST = 1.0
_TAPER = 0.85
# Share of its box that a lifted sinus floor and a widened ridge fill. Common practice.
_SINUS_SHAPE = 0.65
_RIDGE_SHAPE = 0.6
_MM3_PER_CC = 1000


def facial_defect_volume(width: float, height: float, *, thickness: float = REBUILT_THICKNESS) -> float:
    """Graft for a missing facial wall, in cc, from its width, height and thickness in mm.

    Raises ImpossibleMeasure.
    """
    box = (
        checked("defect width", width)
        * checked("defect height", height)
        * checked("thickness of the wall", thickness)
    )
    return box * _DEFECT_SHAPE / _MM3_PER_CC


def implant_in_socket_volume(diameter: float, socket_depth: float) -> float:
    """Volume of the part of an implant that stands inside a socket, in cc, from measures in mm.

    Raises ImpossibleMeasure.
    """
    depth = max(checked("socket depth", socket_depth) - _BELOW_CREST, 0.0)
    return math.pi / 4 * checked("implant diameter", diameter) ** 2 * depth * _TAPER / _MM3_PER_CC


def sinus_volume(length: float, width: float, height: float) -> float:
    """Graft under a lifted sinus floor, in cc, from measures in mm. Raises ImpossibleMeasure."""
    return _box(length, width, height) * _SINUS_SHAPE / _MM3_PER_CC


def ridge_volume(length: float, height: float, gain: float) -> float:
    """Graft to widen a ridge by ``gain``, in cc, from measures in mm. Raises ImpossibleMeasure."""
    return _box(length, height, gain) * _RIDGE_SHAPE / _MM3_PER_CC


def graft_need(
    *,
    socket_cc: float,
    wall_defect_cc: float = 0.0,
    implant_cc: float = 0.0,
    compaction: float = COMPACTION,
    loss: float = LOSS,
) -> float:
    """What to have in the room for one site, in cc.

    (socket - implant inside it + missing wall) x compaction x loss. An implant that fills the socket leaves
    no gap, never a negative one. Raises ImpossibleMeasure; factors below 1 would plan less than the room.
    """
    for name, factor in (("compaction factor", compaction), ("loss factor", loss)):
        if checked(name, factor) < 1:
            raise ImpossibleMeasure(name, factor, "it has to be at least 1")
    gap = max(checked("socket volume", socket_cc) - checked("implant volume", implant_cc), 0.0)
    return (gap + checked("volume of the missing wall", wall_defect_cc)) * compaction * loss


def _box(length: float, width: float, height: float) -> float:
    return checked("length", length) * checked("width", width) * checked("height", height)
