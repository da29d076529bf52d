"""Whether a sealed unit that already lies on a tray may still be used: things change after it was put there.

A lot can be held or recalled, a case moved past its date, a patient's wishes asked. Pure: values in,
words out.
"""

import datetime as dt
from collections.abc import Iterable
from typing import Any


def why_unfit(unit: Any, *, on: dt.date, declined: frozenset[str]) -> str:
    """Why a pending sealed unit may not be used in surgery on that day, as a clause; "" where it may.

    ``declined``: origins the patient declines. What was opened or accounted for already is not judged.
    """
    if unit.outcome or unit.opened_at is not None:
        return ""
    lot = unit.lot
    if lot.decision:
        return f"is {lot.decision}" + (f" ({lot.decision_reason})" if lot.decision_reason else "")
    if lot.last_usable_on is not None and lot.last_usable_on < on:
        return (
            f"is not usable on {on.day} {on:%B %Y}: it expires on {lot.expires_on.day} {lot.expires_on:%B %Y}"
        )
    origins = lot.item.origins & declined
    return f"is {' and '.join(sorted(origins))} material, which the patient declines" if origins else ""


def unfit_of(units: Iterable[Any], *, on: dt.date, declined: frozenset[str]) -> list[tuple[Any, str]]:
    """The units that may not be used any more, each with its reason as a clause."""
    judged = ((unit, why_unfit(unit, on=on, declined=declined)) for unit in units)
    return [(unit, why) for unit, why in judged if why]


def unfit_sentence(unit: Any, why: str) -> str:
    """The sentence to show beside the line and as what keeps the case from starting."""
    return f"{unit.lot.shown} on the tray {why}. Take it off, put it into quarantine and take another."
