"""How a slot is asked for, and how it is answered: an item, a question, or that none exists. Pure."""

from dataclasses import dataclass
from typing import Any

from kits.families import Families
from kits.plans import Plan, SitePlan


@dataclass(frozen=True)
class Filled:
    """One item that fills (part of) a slot.

    ``quantity``: units of it for one unit of the line. ``unresolved``: the sentence to show where there is no
    item; ``blocking``: whether the case cannot start until somebody decides.
    """

    item: Any
    quantity: int = 1
    note: str = ""
    unresolved: str = ""
    blocking: bool = False


def Missing(sentence: str) -> Filled:  # noqa: N802 - reads as the kind of answer it is
    """The plan does not say; somebody has to decide before the case can start."""
    return Filled(None, unresolved=sentence, blocking=True)


def NoSuch(sentence: str) -> Filled:  # noqa: N802 - reads as the kind of answer it is
    """There is no such item; the case goes ahead without it, and the list says so."""
    return Filled(None, unresolved=sentence)


@dataclass(frozen=True)
class Asked:
    """One slot to fill: for which procedure, at which sites (one, a segment or all), from which items."""

    slot: str
    procedure: str
    plan: Plan
    sites: tuple[SitePlan, ...]
    families: Families
