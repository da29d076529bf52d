"""What one case uses, against a slow twin, planned shares of common practice and the Poisson-binomial."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from kits.explosion import (
    FindingChance,
    UnclearGroup,
    UseLine,
    WrongFinding,
    WrongLine,
    case_requirement,
    case_use,
)
from stock.planning import pmf
from tests.kits.slow_case import use_by_enumeration

OPPOSITES = {"F-INTACT": "F-FPM"}


def line(item, chance=1.0, finding=None, at=None, *, units=1, group=None):
    return UseLine(item=item, quantity=units, chance=chance, finding=finding, instance=at, choose_one=group)


def socket_case(*sites):
    """A socket graft as common practice plans it: chosen chances 0.30 and 0.70 of the two findings."""
    lines = [line("tacks", 0.03, "F-FPM"), line("blade", 0.3, "F-FPM"), line("drape")]
    for site in sites:
        lines += [
            line("vial", at=site),
            line("membrane", 0.3, "F-FPM", site),
            line("small vial", 0.3, "F-FPM", site),
            line("small vial", 0.15, "F-VOL", site),
            line("plug", 0.315, "F-INTACT", site, group="COVER"),
            line("PTFE sheet", 0.245, "F-INTACT", site, group="COVER"),
            line("collagen", 0.14, "F-INTACT", site, group="COVER"),
        ]
    return lines


def near(distribution, expected):
    size = max(len(distribution), len(expected))
    np.testing.assert_allclose(
        pmf.cap(np.asarray(distribution), size), pmf.cap(np.asarray(expected), size), atol=1e-12
    )


def test_a_socket_graft_uses_what_was_planned():
    """Common practice: covers 0.315, 0.245, 0.14; membrane 0.30; tacks in one of ten of those."""
    use = case_use(socket_case(11), {})
    near(use["drape"], [0, 1])
    near(use["membrane"], [0.7, 0.3])
    near(use["tacks"], [0.97, 0.03])
    near(use["plug"], [0.685, 0.315])
    near(use["PTFE sheet"], [0.755, 0.245])
    near(use["collagen"], [0.86, 0.14])
    near(use["small vial"], [0.7 * 0.85, 0.7 * 0.15 + 0.3 * 0.85, 0.3 * 0.15])


def test_a_line_of_the_case_opens_once_if_the_finding_is_there_at_any_site():
    use = case_use(socket_case(11, 12), {})
    near(use["membrane"], [0.49, 0.42, 0.09])
    near(use["blade"], [0.49, 0.51])
    near(use["tacks"], [0.97**2, 1 - 0.97**2])


@pytest.mark.parametrize(
    ("findings", "membrane", "plug", "tacks"),
    [
        ({"F-FPM": True}, 1, 0, 0.1),
        ({"F-FPM": False}, 0, 0.45, 0),
        ({("F-FPM", 11): True}, 1, 0, 0.1),
        ({"F-INTACT": True}, 0, 0.45, 0),
        ({"F-INTACT": False}, 1, 0, 0.1),
        ({"F-FPM": 0.6}, 0.6, 0.18, 0.06),
        ({"F-FPM": True, ("F-FPM", 11): 0.1}, 0.1, 0.405, 0.01),
        ({"F-FPM": FindingChance(chance=0.6, planned=0.3)}, 0.6, 0.18, 0.06),
    ],
)
def test_what_is_known_or_believed_moves_all_lines_of_a_finding(findings, membrane, plug, tacks):
    use = case_use(socket_case(11), findings)
    assert pmf.mean(use["membrane"]) == pytest.approx(membrane)
    assert pmf.mean(use["plug"]) == pytest.approx(plug)
    assert pmf.mean(use["tacks"]) == pytest.approx(tacks)


def test_nested_lines_of_one_item_open_together():
    """Two sheets of one item at 0.30 and 0.03 on one draw: two are used in 0.03 of cases, never 0.009."""
    near(
        case_use([line("sheet", 0.3, "F-FPM", 11), line("sheet", 0.03, "F-FPM", 11)], {})["sheet"],
        [0.7, 0.27, 0.03],
    )


def test_an_item_on_a_finding_and_on_its_opposite_is_used_exactly_once():
    lines = [line("sheet", 0.3, "F-FPM", 11), line("sheet", 0.7, "F-INTACT", 11)]
    near(case_use(lines, {})["sheet"], [0, 1])


def test_an_opposite_planned_below_the_rest_is_nested_within_it():
    """Implant removal: membrane 0.45 when the plate is missing, plug 0.30 within the 0.55 left."""
    lines = [line("membrane", 0.45, "F-FPM", 46), line("plug", 0.3, "F-INTACT", 46)]
    assert pmf.mean(case_use(lines, {})["plug"]) == pytest.approx(0.3)
    assert pmf.mean(case_use(lines, {"F-FPM": False})["plug"]) == pytest.approx(0.3 / 0.55)


def test_a_wider_or_a_shorter_implant_goes_in_besides_the_planned_one_never_both():
    """Common practice: planned for certain (wasted if it spins), wider 0.08, shorter 0.02, exclusive."""
    lines = [
        line("4.3 x 11.5", at=14),
        line("5.0 x 11.5", 0.08, "F-PST", 14, group="STANDBY"),
        line("4.3 x 10", 0.02, "F-SHORT", 14, group="STANDBY"),
        line("any standby", 0.08, "F-PST", 14),
        line("any standby", 0.02, "F-SHORT", 14),
    ]
    use = case_use(lines, {})
    near(use["4.3 x 11.5"], [0, 1])
    near(use["5.0 x 11.5"], [0.92, 0.08])
    near(use["any standby"], [0.9, 0.1])
    assert case_requirement(lines, {})["any standby"] == 1


def test_a_member_without_a_finding_is_chosen_only_where_no_other_was():
    """Immediate implant: healing abutment 0.65 or, in 0.30, the temporary one; else the pack's screw."""
    lines = [
        line("healing", 0.65, at=14, group="TOP"),
        line("temporary", 0.3, "F-PROV", 14, group="TOP"),
        line("tape", 0.3, "F-PROV", 14),
        line("top", 0.65, at=24, group="TOP"),
        line("top", 0.3, "F-PROV", 24, group="TOP"),
    ]
    use = case_use(lines, {})
    near(use["healing"], [0.35, 0.65])
    near(use["top"], [0.05, 0.95])
    known = case_use(lines, {"F-PROV": False})
    near(known["healing"], [1 - 0.65 / 0.7, 0.65 / 0.7])
    near(case_use(lines, {"F-PROV": True})["healing"], [1])


def test_a_group_without_findings_takes_one_member():
    lines = [
        line("a", 0.5, group="G"),
        line("b", 0.5, group="G"),
        line("both", 0.5, group="H"),
        line("both", 0.5, group="H"),
    ]
    use = case_use(lines, {})
    near(use["a"], [0.5, 0.5])
    near(use["both"], [0, 1])


def test_parts_of_a_shared_container_open_the_next_one_by_chance():
    use = case_use([line("bite", units=0.3), line("paste", 0.25, units=0.4), line("wide", units=2.4)], {})
    near(use["bite"], [0.7, 0.3])
    near(use["paste"], [0.9, 0.1])
    near(use["wide"], [0, 0, 0.6, 0.4])


def test_what_must_lie_in_reach_is_the_most_that_can_be_needed_at_once():
    lines = socket_case(11, 12)
    need = case_requirement(lines, {})
    assert need == {
        "tacks": 1, "blade": 1, "drape": 1, "vial": 2, "membrane": 2, "small vial": 4, "plug": 2,
        "PTFE sheet": 2, "collagen": 2,
    }  # fmt: skip
    known = case_requirement(lines, {("F-FPM", 11): False})
    assert (known["membrane"], known["plug"], known["small vial"]) == (1, 2, 3)
    assert case_requirement([line("part", units=0.3)], {})["part"] == 1


@pytest.mark.parametrize("chances", [[0.9, 0.5, 0.2], [0.1, 0.2, 0.3, 0.4], [0.3] * 12])
def test_cases_with_one_finding_of_one_unit_give_the_poisson_binomial(chances):
    """n cases, one unit each; scipy.stats.poisson_binom."""
    cases = [case_use([line("sheet", 0.5, "F-FPM", 11)], {"F-FPM": chance})["sheet"] for chance in chances]
    near(pmf.convolve_all(cases), stats.poisson_binom(chances).pmf(np.arange(len(chances) + 1)))


TENTH = st.integers(1, 9).map(lambda tenths: tenths / 10)


@st.composite
def cases(draw):
    """Lines over two sites and few items, every chance a tenth, planned chance = largest line."""
    missing = draw(st.integers(1, 9)) / 10
    chances = {"F-FPM": missing, "F-VOL": draw(TENTH)}
    instances = {"F-FPM": [11, 12], "F-VOL": [None]}
    item = st.sampled_from(["a", "b"])
    lines = [line(draw(item), missing, "F-FPM", at) for at in (11, 12)]
    lines.append(line(draw(item), chances["F-VOL"], "F-VOL"))
    for _ in range(draw(st.integers(0, 4))):
        code = draw(st.sampled_from([None, "F-FPM", "F-VOL", "F-INTACT"]))
        most = {None: 1.0, "F-INTACT": round(1 - missing, 1)}.get(code, chances.get(code))
        chance = draw(st.integers(1, round(most * 10))) / 10
        at = draw(st.sampled_from([11, 12, None])) if code in ("F-FPM", "F-INTACT") else None
        lines.append(line(draw(item), chance, code, at, units=draw(st.sampled_from([1, 2, 0.3]))))
    if draw(st.booleans()):
        share = draw(st.integers(1, round(10 - 10 * missing))) / 10
        lines.append(line(draw(item), share, "F-INTACT", 11, group="G"))
        if draw(st.booleans()) and share + 0.1 < 1:
            lines.append(line(draw(item), 0.1, None, 11, group="G"))
    return lines, chances, instances


@settings(max_examples=80, deadline=None)
@given(cases())
def test_agrees_with_full_enumeration(case):
    lines, chances, instances = case
    use = case_use(lines, {})
    slow = use_by_enumeration(lines, chances, instances, OPPOSITES)
    need = case_requirement(lines, {})
    for item, distribution in use.items():
        for units, chance in enumerate(distribution):
            assert chance == pytest.approx(slow[item][units], abs=1e-9)
        assert distribution.sum() == pytest.approx(1, abs=1e-9)
        assert need[item] == max(units for units, chance in slow[item].items() if chance > 1e-12)


@settings(max_examples=100, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from("ab"), TENTH, st.sampled_from(["F-A", "F-B", None]), st.integers(1, 3)),
        max_size=8,
    )
)
def test_the_mean_is_the_sum_of_the_expectations(rows):
    """With every line at its own place, expected use = quantity times chance, summed."""
    lines = [
        line(item, chance, code, place, units=units) for place, (item, chance, code, units) in enumerate(rows)
    ]
    for item, distribution in case_use(lines, {}).items():
        expected = sum(one.quantity * one.chance for one in lines if one.item == item)
        assert pmf.mean(distribution) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("lines", "findings", "error", "says"),
    [
        ([line("a", 1.2)], {}, WrongLine, "chance 1.2"),
        ([line("a", units=-1)], {}, WrongLine, "quantity -1"),
        ([line("a", 0.5, "F-A")], {"F-A": 1.5}, WrongFinding, "not between 0 and 1"),
        (
            [line("a", 0.6, "F-A", 1, group="G"), line("b", 0.6, "F-B", 1, group="G")],
            {}, WrongFinding, "exceed 1 together",
        ),
        ([line("a", 0.6, group="G"), line("b", 0.6, group="G")], {}, UnclearGroup, "group G"),
        ([line("a", 0.6, "F-A", group="G"), line("b", 0.6, "F-A", 11)], {}, UnclearGroup, "belongs to"),
    ],
)  # fmt: skip
def test_lines_that_cannot_be_are_refused_in_words(lines, findings, error, says):
    with pytest.raises(error, match=says):
        case_use(lines, findings)
