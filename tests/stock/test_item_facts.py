"""Facts of size read from catalogue text; the demo catalogue's own words, expected by eye."""

from decimal import Decimal as D

import pytest

from stock.item_facts import approver_of, is_rescue, size_facts

CASES = [
    (
        (
            "Implant, tapered titanium, 4.3 x 11.5 mm, conical regular (CR)",
            "4.3 x 11.5 mm; conical regular (CR)",
        ),
        ("Implant", "IMPLANT-CR"),
        {"diameter_mm": D("4.3"), "length_mm": D("11.5"), "connection": "CR"},
    ),
    (
        ("Healing abutment 5 mm tall, conical narrow (CN)", "conical narrow (CN) h5"),
        ("Healing and cover", "HEAL-CN"),
        {"connection": "CN", "height_mm": D(5)},
    ),
    (
        ("Membrane, dense PTFE non-resorbable, 25 x 30 mm", "25 x 30 mm; needs removal visit 21-28 d"),
        ("Membrane", "MEM-PT"),
        {"width_mm": D(25), "height_mm": D(30), "resorbable": False},
    ),
    (
        ("Membrane, long-lasting cross-linked collagen, 20 x 30 mm", "20 x 30 mm; 4-6 month barrier"),
        ("Membrane", "MEM-RX"),
        {"width_mm": D(20), "height_mm": D(30), "resorbable": True},
    ),
    (
        ("Membrane, human pericardium, 20 x 30 mm", "20 x 30 mm"),
        ("Membrane", "MEM-PC"),
        {"width_mm": D(20), "height_mm": D(30), "resorbable": True},
    ),
    # Grams and cc stand side by side; a density in the text is neither.
    (
        ("Xenograft, bovine, 0.25 g vial", "0.25 g = about 0.5 cc (planning figure 0.5 g per cc)"),
        ("Bone graft", "GRAFT-XB"),
        {"mass_g": D("0.25"), "volume_cc": D("0.5")},
    ),
    (
        ("Xenograft with collagen, block 250 mg", "250 mg (about 0.5 cc)"),
        ("Bone graft", "GRAFT-XC"),
        {"mass_g": D("0.25"), "volume_cc": D("0.5")},
    ),
    (
        ("Allograft, 0.5 cc vial", "0.5 cc (about 0.30 g; density varies by product)"),
        ("Bone graft", "GRAFT-AL"),
        {"mass_g": D("0.30"), "volume_cc": D("0.5")},
    ),
    (("Blood collection tube, 10 mL", "10 mL"), ("Bone graft", "PRF"), {}),
    (("Sterile gloves, size 7.5", "7.5"), ("PPE", "GLOVE-S"), {"size_label": "7.5"}),
    (
        ("Suture, PTFE monofilament 4-0, 45 cm", "PTFE monofilament 4-0"),
        ("Suture", "SUT-NR"),
        {"size_label": "4-0", "resorbable": False},
    ),
    (
        ("Suture, Chromic gut 5-0, 45 cm", "Chromic gut 5-0"),
        ("Suture", "SUT-AB"),
        {"size_label": "5-0", "resorbable": True},
    ),
    (("Examination set", "demo practice owns 16"), ("Instrument set (reusable)", "SET"), {"sets_owned": 16}),
]


@pytest.mark.parametrize(("texts", "kind", "facts"), CASES, ids=[case[0][0][:30] for case in CASES])
def test_sizes_are_read_from_the_text(texts, kind, facts):
    name, spec = texts
    category, group = kind
    assert size_facts(name=name, spec=spec, category=category, group=group) == facts


@pytest.mark.parametrize(
    ("rule", "category", "who"),
    [
        ("Larger membrane of the same class may be trimmed down. Two overlapped only on clinician decision",
         "Membrane", "assistant"),
        ("Larger may be trimmed down. Frame shape matters: clinician confirms", "Membrane", "clinician"),
        ("Same material: two smaller vials for one larger", "Bone graft", "assistant"),
        ("Bovine particulate of same volume after clinician sign-off", "Bone graft", "clinician"),
        ("Same connection only. Neighbouring length ONLY on clinician decision", "Implant", "clinician"),
        ("None; case goes ahead without only if clinician agrees", "Bone graft", "clinician"),
        ("None: platform and abutment specific", "Prosthetic", "never"),
        ("Other platform never", "Healing and cover", "never"),
        ("", "Membrane", "never"),
        ("Half size up", "PPE", "assistant"),
        # What goes into or stays in the patient is the clinician's unless the rule says otherwise.
        ("Autogenous graft otherwise", "Soft tissue matrix", "clinician"),
    ],
)  # fmt: skip
def test_the_approver_is_guessed_from_the_rule(rule, category, who):
    assert approver_of(rule, category=category) == who


def test_the_widest_implants_and_the_largest_sheet_are_kept_for_rescue():
    assert is_rescue(category="Implant", facts={"diameter_mm": D("6.0")})
    assert not is_rescue(category="Implant", facts={"diameter_mm": D("5.0")})
    sheet = {"width_mm": D(30), "height_mm": D(40), "resorbable": True}
    assert is_rescue(category="Membrane", facts=sheet)
    assert not is_rescue(category="Membrane", facts=sheet | {"resorbable": False})
