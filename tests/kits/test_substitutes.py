"""The substitution rules of trade reference 2.5, as far as an assistant may use them."""

import pytest

from kits.substitutes import verdict
from tests.kits.builders_kits import unsaved_catalogue

ITEMS = unsaved_catalogue()


# Wanted, offered, allowed for an assistant, units for one: trade reference 2.5.
@pytest.mark.parametrize(
    ("wanted", "offered", "allowed", "quantity"),
    [
        ("MEM-RC-1520", "MEM-RC-2030", True, 1),
        ("MEM-RC-1520", "MEM-RC-3040", True, 1),
        ("MEM-RC-2030", "MEM-RC-1520", False, 0),
        ("MEM-RC-2030", "MEM-RX-2030", False, 0),
        ("MEM-RX-2030", "MEM-RC-2030", False, 0),
        ("MEM-PT-1224", "MEM-TR-1224", False, 0),
        ("MEM-RC-2030", "HEM-GEL", False, 0),
        ("GRF-AL-100", "GRF-AL-050", True, 2),
        ("GRF-AL-100", "GRF-AL-025", True, 4),
        ("GRF-AL-100", "GRF-AL-200", True, 1),
        ("GRF-AL-050", "GRF-XB-050", False, 0),
        ("GRF-SY-050", "GRF-AL-050", False, 0),
        ("IMP-CR-43-100", "IMP-CR-43-115", False, 0),
        ("IMP-CR-43-100", "IMP-CW-50-100", False, 0),
        ("HAB-CR-3", "HAB-CR-5", False, 0),
        ("HAB-CR-3", "CVS-CR", False, 0),
        ("PRO-SC-CR", "PRO-SC-CW", False, 0),
        ("DRG-SA1", "DRG-SA5", True, 2),
        ("DRG-SA5", "DRG-SA1", True, 1),
        ("DRG-ART", "DRG-LID", False, 0),
        ("SUT-PT4", "SUT-PT5", False, 0),
        ("PPE-SG70", "PPE-SG75", False, 0),
    ],
)
def test_rules(wanted, offered, allowed, quantity):
    found = verdict(ITEMS[wanted], ITEMS[offered])
    assert (found.allowed, found.quantity) == (allowed, quantity)
    assert found.sentence.endswith(".")


def test_a_refusal_names_who_decides():
    assert "the clinician decides" in verdict(ITEMS["HAB-CR-3"], ITEMS["HAB-CR-5"]).sentence
    assert "smaller than the sheet" in verdict(ITEMS["MEM-RC-2030"], ITEMS["MEM-RC-1520"]).sentence
    assert "trimmed" in verdict(ITEMS["MEM-RC-1520"], ITEMS["MEM-RC-2030"]).sentence
