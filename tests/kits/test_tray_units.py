"""Decisions about units on a tray are found in the ledger by their case, however long the ledger is."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from kits import closing
from kits.tray_units import decision_entry, decision_key, standing_decisions
from tests.builders import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture
def case(stocked):
    return stocked.fill_tray(stocked.case("SKG"))


def test_a_decision_is_found_until_it_is_undone(stocked, case):
    unit = stocked.unit(case, "GRF-AL-050")
    assert standing_decisions(case) == set() and decision_entry(unit) is None
    first = decision_key(unit)
    unit = closing.record(unit=unit, outcome="used", quantity=1, by=stocked.cast.assistant, at=NOW)
    assert standing_decisions(case) == {unit.pk}
    assert decision_entry(unit).key == first
    closing.undo(unit=unit, by=stocked.cast.assistant, at=NOW)
    assert standing_decisions(case) == set() and decision_entry(unit) is None
    # A second decision has a key of its own, or the ledger would take it for the first said twice.
    assert decision_key(unit) != first


def test_other_cases_have_decisions_of_their_own(stocked, case):
    other = stocked.fill_tray(stocked.case("SKG", hour=14, teeth=("12",)))
    unit = stocked.unit(case, "GRF-AL-050")
    closing.record(unit=unit, outcome="used", quantity=1, by=stocked.cast.assistant, at=NOW)
    assert standing_decisions(other) == set()


@pytest.mark.parametrize(
    "ask", [decision_key, decision_entry, lambda unit: standing_decisions(unit.line.case)]
)
def test_the_ledger_is_asked_for_one_case_only(stocked, case, ask):
    unit = stocked.unit(case, "GRF-AL-050")
    with CaptureQueriesContext(connection) as seen:
        ask(unit)
    asked = [query["sql"] for query in seen.captured_queries if 'FROM "stock_entry"' in query["sql"]]
    assert len(asked) == 1
    # The case's label is indexed; on SQLite the start of a key is not, and "corrects nothing" misleads it.
    assert f'"stock_entry"."source" = \'case:{case.code}\'' in asked[0]
    assert '"corrects_id" IS NULL' not in asked[0]
