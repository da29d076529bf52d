"""Every slot of the trade's bills filled from a plan. No database: items are rows of its catalogue."""

import re
from decimal import Decimal

import pytest

from kits.families import Families
from kits.plans import Plan, SitePlan, arches, segments, sinuses
from kits.slot_answers import Asked
from kits.slots import SLOTS, fill
from tests.kits.builders_kits import FIXTURES, unsaved_catalogue

ITEMS = unsaved_catalogue()
FAMILIES = Families(ITEMS.values())


def site(tooth="36", implant=None, *, id=1, **facts) -> SitePlan:
    return SitePlan(id, tooth, implant=ITEMS[implant] if implant else None, **facts)


def asked(slot, *sites, procedure="DEL", **plan) -> list:
    plan = Plan("C-00001", "P-0001", sites=sites or (site(),), **plan)
    return list(fill(Asked(slot, procedure, plan, plan.sites, FAMILIES)))


def code(slot, *sites, **rest) -> str:
    [answer] = asked(slot, *sites, **rest)
    return answer.item.code if answer.item else answer.unresolved


def test_every_slot_of_the_trade_file_has_a_rule():
    text = (FIXTURES / "boms.csv").read_text(encoding="utf-8-sig")
    assert set(re.findall(r",SLOT:([A-Z_]+),", text)) == SLOTS


# Sizes and platforms of the catalogue; the steps are those of trade reference 4.6 and 2.2.
@pytest.mark.parametrize(
    ("slot", "implant", "expected"),
    [
        ("IMPLANT_PLANNED", "IMP-CR-43-115", "IMP-CR-43-115"),
        ("IMPLANT_STANDBY_UP", "IMP-CR-38-115", "IMP-CR-43-115"),
        # Going wider than 4.3 leaves the platform, never the family.
        ("IMPLANT_STANDBY_UP", "IMP-CR-43-130", "IMP-CW-50-130"),
        ("IMPLANT_STANDBY_UP", "IMP-CN-33-130", "IMP-CR-38-130"),
        # 5.0 is not made in 15 mm, so its longest stands in.
        ("IMPLANT_STANDBY_UP", "IMP-CR-43-150", "IMP-CW-50-130"),
        ("IMPLANT_STANDBY_UP", "IMP-CW-50-100", "IMP-CW-60-100"),
        ("IMPLANT_STANDBY_UP", "IMP-IH-40-100", "IMP-IH-50-100"),
        ("IMPLANT_STANDBY_DOWN", "IMP-CR-43-115", "IMP-CR-43-100"),
        ("HEALING_PLANNED", "IMP-CR-43-115", "HAB-CR-3"),
        ("HEALING_OTHER", "IMP-CR-43-115", "HAB-CR-5"),
        ("HEALING_PLANNED", "IMP-CW-50-100", "HAB-CW-3"),
        ("HEALING_PLANNED", "IMP-IH-40-100", "HAB-IH-4"),
        ("COVER_SCREW", "IMP-CN-33-130", "CVS-CN"),
        ("TEMP_ABUT", "IMP-CR-43-115", "PRO-TA-CR"),
        ("SCAN_BODY", "IMP-CW-50-100", "PRO-SB-CW"),
        ("IMP_POST", "IMP-CR-43-115", "PRO-IP-CR"),
        ("ANALOGUE", "IMP-CR-43-115", "PRO-AN-CR"),
        ("FINAL_SCREW", "IMP-CN-33-130", "PRO-SC-CN"),
    ],
)
def test_parts_follow_from_the_planned_implant(slot, implant, expected):
    assert code(slot, site("36", implant)) == expected


@pytest.mark.parametrize(
    ("slot", "implant", "limits", "sentence"),
    [
        ("IMPLANT_STANDBY_UP", "IMP-CW-60-100", {}, "no wider implant in the family of CW"),
        ("IMPLANT_STANDBY_UP", "IMP-IH-50-100", {}, "no wider implant in the family of IH"),
        ("IMPLANT_STANDBY_UP", "IMP-CR-43-100", {"widest_safe_mm": Decimal("4.5")}, "nothing wider than 4.5"),
        (
            "IMPLANT_STANDBY_UP",
            "IMP-CR-43-080",
            {"longest_safe_mm": Decimal("7.5")},
            "no 5.0 mm implant is as short as 7.5",
        ),
        ("IMPLANT_STANDBY_DOWN", "IMP-CR-43-080", {}, "no implant shorter than 4.3 × 8"),
        ("HEALING_OTHER", "IMP-IH-40-100", {}, "in one height only"),
        ("TEMP_ABUT", "IMP-CW-50-100", {}, "no temporary abutment for platform CW"),
        ("COVER_SCREW", "IMP-IH-40-100", {}, "no cover screw for platform IH"),
    ],
)
def test_what_does_not_exist_says_so_and_blocks_nothing(slot, implant, limits, sentence):
    [answer] = asked(slot, site("36", implant, **limits))
    assert answer.item is None and not answer.blocking
    assert sentence in answer.unresolved


def test_the_safe_length_limits_the_wider_standby():
    # Trade reference 4.6: 11.2 mm safe, so 11.5 is not an allowed standby.
    assert code("IMPLANT_STANDBY_UP", site("36", "IMP-CR-43-115", longest_safe_mm=Decimal("11.2"))) == (
        "IMP-CW-50-100"
    )


@pytest.mark.parametrize("slot", sorted(s for s in SLOTS if "GLOVE" not in s and s != "NITRILE"))
def test_an_empty_plan_is_asked_about_never_dropped(slot):
    answers = asked(slot, SitePlan(None, ""), procedure="SKG" if "GRAFT" in slot else "DEL")
    assert answers
    if slot.startswith("MEMBRANE"):
        # An ordinary defect is assumed until somebody measures.
        assert answers[0].item is not None
    else:
        assert all(answer.blocking and "Say which tooth" in answer.unresolved for answer in answers)


def test_an_unchosen_implant_is_asked_for_by_tooth():
    assert code("HEALING_PLANNED", site("36")) == "Choose the implant for 36."
    assert "Record which implant stands at 36" in code("FINAL_SCREW", site("36"), procedure="V-DLV")


def test_later_visits_follow_the_implant_in_place():
    assert code("FINAL_SCREW", site("36", connection_in_place="CW"), procedure="V-DLV") == "PRO-SC-CW"
    assert code("HEALING_PLANNED", site("36", connection_in_place="CN"), procedure="2ND") == "HAB-CN-3"


def test_the_planned_height_is_taken_or_the_nearest_named():
    assert code("HEALING_PLANNED", site("36", "IMP-CR-43-100", healing_height_mm=5)) == "HAB-CR-5"
    [answer] = asked("HEALING_PLANNED", site("36", "IMP-IH-40-100", healing_height_mm=3))
    assert "3 mm is not in the catalogue" in answer.note


# Vials by tooth: trade reference 4.1 (its table of the catalogue's sizes); upper central 0.5, with a lower
# lateral in a small one. The volumes are those of the half-ellipsoid, tested beside kits.sizing.
@pytest.mark.parametrize(
    ("procedure", "tooth", "expected"),
    [
        ("SKG", "11", {"GRF-AL-050": 1}),
        ("SKG", "31", {"GRF-AL-025": 1}),
        ("SKG", "36", {"GRF-AL-100": 1}),
        ("SLT", "16", {"GRF-AL-200": 1}),
        ("SCR", "26", {"GRF-AL-025": 1}),
        ("FAR", "14", {"GRF-AL-100": 1}),
    ],
)
def test_graft_is_sized_by_tooth_or_procedure(procedure, tooth, expected):
    answers = asked("GRAFT_SIZED", site(tooth), procedure=procedure)
    assert {answer.item.code: answer.quantity for answer in answers} == expected


def test_the_gap_round_an_immediate_implant_needs_less():
    # Trade reference 4.3: upper central with 4.3 mm in it, a 0.25 cc vial.
    assert code("GRAFT_SIZED", site("11", "IMP-CR-43-130"), procedure="IMM") == "GRF-AL-025"


def test_a_measured_volume_goes_first_and_may_take_two_vials():
    answers = asked("GRAFT_SIZED", site("11", graft_cc=Decimal("0.7")), procedure="SKG")
    assert [(answer.item.code, answer.quantity) for answer in answers] == [
        ("GRF-AL-050", 1),
        ("GRF-AL-025", 1),
    ]


@pytest.mark.parametrize(
    ("declined", "expected"),
    [
        (set(), "GRF-AL-050"),
        ({"human"}, "GRF-SY-050"),
        ({"human", "bovine"}, "GRF-SY-050"),
        ({"bovine"}, "GRF-AL-050"),
    ],
)
def test_consent_decides_the_graft_material(declined, expected):
    assert code("GRAFT_SIZED", site("11"), procedure="SKG", declined=frozenset(declined)) == expected


def test_a_planned_material_is_named_by_word_or_code():
    assert code("GRAFT_SIZED", site("11"), procedure="SKG", graft_material="bovine") == "GRF-XB-050"
    assert code("GRAFT_SIZED", site("11"), procedure="SKG", graft_material="XB") == "GRF-XB-050"


def test_a_planned_material_that_is_declined_is_never_laid_out():
    [answer] = asked(
        "GRAFT_SIZED", site("11"), procedure="SKG", graft_material="bovine", declined=frozenset({"bovine"})
    )
    assert answer.item is None and answer.blocking
    assert "P-0001 declines bovine" in answer.unresolved


def test_the_next_vial_holds_half_of_what_is_ready():
    # Trade reference 1.7: 0.25 cc beside 0.5 cc; sinus: 1.0 cc beside 2.0 cc.
    assert code("GRAFT_NEXT", site("11"), procedure="SKG") == "GRF-AL-025"
    assert code("GRAFT_NEXT", site("16"), procedure="SLT") == "GRF-AL-100"


# Trade reference 4.4, column "Collagen": defect width and height in mm.
@pytest.mark.parametrize(
    ("width", "height", "expected"),
    [(None, None, "MEM-RC-2030"), (8, 11, "MEM-RC-2030"), (5, 5, "MEM-RC-2030"), (16, 12, "MEM-RC-3040")],
)
def test_membranes_cover_the_defect(width, height, expected):
    measured = site(
        "11",
        defect_width_mm=Decimal(width) if width else None,
        defect_height_mm=Decimal(height) if height else None,
    )
    assert code("MEMBRANE_SIZED", measured, procedure="SKG") == expected


def test_the_usual_defect_needs_what_the_trade_calculates():
    # Trade reference 1.7 and 4.4: upper incisor, usual: 12 × 23.4 mm, next 30 × 40.
    [answer] = asked("MEMBRANE_SIZED", site("11"), procedure="SKG")
    assert "12.0 × 23.4 mm" in answer.note
    assert code("MEMBRANE_NEXT", site("11"), procedure="SKG") == "MEM-RC-3040"


def test_two_neighbours_share_a_wider_sheet_and_distant_sites_do_not():
    # Trade reference 4.4: two neighbours as one, 20 x 25.3 mm with a defect of 14 x 9: 20 x 30 edge to edge.
    pair = (site("11", id=1, defect_height_mm=Decimal(9)), site("12", id=2, defect_height_mm=Decimal(9)))
    [answer] = asked("MEMBRANE_SIZED", *pair, procedure="DELG")
    assert "needs 20.0 ×" in answer.note
    [apart] = asked("MEMBRANE_SIZED", site("11", id=1), site("36", id=2), procedure="DELG")
    assert "needs 12.0 ×" in apart.note


def test_declined_porcine_brings_dense_ptfe():
    porcine = frozenset({"porcine"})
    # Trade reference 4.4, column "Dense PTFE": 12 x 24 covers the usual defect.
    assert code("MEMBRANE_SIZED", site("11"), procedure="SKG", declined=porcine) == "MEM-PT-1224"
    [answer] = asked("MEMBRANE_SIZED", site("11"), procedure="SKG", declined=porcine)
    assert "removal visit" in answer.note


def test_the_largest_sheet_has_no_next():
    [answer] = asked(
        "MEMBRANE_NEXT",
        site("11", defect_width_mm=Decimal(16), defect_height_mm=Decimal(12)),
        procedure="SKG",
    )
    assert answer.item is None and "largest sheet" in answer.unresolved and not answer.blocking


def test_a_persons_choice_goes_before_the_rule():
    chosen = {("GRAFT_SIZED", 1): ((ITEMS["GRF-XB-100"], 2),)}
    [answer] = asked("GRAFT_SIZED", site("11"), procedure="SKG", choices=chosen)
    assert (answer.item.code, answer.quantity) == ("GRF-XB-100", 2)
    assert code("GRAFT_NEXT", site("11"), procedure="SKG", choices=chosen) == "GRF-XB-100"


def test_gloves_come_from_the_card_and_else_the_usual_size():
    cards = {"clinician_prefers": {"GLOVE": ITEMS["PPE-SG80"]}, "clinician": "Dr A. Tessamore"}
    assert code("GLOVE_CLIN", **cards) == "PPE-SG80"
    [answer] = asked("GLOVE_ASST", **cards)
    assert answer.item.code == "PPE-SG75" and "no preference card" in answer.note
    assert code("NITRILE") == "PPE-NGM"


def test_an_unknown_slot_is_a_question():
    [answer] = asked("ROBOT")
    assert answer.blocking and "ROBOT" in answer.unresolved


def test_sites_group_into_segments_sinuses_and_arches():
    sites = tuple(site(tooth, id=number) for number, tooth in enumerate(("16", "15", "13", "26", "36")))
    assert [[s.tooth for s in run] for run in segments(sites)] == [["16", "15"], ["13"], ["26"], ["36"]]
    assert [[s.tooth for s in group] for group in sinuses(sites[:4])] == [["16", "15", "13"], ["26"]]
    assert [len(group) for group in arches(sites)] == [4, 1]
