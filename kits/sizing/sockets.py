"""How much room an empty socket holds, from average tooth sizes. Pure."""

import math
from dataclasses import dataclass

from practice import teeth


class NoAverageTooth(LookupError):
    """No average size is kept for this tooth (primary teeth have no place in implant planning)."""

    def __init__(self, fdi: str) -> None:
        self.fdi = fdi
        super().__init__(f"No average size is kept for the {teeth.spoken(fdi)}; measure the socket instead.")


@dataclass(frozen=True)
class ToothSize:
    """Average measures of a tooth at its neck, and its root, in millimetres."""

    neck_mesiodistal: float
    neck_buccolingual: float
    root: float


# Wheeler's averages, from memory; root lengths and several widths were compared with published pages, the
# lower molars and the buccolingual widths at the neck were not. Upper molars take the mean of the buccal and
# the lingual root. Single teeth differ by tens of percent, so a measured size always goes first.
_AVERAGES = {
    ("upper", 1): ToothSize(7.0, 6.0, 13.0),
    ("upper", 2): ToothSize(5.0, 5.0, 13.0),
    ("upper", 3): ToothSize(5.5, 7.0, 17.0),
    ("upper", 4): ToothSize(5.0, 8.0, 14.0),
    ("upper", 5): ToothSize(5.0, 8.0, 14.0),
    ("upper", 6): ToothSize(8.0, 10.0, 12.5),
    ("upper", 7): ToothSize(7.0, 10.0, 11.5),
    ("upper", 8): ToothSize(6.5, 9.5, 11.0),
    ("lower", 1): ToothSize(3.5, 5.3, 12.5),
    ("lower", 2): ToothSize(4.0, 5.8, 14.0),
    ("lower", 3): ToothSize(5.5, 7.0, 16.0),
    ("lower", 4): ToothSize(5.0, 6.5, 14.0),
    ("lower", 5): ToothSize(5.0, 7.0, 14.5),
    ("lower", 6): ToothSize(9.0, 9.0, 14.0),
    ("lower", 7): ToothSize(8.0, 9.0, 13.0),
    ("lower", 8): ToothSize(7.5, 9.0, 11.0),
}

# Half of an ellipsoid whose section at the neck is an ellipse: V = 2/3 * (pi/4 * MD * BL) * root.
_HALF_ELLIPSOID = 2 / 3 * math.pi / 4
_MM3_PER_CC = 1000


def average_tooth(tooth_fdi: str) -> ToothSize:
    """The average size of a permanent tooth (millimetres).

    Raises practice.teeth.UnknownTooth for what is no tooth, NoAverageTooth for a primary tooth.
    """
    if teeth.is_primary(tooth_fdi):
        raise NoAverageTooth(tooth_fdi)
    return _AVERAGES["upper" if teeth.is_upper(tooth_fdi) else "lower", int(tooth_fdi[1])]


def socket_volume(tooth_fdi: str) -> float:
    """Average volume of the empty socket of a permanent tooth, in cc: half an ellipsoid at the neck's size.

    Agrees with the published root volumes of premolars and molars and with the finding that half a
    millilitre fills most sockets but not those of first molars. Raises as ``average_tooth``.
    """
    size = average_tooth(tooth_fdi)
    return _HALF_ELLIPSOID * size.neck_mesiodistal * size.neck_buccolingual * size.root / _MM3_PER_CC
