"""Reading a file of bills: every line understood or reported, nothing dropped."""

from decimal import Decimal

import pytest

from kits.finding_words import FINDINGS, words_for
from kits.procedure_facts import PROCEDURES, checkpoint_for, facts_of
from kits.reading_boms import digest, read_boms
from tests.kits.builders_kits import FIXTURES

HEADER = (
    "procedure_code,procedure,item_code,item,basis,qty,unit,certain_or_reserve,probability,finding,"
    "choose_one_group,pull,module,notes"
)
GOOD = "SKG,Extraction,COL-PLG,Plug,site,1,each,reserve,0.3,F-FPM,,sealed on trolley,,"


def read(*rows: str, known=frozenset({"COL-PLG"})):
    text = "\n".join((HEADER, *rows))
    return read_boms(text.encode(), filename="bills.csv", known_items=known)


@pytest.fixture(scope="module")
def trade():
    data = (FIXTURES / "boms.csv").read_bytes()
    codes = {row.split(",")[2] for row in data.decode("utf-8-sig").splitlines()[1:]}
    return read_boms(data, filename="boms.csv", known_items=frozenset(codes))


def test_the_whole_trade_file_is_understood(trade):
    # Counts stated by the file's own description: 857 rows, 648 certain and 209 reserve, 19 procedures.
    assert trade.problems == ()
    assert (trade.read, len(trade.lines)) == (857, 857)
    assert sum(line.certain for line in trade.lines) == 648
    assert len(trade.by_procedure()) == 19
    assert all(line.understood.endswith(".") for line in trade.lines)


def test_every_procedure_and_finding_of_the_trade_file_has_words(trade):
    assert {line.finding for line in trade.lines if line.finding} <= set(FINDINGS)
    assert set(trade.by_procedure()) == set(PROCEDURES)


def test_every_sealed_checkpoint_line_says_what_it_waits_for(trade):
    waiting = {line.procedure_code for line in trade.lines if line.set_out == "sealed until checkpoint"}
    for code in waiting:
        assert checkpoint_for(code, "graft") != "" and checkpoint_for(code, "implant") != ""


def test_a_line_is_told_back_in_a_sentence():
    [line] = read(GOOD).lines
    assert line.understood == (
        "SKG: 1 each of COL-PLG per site, if the facial plate is missing (30 in 100), sealed on trolley."
    )
    [slot] = read(GOOD.replace("COL-PLG", "SLOT:GRAFT_NEXT")).lines
    assert (slot.slot, slot.item_code) == ("GRAFT_NEXT", "")
    assert "the slot GRAFT_NEXT" in slot.understood


def test_the_digest_is_the_same_for_the_same_lines_wherever_they_stand():
    one = read(GOOD).lines
    moved = read("XTR,Extraction,COL-PLG,Plug,case,1,each,certain,1,,,open,,", GOOD).by_procedure()["SKG"]
    changed = read(GOOD.replace("0.3", "0.4")).lines
    assert digest(one) == digest(moved) != digest(changed)


@pytest.mark.parametrize(
    ("old", "new", "column", "reason"),
    [
        ("COL-PLG", "COL-XXX", "item_code", "not in the catalogue"),
        (",site,", ",mouth,", "basis", "one of: case, site, implant, graft, arch"),
        (",1,each", ",0,each", "qty", "above zero"),
        (",1,each", ",some,each", "qty", "not a number"),
        ("reserve", "maybe", "certain_or_reserve", "certain, reserve"),
        ("0.3", "1.5", "probability", "at most 1"),
        ("0.3", "0", "probability", "above 0"),
        ("F-FPM", "", "finding", "needs the finding"),
        ("sealed on trolley", "under the bed", "pull", "one of: open"),
        ("SKG,Extraction", ",Extraction", "procedure_code", "missing"),
    ],
)
def test_a_bad_cell_is_a_problem_with_row_column_value_and_reason(old, new, column, reason):
    found = read(GOOD.replace(old, new, 1))
    [problem] = found.problems
    assert (found.lines, problem.row, problem.column) == ((), 2, column)
    assert reason in problem.reason


def test_a_group_whose_members_add_up_to_more_than_certainty_is_a_problem():
    row = GOOD.replace("F-FPM,,", "F-FPM,SKG-COVER,").replace("0.3", "0.6")
    [problem] = read(row, row).problems
    assert (problem.row, problem.column) == (3, "probability")
    assert "1.2" in problem.reason


def test_an_unknown_finding_still_gets_words():
    words, known = words_for("F-ODD")
    assert not known and words.condition == "If “odd” is found"
    assert facts_of("NEW").minutes == 60


def test_quantities_keep_their_fractions():
    [line] = read(GOOD.replace(",1,each", ",0.3,cartridge")).lines
    assert line.quantity == Decimal("0.3")
