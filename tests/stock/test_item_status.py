"""How an item stands: the most pressing word first."""

import datetime as dt

import pytest

from stock.item_status import CHOICES, Standing, status

TODAY = dt.date(2026, 5, 12)


def standing(**facts):
    return Standing(**({"on_hand": 5, "usable": 5, "is_needed": True} | facts))


@pytest.mark.parametrize(
    ("facts", "key", "state", "word"),
    [
        ({"usable": 0, "on_hand": 0}, "out", "stop", "none in date"),
        ({"usable": 0, "due": 3}, "out", "stop", "none in date, on order"),
        ({"order_by": TODAY}, "late", "stop", "order today"),
        ({"order_by": TODAY - dt.timedelta(days=4)}, "late", "stop", "order today"),
        ({"order_by": TODAY + dt.timedelta(days=7)}, "soon", "thin", "order this week"),
        ({"usable": 3}, "aside", "thin", "2 out of date or held"),
        ({"due": 12}, "due", "waiting", "12 on order"),
        ({"order_by": TODAY + dt.timedelta(days=8)}, "covered", "ready", "covered"),
        ({}, "covered", "ready", "covered"),
        ({"is_needed": False}, "idle", "waiting", "not in use"),
        ({"is_needed": False, "usable": 0, "on_hand": 0}, "idle", "waiting", "not in use"),
        ({"is_planned": False, "usable": 0}, "idle", "waiting", "ordered for a case"),
    ],
)
def test_status(facts, key, state, word):
    found = status(standing(**facts), today=TODAY)
    assert (found.key, found.state, found.word) == (key, state, word)
    assert found.key in dict(CHOICES)
