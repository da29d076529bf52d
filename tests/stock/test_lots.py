"""Lots: usable on a day, soonest to expire, what people call them."""

import datetime as dt

import pytest

from stock.models import Lot
from tests import builders

EXPIRES = dt.date(2026, 6, 30)


@pytest.mark.parametrize(
    ("safety_days", "on", "usable"),
    [
        (0, dt.date(2026, 6, 30), True),
        (0, dt.date(2026, 7, 1), False),
        (7, dt.date(2026, 6, 23), True),
        (7, dt.date(2026, 6, 24), False),
        (30, dt.date(2026, 5, 31), True),
        (30, dt.date(2026, 6, 1), False),
    ],
)
def test_usable_through_expiry_less_the_safety_days(db, safety_days, on, usable):
    """The query and the property are two ways to one answer."""
    lot = builders.lot(builders.item(safety_days=safety_days), expires_on=EXPIRES)
    assert Lot.objects.usable(on=on).filter(pk=lot.pk).exists() is usable
    assert (lot.last_usable_on >= on) is usable


def test_without_a_date_it_is_always_usable(db):
    lot = builders.lot(builders.item(safety_days=30), expires_on=None)
    assert lot.last_usable_on is None
    assert list(Lot.objects.usable(on=dt.date(2099, 1, 1))) == [lot]


@pytest.mark.parametrize("decision", ["held", "recalled"])
def test_held_and_recalled_lots_are_not_usable(db, decision):
    builders.lot(builders.item(), decision=decision)
    assert not Lot.objects.usable(on=builders.TODAY).exists()


def test_soonest_to_expire_first_and_undated_last(db):
    item = builders.item()
    days = [dt.date(2027, 1, 1), None, dt.date(2026, 6, 1), dt.date(2026, 6, 1)]
    lots = [builders.lot(item, expires_on=day) for day in days]
    assert list(Lot.objects.soonest_expiry()) == [lots[2], lots[3], lots[0], lots[1]]


def test_a_unit_is_called_by_its_own_number(cast):
    assert builders.lot(cast.implant, number="L1", serial="S1").shown == "S1"
    assert builders.lot(cast.suture, number="L1").shown == "L1"
    assert builders.lot(cast.gauze).shown == "no lot"
