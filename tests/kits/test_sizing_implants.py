"""Stand-by implants: which neighbours lie ready, and a reason for each size that does not."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kits import sizing
from kits.sizing import ImplantSize

# The invented size matrix of the demo practice: three conical families and the older hex.
MATRIX = {
    "CN": {3.3: (10, 11.5, 13)},
    "CR": {3.8: (8, 10, 11.5, 13, 15), 4.3: (8, 10, 11.5, 13, 15)},
    "CW": {5.0: (8, 10, 11.5, 13), 6.0: (8, 10)},
    "IH": {4.0: (10, 11.5), 5.0: (10,)},
}
CATALOGUE = [
    ImplantSize(diameter, length, connection, f"{connection}-{diameter}-{length}")
    for connection, sizes in MATRIX.items()
    for diameter, made in sizes.items()
    for length in made
]


def weigh(diameter, length, connection, longest=None, widest=None):
    planned = ImplantSize(diameter, length, connection)
    return sizing.standby_implants(planned, CATALOGUE, longest_safe=longest, widest_safe=widest)


def taken(*args, **kwargs):
    return {one.step: (one.size.diameter, one.size.length) for one in weigh(*args, **kwargs) if one.taken}


def reason(found, diameter, length, connection):
    return next(
        one.reason
        for one in found
        if (one.size.diameter, one.size.length, one.size.connection) == (diameter, length, connection)
    )


def test_the_neighbours_of_a_size():
    assert taken(3.8, 10, "CR", longest=13, widest=5) == {
        "wider": (4.3, 10),
        "shorter": (3.8, 8),
        "longer": (3.8, 11.5),
    }
    assert taken(4.3, 10, "CR", longest=13, widest=5) == {
        "shorter": (4.3, 8),
        "narrower": (3.8, 10),
        "longer": (4.3, 11.5),
    }


# Source: worked examples of the trade (common practice): safe length 11.2 mm, safe diameter 4.2 mm.
def test_the_trades_examples():
    found = weigh(3.8, 10, "CR", longest=11.2, widest=4.2)
    assert {one.step for one in found if one.taken} == {"shorter"}
    assert "longer than the safe length of 11.2 mm" in reason(found, 3.8, 11.5, "CR")
    assert "wider than the safe diameter of 4.2 mm" in reason(found, 4.3, 10, "CR")


def test_another_connection_is_never_taken():
    found = weigh(4.3, 13, "CR", longest=20, widest=9)
    assert reason(found, 5.0, 13, "CW") == "Its connection is CW; the plan is for CR."
    assert reason(found, 4.0, 11.5, "IH") == "Its connection is IH; the plan is for CR."


def test_the_next_diameter_in_a_shorter_length_stands_in():
    assert taken(5.0, 13, "CW", longest=13, widest=6)["wider"] == (6.0, 10)


def test_a_plan_beyond_the_limits_still_gets_a_safe_shorter_one():
    assert taken(4.3, 15, "CR", longest=10, widest=5) == {"shorter": (4.3, 10), "narrower": (3.8, 10)}
    planned = ImplantSize(4.3, 15, "CR")
    assert "longer than the safe length" in sizing.why_not_safe(planned, longest_safe=10, widest_safe=5)
    assert sizing.why_not_safe(planned, longest_safe=15, widest_safe=4.3) is None


def test_without_a_measurement_nothing_longer_or_wider_is_taken():
    found = weigh(3.8, 10, "CR")
    assert {one.step for one in found if one.taken} == {"shorter"}
    assert "no safe length has been measured" in reason(found, 3.8, 11.5, "CR")
    assert "no safe diameter has been measured" in reason(found, 4.3, 10, "CR")


def test_a_size_under_two_codes_is_taken_under_both():
    catalogue = [
        ImplantSize(4.3, 8, "CR", "A"),
        ImplantSize(4.3, 8, "CR", "B"),
        ImplantSize(4.3, 10, "CR", "C"),
    ]
    found = sizing.standby_implants(
        ImplantSize(4.3, 10, "CR", "C"), catalogue, longest_safe=12, widest_safe=5
    )
    assert [(one.size.code, one.taken) for one in found] == [("A", True), ("B", True)]


def test_limits_below_zero_are_refused():
    with pytest.raises(sizing.ImpossibleMeasure):
        weigh(4.3, 10, "CR", longest=-1)
    with pytest.raises(sizing.ImpossibleMeasure):
        sizing.safe_length(-1)
    assert sizing.safe_length(1) == 0
    assert sizing.safe_diameter(2) == 0


limits = st.none() | st.floats(2, 20)


@given(st.sampled_from(CATALOGUE), limits, limits)
def test_no_stand_by_breaks_a_limit_or_changes_the_connection(planned, longest, widest):
    found = sizing.standby_implants(planned, CATALOGUE, longest_safe=longest, widest_safe=widest)
    assert len(found) == len(CATALOGUE) - 1
    assert planned not in [one.size for one in found]
    assert [one.taken for one in found] == sorted((one.taken for one in found), reverse=True)
    for one in found:
        assert one.reason.endswith(".")
        if one.taken:
            assert one.size.connection == planned.connection
            assert one.size.length <= (planned.length if longest is None else longest)
            assert one.size.diameter <= (planned.diameter if widest is None else widest)
            assert sizing.why_not_safe(one.size, longest_safe=longest, widest_safe=widest) is None
