"""Quantities in words: units and the packs they are bought in, always both. Pure: numbers in, words out."""

from decimal import Decimal

# Days of use that an order may lie on the shelf before somebody should look twice (unit: days).
# Eight weeks, common practice: more is usually packs taken for units.
LONG_COVER_DAYS = 56


def unit_word(number: float, unit: str) -> str:
    """The stock unit in the form that fits a number: “piece”, “vials”, “boxes”."""
    one = {"each": "piece", "": "piece"}.get(unit, unit)
    if number == 1:
        return one
    return f"{one}{'es' if one.endswith(('x', 's', 'sh', 'ch')) else 's'}"


def number_words(number: float | Decimal) -> str:
    """A number with thousands apart and at most one decimal: “1,200”, “0.8”, “5”."""
    return f"{Decimal(str(number)):,.1f}".removesuffix(".0")


def units_words(number: float, unit: str) -> str:
    """A quantity with its unit: “1 piece”, “12 vials”, “5.4 pairs”."""
    return f"{number_words(number)} {unit_word(number, unit)}"


def packs_words(units: float, pack_size: int) -> str:
    """The same units in packs of a size: “2 packs of 12”, “0.8 packs of 12”; "" where a pack is one unit."""
    if pack_size == 1:
        return ""
    packs = units / pack_size
    if units and packs < 0.1:
        return f"under 0.1 packs of {pack_size:,}"
    return f"{number_words(packs)} pack{'' if round(packs, 1) == 1 else 's'} of {pack_size:,}"


def units_and_packs(units: float, *, unit: str, pack_size: int) -> str:
    """Units and packs together: “24 pieces, 2 packs of 12”."""
    return ", ".join(filter(None, [units_words(units, unit), packs_words(units, pack_size)]))


def weeks_of_use(units: float, use_a_day: float) -> float | None:
    """Weeks that units last at an expected use (units a day); None where no use is expected."""
    return units / use_a_day / 7 if use_a_day > 0 else None


def long_cover_words(units: float, use_a_day: float) -> str:
    """A warning where units last longer than LONG_COVER_DAYS: “11 weeks of use”; else ""."""
    weeks = weeks_of_use(units, use_a_day)
    if weeks is None:
        return "no use expected" if units else ""
    if weeks * 7 <= LONG_COVER_DAYS:
        return ""
    return f"{weeks:,.0f} weeks of use" if weeks < 104 else f"{weeks / 52:,.0f} years of use"
