"""Membranes, grafts and vials: what is refused, ties, and properties."""

from itertools import combinations_with_replacement

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kits import sizing
from practice.teeth import UnknownTooth

DEFECT = {"defect_width": 6, "facial_height": 8, "crest_width": 8, "palatal_extent": 1}


def membrane(stock, overlap=3, **changes):
    return sizing.membrane(**{**DEFECT, **changes}, overlap=overlap, stock_sizes=stock)


def test_the_needed_rectangle_and_the_next_larger_sheet():
    choice = membrane([(30, 40), (15, 20), (20, 30)])
    assert (choice.needed_width, choice.needed_height) == (12, 23)
    assert (choice.chosen, choice.larger) == ((20, 30), (30, 40))
    assert not choice.take_larger_too
    assert choice.notes == ()


def test_a_sheet_may_be_turned():
    assert membrane([(24, 13)]).chosen == (24, 13)
    assert membrane([(22.9, 13), (13, 22.9)]).chosen is None


def test_a_close_fit_asks_for_the_next_size_as_well():
    choice = membrane([(12, 24), (20, 30)])
    assert choice.chosen == (12, 24)
    assert choice.take_larger_too
    assert "less than 1 mm to spare" in choice.notes[0]
    assert not membrane([(13, 24), (20, 30)]).take_larger_too


def test_nothing_large_enough_is_said():
    choice = membrane([(15, 20)])
    assert choice.chosen is choice.larger is None
    assert choice.notes == ("No membrane in the catalogue covers 12.0 x 23.0 mm.",)
    assert membrane([]).chosen is None


def test_the_largest_sheet_has_no_larger_one():
    assert membrane([(20, 30)]).larger is None


def test_a_small_overlap_is_raised_and_said():
    choice = membrane([(20, 30)], overlap=1)
    assert (choice.needed_width, choice.needed_height) == (10, 21)
    assert "2 mm on every side is planned" in choice.notes[0]


def test_with_prices_the_cheapest_waste_wins():
    dear_but_snug, cheap_but_big = (13, 24, 400), (20, 30, 60)
    assert membrane([dear_but_snug, cheap_but_big]).chosen == cheap_but_big
    assert membrane([(13, 24), (20, 30, 60)]).chosen == (13, 24)


@pytest.mark.parametrize("bad", [-1, float("nan"), float("inf")])
@pytest.mark.parametrize("which", [*DEFECT, "overlap"])
def test_impossible_measures_are_refused(which, bad):
    with pytest.raises(sizing.ImpossibleMeasure) as raised:
        membrane([(20, 30)], **{which: bad})
    assert str(raised.value).endswith(".")


def test_impossible_sheets_are_refused():
    for sheet in ((0, 30), (20, -1), (20, 30, -5)):
        with pytest.raises(sizing.ImpossibleMeasure):
            membrane([sheet])


lengths = st.floats(0, 40, allow_nan=False)


@given(
    st.tuples(lengths, lengths, lengths, lengths),
    st.floats(0, 6),
    st.lists(st.tuples(st.floats(1, 90), st.floats(1, 90)), max_size=6),
)
def test_the_sheet_reaches_two_millimetres_beyond_the_defect(defect, overlap, stock):
    width, height, crest, palatal = defect
    choice = sizing.membrane(
        defect_width=width,
        facial_height=height,
        crest_width=crest,
        palatal_extent=palatal,
        overlap=overlap,
        stock_sizes=stock,
    )
    least = (width + 4, height + crest + palatal + 4)
    assert choice.needed_width >= least[0]
    assert choice.needed_height >= least[1] - 1e-9
    fits = [s for s in stock if covers(s, choice.needed_width, choice.needed_height)]
    assert (choice.chosen is None) == (not fits)
    if choice.chosen is None:
        return
    assert covers(choice.chosen, *least)
    area = choice.chosen[0] * choice.chosen[1]
    assert area == min(s[0] * s[1] for s in fits)
    bigger = [s for s in fits if s[0] * s[1] > area]
    assert (choice.larger is None) == (not bigger)
    if choice.larger is not None:
        assert choice.larger[0] * choice.larger[1] == min(s[0] * s[1] for s in bigger)


def covers(sheet, width, height, rounding=1e-9):
    long, short = max(width, height), min(width, height)
    return max(sheet) >= long - rounding and min(sheet) >= short - rounding


def test_what_has_no_average_socket_is_refused():
    with pytest.raises(sizing.NoAverageTooth, match="upper right primary second molar"):
        sizing.socket_volume("55")
    with pytest.raises(UnknownTooth):
        sizing.socket_volume("19")


def test_an_implant_larger_than_the_socket_leaves_no_gap():
    assert sizing.graft_need(socket_cc=0.1, implant_cc=0.2) == 0
    assert sizing.graft_need(socket_cc=0.1, implant_cc=0.2, wall_defect_cc=0.1) == pytest.approx(0.1375)


def test_an_implant_in_a_shallow_socket_takes_no_room():
    assert sizing.implant_in_socket_volume(4.3, 0.5) == 0


def test_factors_are_the_practices_own():
    assert sizing.graft_need(socket_cc=1, compaction=1, loss=1) == 1
    for factor in ("compaction", "loss"):
        with pytest.raises(sizing.ImpossibleMeasure, match="at least 1"):
            sizing.graft_need(socket_cc=1, **{factor: 0.9})


@pytest.mark.parametrize("verb", [sizing.facial_defect_volume, sizing.implant_in_socket_volume])
def test_negative_measures_are_refused(verb):
    for measures in ((-1, 5), (5, -1)):
        with pytest.raises(sizing.ImpossibleMeasure):
            verb(*measures)


@pytest.mark.parametrize(
    ("need", "sizes", "chosen"),
    [
        (0, (0.5,), []),
        (1e-12, (0.5,), []),
        (0.01, (0.25, 0.5), [0.25]),
        (0.5, (0.25, 0.5), [0.5]),
        (0.7500000000000001, (0.25, 0.5), [0.5, 0.25]),
        (0.76, (0.25, 0.5, 1.0), [1.0]),
        (0.6, (0.35, 0.5), [0.35, 0.35]),
        (1.2, (0.5, 0.7), [0.7, 0.5]),
        (3.0, (2.0, 1.0, 0.25), [2.0, 1.0]),
        (4.1, (2.0, 0.25), [2.0, 2.0, 0.25]),
        (0.3, (0.5, 0.5), [0.5]),
        (4.0, (1.0, 2.0, 3.0), [3.0, 1.0]),
        (99.9, (0.333, 0.25), None),
    ],
)
def test_vials(need, sizes, chosen):
    found = sizing.vials(need, sizes)
    assert sum(found) >= need - 1e-9
    assert chosen is None or found == chosen


def test_vials_refuse_what_cannot_be():
    with pytest.raises(sizing.NoVial, match="0.30 cc"):
        sizing.vials(0.3, [])
    assert sizing.vials(0, []) == []
    for need, sizes in ((-0.1, (0.5,)), (float("nan"), (0.5,)), (101, (0.5,)), (1, (0,)), (1, (0.1234567,))):
        with pytest.raises(sizing.ImpossibleMeasure):
            sizing.vials(need, sizes)


@given(
    st.integers(1, 300),
    st.lists(st.sampled_from([20, 25, 35, 50, 70, 100, 200]), min_size=1, max_size=4, unique=True),
)
def test_vials_against_every_combination(need_hundredths, sizes_hundredths):
    """Brute force in whole hundredths of a cc: least waste, then fewest vials."""
    best = None
    most = -(-need_hundredths // min(sizes_hundredths))
    for count in range(1, most + 1):
        for chosen in combinations_with_replacement(sorted(sizes_hundredths), count):
            total = sum(chosen)
            if total >= need_hundredths and (best is None or (total, count) < best):
                best = (total, count)
    found = sizing.vials(need_hundredths / 100, [size / 100 for size in sizes_hundredths])
    assert (round(sum(found) * 100), len(found)) == best
    assert found == sorted(found, reverse=True)
