"""The figures behind a proposal as lines a manager can read: “show the sums”. Pure: values in, words out."""

import datetime as dt

from kits.reasons import chance_words
from stock.unit_words import number_words, units_and_packs, units_words


def sums_rows(sums: dict, *, unit: str, pack_size: int) -> list[tuple[str, str]]:
    """Pairs of words and figure from ``Proposal.sums`` (see kits.proposing), in the order of the argument."""
    first = dt.date.fromisoformat(sums["first_day"])
    day = f"{first.day} {first:%b}"
    low, high = sums["lead_days"]
    rows = [
        (f"In date by {day}, if none were used", units_words(sums["in_date"], unit)),
        ("of them on order", units_words(sums["on_order"], unit)) if sums["on_order"] else None,
        (
            f"Likely used {'before' if sums['short_of'] == 'reach' else 'by'} then",
            number_words(sums["expected_use"]),
        ),
        ("of it in booked cases", number_words(sums["booked_use"])),
        (f"Must lie in reach on {day}", units_words(sums["must_have"], unit)),
        *(
            (f"{code}, {_short(on)}", units_words(units, unit))
            for code, on, units in sums["cases"][:6]
            if units
        ),
        (f"Chance of being short by {day}", chance_words(sums["chance"])),
        ("Accepted", chance_words(sums["allowed"])),
        ("From order to arrival", f"{low} days" if low == high else f"{low} to {high} days"),
        ("This order", units_and_packs(sums["units"], unit=unit, pack_size=pack_size)),
        ("Chance of being short with it", chance_words(sums["chance_with_order"])),
        ("Of it likely out of date unused", number_words(sums["unused"])) if sums["unused"] >= 0.05 else None,
    ]
    return [row for row in rows if row is not None]


def _short(on: str) -> str:
    day = dt.date.fromisoformat(on)
    return f"{day.day} {day:%b}"
