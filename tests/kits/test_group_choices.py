"""Groups of which one is used by preference: what is suggested, what stands in, what stays sealed.

Shares are the bill's (trade reference, boms.csv): scan body 0.75 or impression post 0.25; two sutures at 0.5
each; peroxide 0.6 or tetracycline 0.4.
"""

import pytest

from kits import chairside, picking
from kits.case_loading import requirements_of, with_plans
from kits.models import Case, Preference
from kits.scheduling import choose, plan_site
from kits.use_lines import lines_of
from stock.holds import hold
from stock.models import Lot
from tests.builders import NOW, TODAY

pytestmark = pytest.mark.django_db
PREFERRED, OTHER = "DRG-HPX", "DRG-TET"


@pytest.fixture
def case(stocked) -> Case:
    made = stocked.case("PIR", teeth=("36",))
    plan_site(case=made, tooth="36", connection_in_place="CR", by=None, at=NOW)
    return made


def members(case) -> dict:
    found = picking.pick_list(case=case, today=TODAY)
    return {line.item.code: line for line in found.lines if line.choose_one_group == "PIR-DEC"}


def needed(case) -> list:
    return requirements_of(with_plans(Case.objects.filter(pk=case.pk)))[case.pk]


def of_group(kits, procedure, group) -> list:
    """Requirements of a group in a case of a procedure with nothing else known."""
    return [line for line in needed(kits.case(procedure)) if line.choose_one_group == group]


def set_aside(code):
    """No usable unit of an item is left."""
    for lot in Lot.objects.filter(item__code=code):
        hold(lot=lot, reason="letter", by=None, at=NOW)


def test_the_larger_share_is_suggested_and_the_other_listed(case):
    found = members(case)
    assert (found[PREFERRED].is_wanted, found[OTHER].is_wanted) == (True, False)
    assert found[OTHER].instead_of == (found[PREFERRED].key,)
    assert found[OTHER].note.startswith(f"instead of {found[PREFERRED].description}")
    # The list says where it lies, should it be wanted after all.
    assert found[OTHER].parts and not found[OTHER].short


def test_of_equal_shares_the_first_of_the_bill(kits):
    both = of_group(kits, "DEL", "DEL-SUT")
    assert [(line.item_code, len(line.instead_of)) for line in both] == [("SUT-PT5", 0), ("SUT-PG5", 1)]


def test_the_clinician_s_usual_is_suggested(stocked, case):
    card = {"user": stocked.cast.clinician, "slot": "group:PIR-DEC", "item": stocked.items[OTHER]}
    Preference.objects.create(**card)
    found = members(case)
    assert (found[OTHER].is_wanted, found[PREFERRED].is_wanted) == (True, False)


@pytest.mark.parametrize("group", ["RDG-MEM", "FAR-MUA", "SKG-COVER", "IMM-TOP"])
def test_groups_of_the_plan_and_of_findings_are_left_alone(kits, group):
    lines = of_group(kits, group[:3], group)
    assert len(lines) > 1 and not any(line.instead_of for line in lines)


def test_a_chosen_member_is_certain_and_opened_at_set_up(stocked, case):
    item = stocked.items[OTHER]
    choose(case=case, subject="group:PIR-DEC", item=item, quantity=1, by=None, at=NOW)
    found = members(case)
    assert list(found) == [OTHER]
    assert (found[OTHER].set_out, found[OTHER].chance, found[OTHER].instead_of) == ("open", 1.0, ())


def test_the_choice_reaches_a_tray_that_is_begun(stocked, case):
    case = picking.begin(case=case, by=None, at=NOW)
    assert case.tray_lines.get(item__code=PREFERRED).set_out == "sealed on trolley"
    item = stocked.items[PREFERRED]
    choose(case=case, subject="group:PIR-DEC", item=item, quantity=1, by=None, at=NOW)
    assert case.tray_lines.get(item__code=PREFERRED).set_out == "open"
    assert not case.tray_lines.filter(item__code=OTHER).exists()


def test_what_is_there_stands_in_for_what_is_not(case):
    set_aside(PREFERRED)
    found = members(case)
    assert (found[OTHER].is_wanted, found[PREFERRED].is_wanted) == (True, False)
    assert found[PREFERRED].short == 0 and found[PREFERRED].note == "none is free"
    ready = picking.pick_list(case=case, today=TODAY).readiness
    assert ready.word == "ready", ready


def test_it_is_short_only_if_nothing_of_the_group_is_there(case):
    set_aside(PREFERRED)
    set_aside(OTHER)
    found = members(case)
    pick = picking.pick_list(case=case, today=TODAY)
    assert [line.key for line in pick.short] == [found[PREFERRED].key]


def test_an_alternative_takes_nothing_from_a_later_case(stocked, case):
    Lot.objects.get(item__code=OTHER).balances.update(quantity=1)
    later = stocked.case("PIR", teeth=("46",), hour=14)
    choose(case=later, subject="group:PIR-DEC", item=stocked.items[OTHER], quantity=1, by=None, at=NOW)
    assert members(later)[OTHER].short == 0
    # Where the earlier case really needs it, the later one goes without.
    set_aside(PREFERRED)
    assert members(later)[OTHER].short == 1


def test_what_lies_on_the_tray_is_the_choice(stocked, case):
    case = picking.begin(case=case, by=None, at=NOW)
    before = picking.pick_list(case=case, today=TODAY).total
    [unit] = picking.tick(line=case.tray_lines.get(item__code=OTHER), by=stocked.cast.assistant, at=NOW)
    found = members(case)
    assert (found[OTHER].state, found[PREFERRED].is_wanted) == ("done", False)
    pick = picking.pick_list(case=case, today=TODAY)
    assert (pick.total, pick.short) == (before, [])
    picking.take_off(unit=unit, by=None, at=NOW)
    assert members(case)[PREFERRED].is_wanted


def test_nothing_of_it_is_opened_before_it_is_chosen(stocked, case):
    case = stocked.fill_tray(case)
    chairside.start_surgery(case=case, by=None, at=NOW)
    unit = stocked.unit(case, PREFERRED)
    assert unit.opened_at is None
    pick = picking.pick_list(case=case, today=TODAY)
    [pouch] = [pouch for pouch in pick.pouches if pouch.heading == "On the clinician's choice: one of these"]
    assert {line.item.code for line in pouch.lines} == {PREFERRED, OTHER} and pouch.choose_one
    chairside.open_line(line=unit.line, by=None, at=NOW)
    unit.refresh_from_db()
    assert unit.opened_at == NOW


def test_the_forecast_uses_both_and_keeps_the_suggested_in_reach(stocked, case):
    requirements = needed(case)
    shares = {line.line_id: line.chance for line in requirements}
    lines = lines_of(requirements, probability_of=shares)
    use = lines.use()
    in_reach = lines.requirement(use)
    first, second = stocked.items[PREFERRED].pk, stocked.items[OTHER].pk
    assert (use[first][1], use[second][1]) == (pytest.approx(0.6), pytest.approx(0.4))
    assert (in_reach.get(first), in_reach.get(second)) == (1, None)


def test_of_members_without_an_item_only_the_first_asks(kits):
    bodies = of_group(kits, "V-IMP", "IMP-WAY")
    # No implant is on record, so neither part has an item; one question is enough.
    assert [line.item for line in bodies] == [None, None]
    assert sorted(line.blocking for line in bodies) == [False, True]
