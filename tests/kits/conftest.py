"""Fixtures of the kits tests."""

import pytest

from tests.kits import builders_kits


@pytest.fixture
def kits(db) -> builders_kits.Kits:
    """The cast with the trade's whole catalogue and bills; nothing in stock yet."""
    return builders_kits.kits()


@pytest.fixture
def stocked(kits) -> builders_kits.Kits:
    """The same with enough of everything in the stockroom."""
    kits.stock_everything()
    return kits
