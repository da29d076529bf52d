"""ready, thin or cannot start: the word, the sentence and the line it hangs on."""

import pytest

from kits.finding_words import FINDINGS
from kits.pick_values import PickLine
from kits.readiness import readiness
from tests.kits.builders_kits import unsaved_catalogue

ITEMS = unsaved_catalogue()


def line(code="MEM-RC-2030", **facts) -> PickLine:
    item = ITEMS[code]
    facts = {"key": code, "item": item, "description": item.name, "quantity": 1} | facts
    return PickLine(**facts)


def test_everything_in_reach_is_ready():
    found = readiness([line(), line("SUT-PT4")])
    assert (found.word, found.line, found.probability) == ("ready", None, 1.0)


# By criticality: A stops the case, B leaves it thin, C leaves it ready (trade reference 2.6).
@pytest.mark.parametrize(
    ("code", "word"),
    [("MEM-RC-2030", "cannot start"), ("SUT-PT4", "thin"), ("PPE-CAP", "ready"), ("DRG-ART", "cannot start")],
)
def test_a_short_line_counts_by_its_item(code, word):
    found = readiness([line(code, short=1)])
    assert found.word == word
    assert found.sentence.endswith(".")


def test_a_reserve_that_stops_a_case_names_its_finding():
    plate = FINDINGS["F-FPM"]
    found = readiness([line(short=1, certain=False, chance=0.3, finding=plate)])
    assert found.word == "cannot start" and "if the facial plate is missing" in found.sentence


def test_the_worst_line_decides():
    stops = line(short=1)
    found = readiness([line("SUT-PT4", short=1), stops])
    assert found.line == stops and found.probability == 0.0


def test_a_thin_case_says_the_rule_that_covers_it():
    found = readiness([line("SUT-PT4", short=2, quantity=3)])
    assert "2 of 3 are missing" in found.sentence and "One size either way" in found.sentence


def test_a_shared_reserve_is_thin_with_its_chance():
    found = readiness([line(shared=1, certain=False, chance=0.3, chance_free=0.7)])
    # It is missing only if both need it: 1 - 0.3 × 0.3.
    assert (found.word, found.probability) == ("thin", pytest.approx(0.91))


def test_a_question_of_the_plan_comes_before_any_shortage():
    asked = line(unresolved="Choose the implant for 36.", blocking=True)
    found = readiness([line(short=1), asked])
    assert (found.word, found.sentence, found.line) == ("cannot start", "Choose the implant for 36.", asked)


def test_an_option_nobody_decided_blocks_nothing():
    assert readiness([line("PRF-TUB", undecided=True)]).word == "ready"
    group = [
        line(code, undecided=True, choose_one_group="RDG-MEM", tooth="11")
        for code in ("MEM-RX-3040", "MEM-TR-2530")
    ]
    found = readiness(group)
    assert found.word == "cannot start" and found.sentence.startswith("Choose one for 11: ")


def test_what_is_on_the_tray_or_not_needed_is_not_short():
    assert readiness([line(short=1, known=False)]).word == "ready"
    assert readiness([line(short=1, set_out="room stock")]).word == "ready"
