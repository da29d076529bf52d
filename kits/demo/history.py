"""The year behind the demo practice, played day by day: goods, trays, surgery, counts, orders."""

import datetime as dt
import random
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass

from kits.demo import cast
from kits.demo.days import ONE_DAY, DemoDays, moment
from kits.demo.diary import Diary
from kits.demo.drafting import Visit
from kits.demo.mixes import RUN_DOWN
from kits.demo.people import Cast
from kits.demo.playing import PUT_BACK, USED, Played, Stage, UnitDraft
from kits.demo.purchasing import Buyer
from kits.demo.shelves import Shelves
from kits.demo.supplies import Supplies
from kits.requirements import Requirement
from stock.models import Entry

Kind, Reason = Entry.Kind, Entry.Reason
SOURCE = "demo"
LATEST_CLOSE = dt.time(17, 5)
LINES_A_COUNT, COUNT_DIFFERS = 15, 0.04


@dataclass(frozen=True)
class Move:
    """One signed movement of a lot (number of its draft) at a place."""

    kind: str
    lot: int
    place: tuple[str, str]
    quantity: int
    reason: str = ""
    note: str = ""


@dataclass(frozen=True)
class Step:
    """Movements that happen together: by whom (sign-in name), when, and the source label."""

    moves: tuple[Move, ...]
    by: str
    at: dt.datetime
    source: str


class Past:
    """Plays the past; ``steps`` and ``played`` are taken by whoever writes them and then emptied."""

    def __init__(self, days: DemoDays, seed: int, found: Cast, supplies: Supplies, diary: Diary):
        self.days, self.found, self.supplies, self.diary = days, found, supplies, diary
        self.shelves = Shelves()
        self.buyer = Buyer(days, seed, found, supplies, self.shelves)
        self.stage = Stage(supplies, self.shelves, seed)
        self.rng = random.Random(f"{seed}:past:{days.today}")
        self.steps: list[Step] = []
        self.played: list[Played] = []
        # What a story does on the morning of a day, once the goods have arrived.
        self.planted: dict[dt.date, list[Callable[[], None]]] = defaultdict(list)
        self.cases = 0
        self.borrowed = self.transferred = self.short = 0

    def open(self) -> None:
        """Opening stock at both clinics: the suggested par, a fifth more or less; two units in quarantine."""
        for clinic in self.found.clinics:
            at = moment(self.days.start, 6, 30)
            moves = []
            for code, par in self.supplies.kept[clinic].items():
                if par and self.supplies.is_counted(code):
                    moves += self._opening(clinic, code, par)
            for code in ("MEM-RX-2030", "SUT-PP6"):
                [(lot, _)] = self.buyer.new_lots(code, 1, self.days.start, at=None)
                note = "package dented, supplier asked"
                moves.append(Move(Kind.OPENING, lot, (clinic, cast.QUARANTINE), 1, note=note))
            self.steps.append(Step(tuple(moves), "saldovane", at, SOURCE))

    def _opening(self, clinic: str, code: str, par: int) -> list[Move]:
        units = max(1, round(par * self.rng.uniform(0.8, 1.2)))
        expires = None
        if code in RUN_DOWN:
            expires = self.days.today + ONE_DAY * self.rng.randint(25, 85)
        moves = []
        for lot, piece in self.buyer.new_lots(
            code, units, self.days.start, at=None, least=0.45, expires_on=expires
        ):
            place = (clinic, self.buyer.home(code))
            self.shelves.put(lot, place, piece)
            moves.append(Move(Kind.OPENING, lot, place, piece))
        return moves

    def play_day(self, day: dt.date) -> None:
        """One day at both clinics."""
        visits = self.diary.visits_on(day)
        for clinic in self.found.clinics:
            if self.days.is_open(clinic, day):
                self._morning(clinic, day)
        for plant in self.planted.pop(day, []):
            plant()
        played = [self._set_out(visit) for visit in visits]
        for case in sorted(played, key=lambda case: case.ends_at):
            self._close(case)
        for clinic in self.found.clinics:
            if self.days.is_open(clinic, day):
                self._evening(clinic, day)

    def _morning(self, clinic: str, day: dt.date) -> None:
        for order, lots in self.buyer.arrivals(clinic, day):
            home = (clinic, self.buyer.home(self.shelves.drafts[lots[0][0]].item.code))
            moves = tuple(Move(Kind.RECEIVE, lot, home, units) for lot, units in lots)
            self.steps.append(Step(moves, "saldovane", moment(day, 7, 10), f"order:{order.number}"))

    def _set_out(self, visit: Visit) -> Played:
        self.cases += 1
        patient = self.found.patients[visit.patient - 1]
        case = self.stage.begin(
            visit, f"C-{self.cases:05d}", patient.chart_number, self.diary.declines[visit.patient]
        )
        self.played.append(case)
        if visit.cancelled == "early":
            return case
        for line, units in self.stage.wanted(case):
            taken = self._given(visit, line) or self.shelves.take(
                visit.clinic, line.item_code, units, visit.on
            )
            missing = units - sum(piece for _, _, piece in taken)
            if missing and line.chance >= 0.5:
                taken += self._fetch(visit.clinic, line.item_code, missing, visit.on)
            elif missing:
                self.short += 1
            self.stage.lay(case, line, taken)
        at = moment(visit.on, 7, 20) + dt.timedelta(minutes=self.cases % 40)
        moves = [move for unit in case.units if unit.tray != unit.place for move in _onto(unit)]
        if moves:
            self.steps.append(Step(tuple(moves), visit.assistant, at, f"case:{case.code}"))
        return case

    def _given(self, visit: Visit, line: Requirement) -> list[tuple[int, tuple[str, str], int]]:
        """The unit that a story keeps for this visit, where the line is surely used."""
        if line.certain and line.item_code in visit.given:
            return [(visit.given.pop(line.item_code), (visit.clinic, cast.STOCKROOM), 1)]
        return []

    def _fetch(
        self, clinic: str, code: str, units: int, on: dt.date
    ) -> list[tuple[int, tuple[str, str], int]]:
        """Bring what is missing: from the other clinic, else borrowed from the partner."""
        other = next(name for name in self.found.clinics if name != clinic)
        home, at = (clinic, self.buyer.home(code)), moment(on, 7, 15)
        taken = []
        if self.shelves.usable(other, code, on) > 2 * units:
            for lot, place, piece in self.shelves.take(other, code, units, on):
                moves = (Move(Kind.MOVE_OUT, lot, place, -piece, note="by courier"),)
                moves += (Move(Kind.MOVE_IN, lot, home, piece, note="by courier"),)
                self.steps.append(Step(moves, "saldovane", at, SOURCE))
                taken.append((lot, home, piece))
            self.transferred += 1
        if not taken:
            for lot, piece in self.buyer.new_lots(code, units, on, at=at):
                move = Move(Kind.BORROW, lot, home, piece, note=f"from {cast.PARTNER}")
                self.steps.append(Step((move,), "saldovane", at, SOURCE))
                taken.append((lot, home, piece))
            self.borrowed += 1
        return taken

    def _close(self, case: Played) -> None:
        visit = case.visit
        at = min(case.ends_at, dt.datetime.combine(visit.on, LATEST_CLOSE, tzinfo=case.ends_at.tzinfo))
        moves = [move for unit in case.units for move in _fate(unit)]
        for unit in case.units:
            if unit.outcome == PUT_BACK:
                self.shelves.put(unit.lot, unit.place, unit.quantity)
        if moves:
            by = visit.assistant
            self.steps.append(Step(tuple(moves), by, at, f"case:{case.code}"))
        lasting = case.lasting_membrane
        self.stage.settle(case)
        self.diary.done(visit, lasting_membrane=lasting)

    def _evening(self, clinic: str, day: dt.date) -> None:
        at = moment(day, 17, 30)
        gone = []
        for pile in self.shelves.expired(clinic, day):
            gone.append(Move(Kind.WASTE, pile.lot, pile.place, -pile.quantity, Reason.EXPIRED))
            pile.quantity = 0
        if gone:
            self.steps.append(Step(tuple(gone), "saldovane", at, SOURCE))
        if day == self.days.open_from(clinic, day - ONE_DAY * day.weekday()):
            self.buyer.review(clinic, day)
        if day.weekday() == 4:
            self._count(clinic, day)

    def _count(self, clinic: str, day: dt.date) -> None:
        """The weekly count of some lines; a few differ by one."""
        codes = [code for code, par in self.supplies.kept[clinic].items() if par >= 4]
        for code in self.rng.sample(codes, LINES_A_COUNT):
            piles = [pile for pile in self.shelves.piles(clinic, code) if pile.quantity > 1]
            if not piles or self.rng.random() >= COUNT_DIFFERS or self.supplies.items[code].is_unit_tracked:
                continue
            pile, off = piles[0], self.rng.choice((-1, 1))
            pile.quantity += off
            move = Move(Kind.COUNT, pile.lot, pile.place, off, Reason.MISCOUNT, "weekly count")
            self.steps.append(Step((move,), "saldovane", moment(day, 17, 40), "count"))


def _onto(unit: UnitDraft) -> tuple[Move, Move]:
    return (
        Move(Kind.MOVE_OUT, unit.lot, unit.place, -unit.quantity),
        Move(Kind.MOVE_IN, unit.lot, unit.tray, unit.quantity),
    )


def _fate(unit: UnitDraft) -> tuple[Move, ...]:
    if unit.outcome == PUT_BACK:
        return (
            Move(Kind.PUT_BACK, unit.lot, unit.tray, -unit.quantity),
            Move(Kind.PUT_BACK, unit.lot, unit.place, unit.quantity),
        )
    kind = Kind.USE if unit.outcome == USED else Kind.WASTE
    return (Move(kind, unit.lot, unit.tray, -unit.quantity, unit.reason),)
