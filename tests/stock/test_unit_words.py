"""Units and packs in words, and when cover is long."""

import pytest

from stock.unit_words import (
    LONG_COVER_DAYS,
    long_cover_words,
    packs_words,
    unit_word,
    units_and_packs,
    units_words,
    weeks_of_use,
)


@pytest.mark.parametrize(
    ("number", "unit", "words"),
    [
        (1, "each", "1 piece"),
        (0, "each", "0 pieces"),
        (12, "vial", "12 vials"),
        (2, "box", "2 boxes"),
        (5.4, "pair", "5.4 pairs"),
        (1200, "", "1,200 pieces"),
    ],
)
def test_units(number, unit, words):
    assert units_words(number, unit) == words


@pytest.mark.parametrize(
    ("units", "size", "words"),
    [
        (24, 12, "2 packs of 12"),
        (12, 12, "1 pack of 12"),
        (9, 12, "0.8 packs of 12"),
        (1, 50, "under 0.1 packs of 50"),
        (0, 50, "0 packs of 50"),
        (9, 1, ""),
    ],
)
def test_packs(units, size, words):
    assert packs_words(units, size) == words


def test_units_and_packs_together():
    assert units_and_packs(24, unit="each", pack_size=12) == "24 pieces, 2 packs of 12"
    assert units_and_packs(1, unit="vial", pack_size=1) == "1 vial"
    assert unit_word(2, "stitch") == "stitches"


def test_cover_is_long_above_eight_weeks():
    # Common practice: an order that lasts above eight weeks is looked at twice, as packs taken for units.
    assert LONG_COVER_DAYS == 8 * 7
    assert long_cover_words(56, 1) == ""
    assert long_cover_words(57, 1) == "8 weeks of use"
    assert long_cover_words(77, 1) == "11 weeks of use"
    assert long_cover_words(2500, 1) == "7 years of use"
    assert long_cover_words(5, 0) == "no use expected"
    assert long_cover_words(0, 0) == ""
    assert weeks_of_use(14, 0.5) == 4
    assert weeks_of_use(14, 0) is None
