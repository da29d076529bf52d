"""From requirements to use lines: known findings, groups, options of the plan, and what the tray has seen."""

from dataclasses import dataclass, replace
from decimal import Decimal

import pytest

from kits.requirements import Requirement
from kits.use_lines import Settled, lines_of

SITE = 7


@dataclass(frozen=True)
class Thing:
    """As much of an item as the lines read."""

    pk: int
    code: str = ""


@dataclass(frozen=True)
class Found:
    """As much of a finding as the lines read."""

    code: str
    is_planned: bool = False


GRAFT, SHEET, PLUG, TACKS, LARGE = (Thing(number) for number in range(1, 6))
PLATE, INTACT = Found("F-FPM"), Found("F-INTACT")


def line(item, *, key="", quantity=1, chance=1.0, finding=None, **facts):
    use = facts.pop("use_quantity", Decimal(quantity))
    return Requirement(
        key=key or f"SKG.{item.pk}/case",
        line_id=item.pk,
        procedure_code="SKG",
        item=item,
        slot="",
        description="",
        site_id=facts.pop("site_id", SITE),
        tooth="11",
        quantity=quantity,
        use_quantity=use,
        certain=finding is None,
        chance=chance,
        set_out="open",
        finding=finding,
        **facts,
    )


def use_of(lines, *, settled=None, probability_of=None):
    planned = {each.line_id: each.chance for each in lines} | (probability_of or {})
    return lines_of(lines, probability_of=planned, settled=settled).use()


def requirement_of(lines, **facts):
    planned = {each.line_id: each.chance for each in lines}
    found = lines_of(lines, probability_of=planned, **facts)
    return found.requirement(found.use())


def test_certain_units_and_a_reserve_of_one_item_add_up():
    lines = [line(GRAFT, quantity=2), line(GRAFT, key="next", chance=0.3, finding=PLATE)]
    assert use_of(lines)[GRAFT.pk] == pytest.approx([0, 0, 0.7, 0.3])
    assert requirement_of(lines) == {GRAFT.pk: 3}


def test_part_of_a_unit_is_a_chance_and_lies_ready_whole():
    lines = [line(GRAFT, use_quantity=Decimal("0.3"))]
    assert use_of(lines)[GRAFT.pk] == pytest.approx([0.7, 0.3])
    assert requirement_of(lines) == {GRAFT.pk: 1}


def test_sets_lab_work_and_undecided_items_are_no_stock():
    lines = [line(GRAFT, kind="set"), line(SHEET, kind="lab"), replace(line(PLUG), item=None)]
    assert use_of(lines) == {}


def test_known_finding_keeps_its_lines_nested():
    """Tacks open in one of ten cases with a missing plate (0.03 of 0.30), also once it is seen."""
    lines = [
        line(SHEET, chance=1.0, finding=PLATE, known=True),
        line(TACKS, chance=1.0, finding=PLATE, known=True, site_id=None),
    ]
    found = use_of(lines, probability_of={SHEET.pk: 0.30, TACKS.pk: 0.03})
    assert found[SHEET.pk] == pytest.approx([0, 1])
    assert found[TACKS.pk] == pytest.approx([0.9, 0.1])


def test_finding_known_to_be_absent_frees_its_lines_and_opens_its_complement():
    """Plate not missing: one cover of the group for certain, by shares 0.45 and 0.55 of the 0.70."""
    lines = [
        line(SHEET, chance=0.3, finding=PLATE, known=False),
        line(PLUG, chance=1.0, finding=INTACT, known=True, choose_one_group="COVER"),
        line(LARGE, chance=1.0, finding=INTACT, known=True, choose_one_group="COVER"),
    ]
    found = use_of(lines, probability_of={PLUG.pk: 0.315, LARGE.pk: 0.385})
    assert SHEET.pk not in found
    assert found[PLUG.pk] == pytest.approx([0.55, 0.45])
    assert found[LARGE.pk] == pytest.approx([0.45, 0.55])


def test_chosen_member_of_a_known_group_is_used_for_certain():
    lines = [line(PLUG, chance=1.0, finding=INTACT, known=True, choose_one_group="COVER")]
    assert use_of(lines, probability_of={PLUG.pk: 0.315})[PLUG.pk] == pytest.approx([0, 1])


def test_option_nobody_has_decided_may_be_used_but_need_not_lie_ready():
    lines = [line(GRAFT), line(TACKS, chance=0.15, undecided=True), line(PLUG, chance=0.5)]
    assert use_of(lines)[TACKS.pk] == pytest.approx([0.85, 0.15])
    assert requirement_of(lines) == {GRAFT.pk: 1, PLUG.pk: 1}


def test_what_is_used_wasted_or_put_back_is_not_counted_again():
    lines = [line(GRAFT, key="a", quantity=3), line(SHEET, key="b", chance=0.3, finding=PLATE)]
    settled = Settled(done={"a": 2, "b": 1})
    assert use_of(lines, settled=settled) == {GRAFT.pk: pytest.approx([0, 1])}
    assert requirement_of(lines, settled=settled) == {GRAFT.pk: 1}


def test_opened_units_will_be_used_whatever_the_finding():
    lines = [line(SHEET, key="a", quantity=2, chance=0.3, finding=PLATE)]
    found = use_of(lines, settled=Settled(opened={"a": 1}))
    assert found[SHEET.pk] == pytest.approx([0, 0.7, 0.3])
    absent = [replace(lines[0], known=False)]
    assert use_of(absent, settled=Settled(opened={"a": 1})) == {SHEET.pk: pytest.approx([0, 1])}


def test_what_stands_in_takes_the_place_of_what_was_asked_for():
    lines = [line(SHEET, key="a", chance=0.3, finding=PLATE)]
    found = use_of(lines, settled=Settled(instead={"a": [(LARGE.pk, 1)]}))
    assert found == {LARGE.pk: pytest.approx([0.7, 0.3])}


def test_units_nobody_asked_for_count_once_opened():
    found = use_of([line(GRAFT)], settled=Settled(extra=((PLUG.pk, 2),)))
    assert found == {GRAFT.pk: pytest.approx([0, 1]), PLUG.pk: pytest.approx([0, 0, 1])}
