"""What a pick list is made of: lines, what lies on the tray, what to fetch, what is missing. Values only."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from kits.requirements import OPEN, ROOM, STOCK
from stock.values import Coming

DONE, SHORT, DECIDE, TODO, ON_USE, ON_ORDER = "done", "short", "decide", "todo", "on use", "on order"
READY, THIN, CANNOT_START = "ready", "thin", "cannot start"


@dataclass(frozen=True)
class Part:
    """Units of one lot at one place that are suggested for a line."""

    lot: Any
    place: Any
    quantity: int


@dataclass(frozen=True)
class PickLine:
    """One line of a case, whether setting out has begun or not.

    ``line``: the TrayLine once setting out has begun. ``units``: TrayUnits on the tray or already accounted
    for, without those put back. ``parts``: what to fetch, soonest to expire first. ``coming``: what orders on
    their way bring in time; nothing of it can be fetched yet. ``short``: units for which neither is free.
    ``shared``: reserve units that an earlier case may use up; ``chance_free`` is the chance that it does not.
    ``instead_of``: keys of the members of its group that it is an alternative to. ``unfit``: sentences about
    units that lie on its tray and may not be used any more; they are not among ``units``.
    Chances between 0 and 1, quantities in stock units.
    """

    key: str
    item: Any
    description: str
    quantity: int
    kind: str = STOCK
    line: Any = None
    site_id: int | None = None
    tooth: str = ""
    set_out: str = OPEN
    checkpoint: str = ""
    finding: Any = None
    known: bool | None = None
    choose_one_group: str = ""
    chance: float = 1.0
    certain: bool = True
    undecided: bool = False
    unresolved: str = ""
    blocking: bool = False
    note: str = ""
    must_scan: bool = False
    added: bool = False
    is_ready: bool = False
    units: tuple[Any, ...] = ()
    parts: tuple[Part, ...] = ()
    short: int = 0
    shared: int = 0
    chance_free: float = 1.0
    coming: tuple[Coming, ...] = ()
    instead_of: tuple[str, ...] = ()
    unfit: tuple[str, ...] = ()

    @property
    def on_tray(self) -> int:
        """Units that lie on the tray or were used or wasted from it."""
        return sum(unit.quantity for unit in self.units)

    @property
    def left(self) -> int:
        """Units still to be set out."""
        if self.kind != STOCK:
            return 0 if self.is_ready else self.quantity
        return max(0, self.quantity - self.on_tray)

    @property
    def is_room_stock(self) -> bool:
        """Whether it stays in the room and is only written down when it is used."""
        return self.set_out == ROOM

    @property
    def is_wanted(self) -> bool:
        """Whether it belongs on the tray: decided, not freed by what was found, not kept in the room, and no
        alternative to what is suggested.
        """
        return self._is_decided and not self.instead_of

    @property
    def _is_decided(self) -> bool:
        return not self.undecided and self.known is not False and not self.is_room_stock

    @property
    def needs_stock(self) -> bool:
        """Whether stock has to be promised to it; to an alternative only if what it is for is short."""
        return self._is_decided and self.kind == STOCK and self.item is not None and self.left > 0

    @property
    def is_covered(self) -> bool:
        """Whether all it still asks for is promised to it, by what lies there or what is on its way."""
        return self.left > 0 and not self.short and bool(self.parts or self.coming)

    @property
    def state(self) -> str:
        """What there is to do with it, as one of the words above."""
        if self.undecided or self.unresolved:
            return DECIDE
        if self.is_room_stock:
            return ON_USE
        if self.left == 0:
            return DONE
        if self.short:
            return SHORT
        return ON_ORDER if self.coming and not self.parts else TODO

    @property
    def word(self) -> str:
        """The state in words where it needs some."""
        if self.state == SHORT:
            return f"short {self.short}"
        if self.state == DECIDE:
            return "decide" if self.undecided or self.blocking else "none"
        if self.coming and self.left:
            return self.order_words
        return "shared" if self.shared else ""

    @property
    def order_words(self) -> str:
        """What comes with which order and when: "on order, due 2 Dec (PO-00031)"; nothing where none does."""
        if not self.coming:
            return ""
        count = sum(one.quantity for one in self.coming)
        said = "on order" if count >= self.left else f"{count} on order"
        last = max(one.available_on for one in self.coming)
        late = any(one.receipt.overdue for one in self.coming)
        when = "overdue" if late else f"due {last.day} {last:%b}"
        return f"{said}, {when} ({', '.join(dict.fromkeys(one.receipt.order_number for one in self.coming))})"


@dataclass(frozen=True)
class Pouch:
    """Lines that stay sealed together: until a checkpoint, or unless something is found.

    ``choose_one``: exactly one of the lines is opened. ``opened``: what it waits for has happened.
    """

    heading: str
    lines: tuple[PickLine, ...]
    finding: Any = None
    site_id: int | None = None
    tooth: str = ""
    chance: float | None = None
    choose_one: bool = False
    opened: bool = False


@dataclass(frozen=True)
class Readiness:
    """Whether a case can go ahead: the word, a sentence, and the line it hangs on.

    ``probability``: the smallest chance that a shared reserve is still there, or that what is ordered in time
    comes in time; 1 where nothing is shared or to be ordered, 0 where the case cannot start. ``others``: the
    further reasons, worst first.
    """

    word: str
    sentence: str = ""
    line: PickLine | None = None
    probability: float = 1.0
    others: tuple[str, ...] = ()


@dataclass(frozen=True)
class PickList:
    """Everything to set out for one case, in the order it is laid out."""

    case: Any
    procedures: str
    readiness: Readiness
    lines: tuple[PickLine, ...]
    sets: tuple[PickLine, ...] = ()
    open: tuple[PickLine, ...] = ()
    pouches: tuple[Pouch, ...] = ()
    room: tuple[PickLine, ...] = ()
    decide: tuple[PickLine, ...] = ()

    @property
    def wanted(self) -> list[PickLine]:
        """Lines that belong on the tray."""
        return [line for line in self.lines if line.is_wanted and (line.item is not None or line.blocking)]

    @property
    def total(self) -> int:
        """How many lines belong on the tray."""
        return len(self.wanted)

    @property
    def done(self) -> int:
        """How many of them lie there in full."""
        return sum(line.state == DONE for line in self.wanted)

    @property
    def short(self) -> list[PickLine]:
        """Lines for which not enough is free."""
        return [line for line in self.lines if line.short and line.is_wanted]

    @property
    def questions(self) -> list[str]:
        """What somebody has to decide, or what does not exist, each sentence once."""
        asked = [line.unresolved or f"{line.description}: {line.note}." for line in self.decide]
        return list(dict.fromkeys(asked))

    def find(self, key: str) -> PickLine:
        """The line with that key; raises KeyError."""
        for line in self.lines:
            if line.key == key:
                return line
        raise KeyError(key)


@dataclass(frozen=True)
class ScanAnswer:
    """What to say after a scan: whether it was taken, in words, and what comes next.

    ``pick``: the list as it stands once the scan was taken.
    """

    ok: bool
    title: str
    detail: str = ""
    line: Any = None
    next: str = ""
    unit: Any = None
    pick: PickList | None = None
    notices: Sequence[str] = field(default_factory=tuple)


def day_words(day: dt.date | None) -> str:
    """A day in a sentence: "25 November 2026"; nothing for no day."""
    return f"{day.day} {day:%B %Y}" if day else ""
