"""Reading, converting and naming teeth."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from practice import teeth
from practice.teeth import FDI, UNIVERSAL, UnknownNotation, UnknownTooth

EVERY_TOOTH = sorted(set(teeth.UPPER + teeth.LOWER + teeth.UPPER_PRIMARY + teeth.LOWER_PRIMARY))


@pytest.mark.parametrize(
    ("text", "notation", "fdi"),
    [
        ("#4", UNIVERSAL, "15"),
        ("04", UNIVERSAL, "15"),
        ("4.0", UNIVERSAL, "15"),
        (" # 19 ", UNIVERSAL, "36"),
        ("k", UNIVERSAL, "75"),
        ("T", UNIVERSAL, "85"),
        ("11", FDI, "11"),
        ("#11", FDI, "11"),
        ("11.0", FDI, "11"),
        ("85", FDI, "85"),
        ("11", "Universal", "23"),
    ],
)
def test_one_tooth_is_read(text, notation, fdi):
    assert teeth.read_tooth(text, notation) == fdi


@pytest.mark.parametrize(
    ("text", "notation", "fdi"),
    [
        ("#11, #20", UNIVERSAL, ("23", "35")),
        ("11, 21", FDI, ("11", "21")),
        ("11;21", FDI, ("11", "21")),
        ("11 21 22", FDI, ("11", "21", "22")),
        ("#4 and #8", UNIVERSAL, ("15", "11")),
        ("4 & 8 / 9", UNIVERSAL, ("15", "11", "21")),
        ("# 4,# 4", UNIVERSAL, ("15",)),
        ("#4-#7", UNIVERSAL, ("15", "14", "13", "12")),
        ("7 to 9, 30", UNIVERSAL, ("12", "11", "21", "46")),
        ("12 – 21", FDI, ("12", "11", "21")),
        ("21-12", FDI, ("21", "11", "12")),
        ("A-C", UNIVERSAL, ("55", "54", "53")),
        ("34\n35", FDI, ("34", "35")),
        ("", FDI, ()),
        (" , ", FDI, ()),
    ],
)
def test_a_list_is_read(text, notation, fdi):
    assert teeth.read_teeth(text, notation) == fdi


@pytest.mark.parametrize(
    ("text", "notation", "bad"),
    [
        ("#99", UNIVERSAL, "#99"),
        ("#30, #33", UNIVERSAL, "#33"),
        ("0", UNIVERSAL, "0"),
        ("U", UNIVERSAL, "U"),
        ("4.5", UNIVERSAL, "4.5"),
        ("11, 19", FDI, "19"),
        ("4", FDI, "4"),
        ("K", FDI, "K"),
        ("011", FDI, "011"),
        ("١١", FDI, "١١"),
        ("upper left", FDI, "upper"),
        ("11-", FDI, "11-"),
    ],
)
def test_a_wrong_tooth_is_named(text, notation, bad):
    with pytest.raises(UnknownTooth) as raised:
        teeth.read_teeth(text, notation)
    assert raised.value.value == bad
    assert f"“{bad}”" in str(raised.value)
    assert str(raised.value).endswith(".")


def test_a_range_across_the_jaws_is_refused():
    with pytest.raises(UnknownTooth, match="one jaw"):
        teeth.read_teeth("14-19", UNIVERSAL)
    with pytest.raises(UnknownTooth, match="one jaw"):
        teeth.read_teeth("15-55", FDI)


def test_an_unknown_notation_is_refused():
    for call in (lambda: teeth.read_teeth("11", "roman"), lambda: teeth.show("11", "roman")):
        with pytest.raises(UnknownNotation, match="roman"):
            call()


@pytest.mark.parametrize(
    ("fdi", "words"),
    [
        ("14", "upper right first premolar"),
        ("21", "upper left central incisor"),
        ("36", "lower left first molar"),
        ("48", "lower right third molar"),
        ("55", "upper right primary second molar"),
        ("63", "upper left primary canine"),
        ("74", "lower left primary first molar"),
        ("81", "lower right primary central incisor"),
    ],
)
def test_a_tooth_is_spoken(fdi, words):
    assert teeth.spoken(fdi) == words


def test_every_tooth_has_its_own_name_and_number():
    assert len(EVERY_TOOTH) == 52
    assert len({teeth.spoken(fdi) for fdi in EVERY_TOOTH}) == 52
    assert len({teeth.show(fdi, UNIVERSAL) for fdi in EVERY_TOOTH}) == 52


def test_what_is_not_an_fdi_number_is_refused_everywhere():
    for verb in (teeth.spoken, teeth.kind, teeth.is_primary, teeth.is_upper, lambda t: teeth.show(t, FDI)):
        with pytest.raises(UnknownTooth):
            verb("19")


def test_the_jaw_and_the_dentition_are_told():
    assert [f for f in EVERY_TOOTH if teeth.is_upper(f)] == sorted(teeth.UPPER + teeth.UPPER_PRIMARY)
    assert [f for f in EVERY_TOOTH if teeth.is_primary(f)] == sorted(
        teeth.UPPER_PRIMARY + teeth.LOWER_PRIMARY
    )


@given(st.sampled_from(EVERY_TOOTH), st.sampled_from([FDI, UNIVERSAL]))
def test_showing_and_reading_are_inverse(fdi, notation):
    assert teeth.read_tooth(teeth.show(fdi, notation), notation) == fdi


@given(st.lists(st.sampled_from(EVERY_TOOTH), unique=True), st.sampled_from([FDI, UNIVERSAL]))
def test_a_shown_list_reads_back(chosen, notation):
    assert teeth.read_teeth(teeth.show_teeth(chosen, notation), notation) == tuple(chosen)


@given(st.text(max_size=30), st.sampled_from([FDI, UNIVERSAL]))
def test_any_text_is_read_or_refused_by_name(text, notation):
    try:
        found = teeth.read_teeth(text, notation)
    except UnknownTooth:
        return
    assert all(teeth.is_tooth(fdi) for fdi in found)
