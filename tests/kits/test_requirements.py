"""From bill and plan to requirements: how many, for which tooth, what hangs on what."""

from dataclasses import replace

import pytest

from kits.case_loading import families
from kits.models import BomVersion
from kits.plans import Plan, SitePlan
from kits.requirements import of_case
from tests.kits import builders_kits

pytestmark = pytest.mark.django_db


@pytest.fixture
def trade():
    """The trade's items, and a function from procedures and plan to requirements by key."""
    items = builders_kits.catalogue()
    builders_kits.bills()
    bills = {
        version.procedure.code: list(version.lines.select_related("item", "finding__complement_of"))
        for version in BomVersion.objects.select_related("procedure")
    }
    known = families()

    def needed(*codes, plan=None, teeth=("11",), implant=None, **facts):
        sites = tuple(
            SitePlan(number, tooth, implant=items.get(implant)) for number, tooth in enumerate(teeth, 1)
        )
        plan = plan or Plan("C-00001", "P-0001", sites=sites, **facts)
        return of_case(plan, [(code, bills[code]) for code in codes], known)

    needed.items = items
    return needed


def of_item(found, code):
    return [line for line in found if line.item_code == code]


def one(found, code):
    [line] = of_item(found, code)
    return line


def test_multiplicity_by_basis(trade):
    two = trade("DEL", teeth=("36", "37"), implant="IMP-CR-43-100")
    # Per case once, per implant twice (trade reference 1.2, 1.5).
    assert len(of_item(two, "DIS-DRP")) == 1
    assert [line.tooth for line in of_item(two, "IMP-CR-43-100")] == ["36", "37"]
    assert len({line.key for line in two}) == len(two)


def test_a_sinus_a_segment_and_an_arch_are_counted_as_such(trade):
    # SLT: one sinus for 16 and 15, two for 16 and 26; RDG: neighbours are one segment; FAR: per arch.
    assert len(of_item(trade("SLT", teeth=("16", "15")), "GRF-AL-200")) == 1
    assert len(of_item(trade("SLT", teeth=("16", "26")), "GRF-AL-200")) == 2
    assert len(of_item(trade("RDG", teeth=("11", "12")), "GRF-AL-100")) == 1
    assert len(of_item(trade("RDG", teeth=("11", "13")), "GRF-AL-100")) == 2
    arch = trade("FAR", teeth=("16", "14", "24", "26"), implant="IMP-CR-43-130")
    assert len(of_item(arch, "PRO-PUR")) == 1
    # One planned implant for each of four sites, and one extra that a finding may need.
    assert len([line for line in of_item(arch, "IMP-CR-43-130") if not line.finding_code]) == 4
    both = trade("FAR", teeth=("16", "36"), implant="IMP-CR-43-130")
    assert len(of_item(both, "PRO-PUR")) == 2


def test_the_base_setup_comes_once_at_the_highest_level(trade):
    both = trade("XTR", "DEL", implant="IMP-CR-43-100")
    # Minor drape of XTR gives way to the pack of DEL; examination set once.
    assert of_item(both, "DIS-DRM") == []
    assert len(of_item(both, "DIS-DRP")) == 1
    assert len(of_item(both, "SET-EXM")) == 1
    assert len(of_item(both, "SET-XTR")) == 1


def test_a_share_below_one_lies_ready_and_is_used_by_chance(trade):
    healing = one(trade("DEL", implant="IMP-CR-43-100"), "HAB-CR-3")
    assert (healing.quantity, healing.certain, healing.chance) == (1, True, 0.65)


def test_part_of_a_shared_container_needs_a_whole_one_in_reach(trade):
    heavy = one(trade("V-IMP", teeth=("36",)), "PRO-PVH")
    assert (heavy.quantity, float(heavy.use_quantity)) == (1, 0.5)


@pytest.mark.parametrize(
    ("guided", "kinds"),
    [(True, [("LAB-GDE", False, 1.0)]), (False, []), (None, [("LAB-GDE", True, 0.6)])],
)
def test_a_guide_follows_the_plan(trade, guided, kinds):
    found = of_item(trade("DEL", implant="IMP-CR-43-100", guided=guided), "LAB-GDE")
    assert [(line.item_code, line.undecided, line.chance) for line in found] == kinds
    assert not any(line.blocking for line in found)


def test_an_option_of_the_plan_is_decided_by_a_choice(trade):
    yes = trade("SKG", choices={("plan:PRF-TUB", None): ((None, 1),)})
    no = trade("SKG", choices={("plan:PRF-TUB", None): ((None, 0),)})
    assert (one(yes, "PRF-TUB").undecided, one(yes, "PRF-TUB").chance) == (False, 1.0)
    assert of_item(no, "PRF-TUB") == []


def test_simultaneous_implants_follow_from_planning_one(trade):
    open_plan = [line for line in trade("SLT", teeth=("16",)) if line.slot.startswith("IMPLANT")]
    assert [(line.undecided, line.blocking) for line in open_plan] == [(True, False)] * 2
    planned = trade("SLT", teeth=("16",), implant="IMP-CR-43-115")
    assert one(planned, "IMP-CR-43-115").chance == 1.0
    assert one(planned, "IMP-CW-50-115").finding_code == "F-PST"
    no = trade("SLT", teeth=("16",), choices={("plan:IMPLANT_PLANNED", None): ((None, 0),)})
    assert [line for line in no if line.slot.startswith("IMPLANT")] == []


def test_all_members_of_a_group_lie_ready_until_one_is_chosen(trade):
    cover = [line for line in trade("SKG") if line.choose_one_group == "SKG-COVER"]
    assert [(line.item_code, line.chance) for line in cover] == [
        ("COL-PLG", 0.315),
        ("MEM-PT-1224", 0.245),
        ("MEM-RC-1520", 0.14),
    ]
    plug = ((trade.items["COL-PLG"], 1),)
    chosen = [
        line
        for line in trade("SKG", choices={("group:SKG-COVER", None): plug})
        if line.choose_one_group == "SKG-COVER"
    ]
    # Exactly one cover, in the 70 of 100 cases whose walls are intact.
    assert [(line.item_code, line.chance) for line in chosen] == [("COL-PLG", pytest.approx(0.7))]


def test_a_group_of_the_plan_is_decided_by_naming_its_member(trade):
    sheet = ((trade.items["MEM-TR-2530"], 1),)
    found = [
        line
        for line in trade("RDG", choices={("group:RDG-MEM", None): sheet})
        if line.choose_one_group == "RDG-MEM"
    ]
    assert [(line.item_code, line.chance, line.undecided) for line in found] == [("MEM-TR-2530", 1.0, False)]
    assert sum(line.undecided for line in trade("RDG") if line.choose_one_group) == 3


def test_what_is_known_before_surgery_decides_the_lines(trade):
    def plate(present):
        found = trade("SKG", known={("F-FPM", 1): present})
        return {line.finding_code: line for line in found if line.finding_code in ("F-FPM", "F-INTACT")}

    missing, intact = plate(True), plate(False)
    assert (missing["F-FPM"].known, missing["F-INTACT"].known) == (True, False)
    assert (intact["F-FPM"].known, intact["F-INTACT"].known) == (False, True)
    assert missing["F-FPM"].chance == 1.0 and not missing["F-INTACT"].is_needed


def test_a_finding_at_one_tooth_leaves_the_other_open(trade):
    found = trade("SKG", teeth=("11", "21"), known={("F-FPM", 1): False})
    sheets = {line.tooth: line.known for line in of_item(found, "MEM-RC-2030")}
    assert sheets == {"11": False, "21": None}
    # The blade of the case is needed while one tooth is still open.
    assert {line.known for line in of_item(found, "SHP-B15")} == {None}


@pytest.mark.parametrize(
    ("procedure", "declined", "code", "blocking"),
    [
        # A fixed line stops the case; a member of a group or room stock does not.
        ("SLT", "porcine", "MEM-RC-2030", True),
        ("RDG", "human", "GRF-AL-100", True),
        ("SKG", "bovine", "COL-PLG", False),
        ("SKG", "porcine", "HEM-GEL", False),
    ],
)
def test_what_the_patient_declines_is_never_laid_out(trade, procedure, declined, code, blocking):
    found = trade(procedure, teeth=("16",), declined=frozenset({declined}))
    assert of_item(found, code) == []
    said = [line for line in found if f"declines {declined}" in line.unresolved]
    assert any(line.blocking for line in said) is blocking


def test_another_item_may_be_chosen_for_a_declined_line(trade):
    instead = {("item:MEM-RC-2030", None): ((trade.items["MEM-PT-2530"], 1),)}
    found = trade("SLT", teeth=("16",), declined=frozenset({"porcine"}), choices=instead)
    assert "instead of" in one(found, "MEM-PT-2530").note


def test_no_item_of_a_declined_origin_reaches_any_list(trade):
    # A sweep over every procedure and origin: the rule holds wherever an item comes from.
    for origin in ("human", "porcine", "bovine"):
        for code in (
            "XTR",
            "SKG",
            "GBRX",
            "IMM",
            "DEL",
            "DELG",
            "SCR",
            "SLT",
            "RDG",
            "CTG",
            "FAR",
            "PIR",
            "IRM",
        ):
            found = trade(code, teeth=("16",), implant="IMP-CR-43-115", declined=frozenset({origin}))
            assert not [line.item_code for line in found if line.item and origin in line.item.origins]


def test_sets_and_lab_work_are_no_stock(trade):
    found = trade("V-DLV", teeth=("36",))
    assert one(found, "SET-DRV").kind == "set"
    assert one(found, "LAB-CRN").kind == "lab"
    assert one(found, "PRO-CMP").kind == "stock"


def test_the_card_names_the_usual_member_of_a_group(trade):
    plan = Plan("C-00001", "P-0001", sites=(SitePlan(1, "11"),), clinician="Dr A. Tessamore")
    plan = replace(plan, clinician_prefers={"group:SKG-COVER": trade.items["COL-PLG"]})
    assert "Dr A. Tessamore's usual" in one(trade("SKG", plan=plan), "COL-PLG").note
