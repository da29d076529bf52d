"""Tooth numbers against the crosswalk of the HL7 dental data exchange guide and ISO 3950."""

import json
from pathlib import Path

import pytest

from practice import teeth

FIXTURE = Path(__file__).parents[2] / "fixtures" / "reference" / "tooth_notation.json"
ROWS = {row["id"]: row for row in json.loads(FIXTURE.read_text(encoding="utf-8"))}

# Source: HL7/dental-data-exchange, d1_crosswalk_of_all_teeth.md (2ae5f3d); ISO 3950. Row T is from memory.
CROSSWALK = [
    pair
    for table in ("universal-to-fdi-permanent", "universal-to-fdi-primary")
    for pair in ROWS[table]["expected"].items()
]


def test_the_crosswalk_is_whole():
    assert len(CROSSWALK) == 32 + 20


@pytest.mark.parametrize(("universal", "fdi"), CROSSWALK)
def test_universal_and_fdi_agree_with_the_crosswalk(universal, fdi):
    assert teeth.read_tooth(universal, teeth.UNIVERSAL) == fdi
    assert teeth.show(fdi, teeth.UNIVERSAL) == universal
    assert teeth.read_tooth(fdi, teeth.FDI) == fdi


# Source: follows from the digit ranges of ISO 3950; the list itself is from memory.
@pytest.mark.parametrize("code", ROWS["invalid-fdi"]["input"]["fdi"])
def test_codes_outside_iso_3950_are_refused(code):
    assert not teeth.is_tooth(code)
    with pytest.raises(teeth.UnknownTooth):
        teeth.read_tooth(code, teeth.FDI)


# Source: the closed form of the permanent numbering, computed; it equals the crosswalk.
@pytest.mark.parametrize("number", range(1, 33))
def test_the_closed_form_of_the_permanent_teeth(number):
    quadrant = (number - 1) // 8
    fdi = (10 + (9 - number), 20 + (number - 8), 30 + (25 - number), 40 + (number - 24))[quadrant]
    assert teeth.read_tooth(str(number), teeth.UNIVERSAL) == str(fdi)
