"""What kinds of file can be brought in. The layers above describe theirs; ``practice.urls`` gathers them."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from practice.importing import Options, Report
from practice.models import Clinic


@dataclass(frozen=True)
class Question:
    """One thing to declare about a file before it is read: a choice among (value, words)."""

    name: str
    label: str
    choices: Callable[[], list[tuple[str, str]]]
    is_required: bool = False
    help: str = ""


@dataclass(frozen=True)
class ImportKind:
    """One kind of file.

    slug: short word for addresses and remembered meanings. run: the import, from (data, filename, clinic,
    options, declared). meanings: what an unmapped value may mean, as (code, words). there: how much of it the
    clinic has already on a day, in words, "" for nothing. columns: what the file must say, in words.
    """

    slug: str
    title: str
    sentence: str
    accepts: str
    run: Callable[[bytes, str, Clinic, Options, dict[str, Any]], Report]
    meanings: Callable[[Clinic], list[tuple[str, str]]] = lambda clinic: []
    questions: tuple[Question, ...] = ()
    there: Callable[[Clinic, dt.date], str] = lambda clinic, today: ""
    columns: str = ""


def counted(quantity: int, one: str, many: str) -> str:
    """How much there is, in words; "" for nothing."""
    return f"{quantity:,} {one if quantity == 1 else many}" if quantity else ""


def day_order() -> list[tuple[str, str]]:
    """Answers to how dates are written."""
    return [("", "As the file shows"), ("day", "Day first: 30/11/2026"), ("month", "Month first: 11/30/2026")]


def tooth_notation() -> list[tuple[str, str]]:
    """Answers to how teeth are numbered."""
    return [("", "As the file shows"), ("fdi", "FDI: 11 to 48"), ("universal", "Universal: 1 to 32")]


def decimal_mark() -> list[tuple[str, str]]:
    """Answers to which mark parts the decimals."""
    return [("", "As the file shows"), (",", "Comma: 12,50"), (".", "Point: 12.50")]


DAY_ORDER = Question("day_first", "Dates", day_order)
NOTATION = Question("notation", "Teeth", tooth_notation)
DECIMAL = Question("decimal", "Numbers", decimal_mark)
