"""The ledger against a slow twin: a plain dictionary that is told the same random movements.

Every verb is tried with lots, places and quantities that often cannot work; the twin says in one line
each whether it should, and what lies where afterwards.
"""

import datetime as dt
import random
from collections import Counter

import pytest

from practice.refusals import Refusal
from stock.consuming import return_to_supplier, use, waste
from stock.correcting import correct, correct_count
from stock.models import Balance, Entry
from stock.moving import move, put_back
from stock.receiving import open_stock
from stock.verification import verify_ledger
from tests import builders
from tests.builders import NOW

STEPS = 150


class Twin:
    """What lies where, by (lot, place), and the moves that can still be taken back."""

    def __init__(self, units):
        self.there, self.units, self.done = Counter(), units, []

    def may(self, changes):
        after = self.there.copy()
        for spot, quantity in changes:
            after[spot] += quantity
            if after[spot] < 0:
                return False
        return all(sum(n for (lot, _), n in after.items() if lot == unit) <= 1 for unit in self.units)

    def apply(self, changes):
        for spot, quantity in changes:
            self.there[spot] += quantity


def planned(chance, twin, lots, places):
    """A random verb as (call, changes it would make); a change is ((lot, place), quantity)."""
    lot, start, end = chance.choice(lots), *chance.sample(places, 2)
    quantity = chance.choice([1, 1, 2, 5])
    out, into = ((lot.pk, start.pk), -quantity), ((lot.pk, end.pk), quantity)
    facts = {"lot": lot, "quantity": quantity, "by": None}
    counted = chance.randrange(4)
    return chance.choice(
        [
            (lambda at: open_stock(place=end, at=at, **facts), [into]),
            (lambda at: use(place=start, at=at, **facts), [out]),
            (lambda at: waste(place=start, at=at, reason="dropped", **facts), [out]),
            (lambda at: return_to_supplier(place=start, at=at, **facts), [out]),
            (lambda at: move(from_place=start, to_place=end, at=at, **facts), [out, into]),
            (lambda at: put_back(tray=start, place=end, at=at, **facts), [out, into]),
            (
                lambda at: correct_count(lot=lot, place=start, counted=counted, by=None, at=at, note="n"),
                [(out[0], counted - twin.there[out[0]])],
            ),
        ]
    )


@pytest.mark.parametrize("seed", range(6))
def test_random_movements_agree_with_the_twin(cast, seed):
    chance = random.Random(seed)
    lots = [builders.lot(item) for item in (cast.suture, cast.membrane, cast.implant, cast.graft)]
    places = [cast.stockroom, cast.tray, cast.other_stockroom]
    twin = Twin(units={lot.pk for lot in lots[2:]})
    written = 0
    for step in range(STEPS):
        at = NOW + dt.timedelta(minutes=step)
        if twin.done and chance.random() < 0.15:
            entries, changes = twin.done.pop(chance.randrange(len(twin.done)))
            # A move is taken back from where it went before it is given back to where it came from.
            undo = [(spot, -quantity) for spot, quantity in reversed(changes)]
            entry = Entry.objects.get(pk=chance.choice(entries).pk)
            call = lambda at, entry=entry: correct(entry=entry, by=None, at=at, note="n")  # noqa: E731
        else:
            entries, (call, undo) = None, planned(chance, twin, lots, places)
        if twin.may(undo):
            made = call(at)
            twin.apply(undo)
            written += len(made)
            if entries is None and made:
                twin.done.append((made, undo))
        else:
            with pytest.raises(Refusal):
                call(at)
            if entries is not None:
                twin.done.append((entries, changes))
    rows = Balance.objects.filter(quantity__gt=0).values_list("lot_id", "place_id", "quantity")
    assert {(lot, place): n for lot, place, n in rows} == {spot: n for spot, n in twin.there.items() if n}
    report = verify_ledger()
    assert (report.entries, report.differences) == (written, [])
    assert written > STEPS / 5
