"""Two people at the same tray at the same moment, with connections of their own."""

import threading

import pytest
from django.db import connection, connections

from kits import closing, picking
from kits.models import TrayUnit
from practice.refusals import Refusal
from stock.models import Entry
from stock.verification import verify_ledger
from tests.builders import NOW, TODAY
from tests.kits import builders_kits

pytestmark = pytest.mark.django_db(transaction=True)


def together(*acts):
    """Run acts at once, each with its own connection; returns what each came to: "done" or the refusal."""
    start, came_to = threading.Barrier(len(acts)), [None] * len(acts)

    def run(number, act):
        try:
            start.wait(timeout=20)
            act()
            came_to[number] = "done"
        except Refusal as refusal:
            came_to[number] = refusal
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(acts)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    # Anything but an answer (a lock-out, a crash) shows as None.
    assert None not in came_to
    return came_to


@pytest.fixture
def tray():
    if connection.vendor == "sqlite" and "memory" in str(connection.settings_dict["NAME"]):
        pytest.fail("Parallel writers need a database file; see the test settings.")
    kits = builders_kits.kits()
    case = kits.case("SKG")
    return kits, picking.begin(case=case, by=kits.cast.assistant, at=NOW)


def test_the_last_place_on_a_line_is_filled_once(tray):
    kits, case = tray
    lots = [kits.stock("MEM-RC-2030", number=f"L-{number}") for number in range(2)]
    line = case.tray_lines.get(item__code="MEM-RC-2030")

    def put(lot):
        return lambda: picking.put_on_tray(
            line=line, lot=lot, place=kits.cast.stockroom, quantity=1, scanned=True, by=None, at=NOW
        )

    came_to = together(*map(put, lots))
    assert came_to.count("done") == 1
    assert TrayUnit.objects.filter(line=line).count() == 1
    assert kits.at(kits.cast.tray, "MEM-RC-2030") == 1
    assert verify_ledger().differences == []


def test_one_unit_is_recorded_once_however_many_record_it(tray):
    kits, case = tray
    kits.stock("MEM-RC-2030", 3, number="L-1")
    unit = picking.scan(case=case, text="L-1", by=None, at=NOW, today=TODAY).unit

    def record(outcome, **facts):
        return lambda: closing.record(unit=unit, outcome=outcome, quantity=1, by=None, at=NOW, **facts)

    came_to = together(record("used"), record("wasted", reason="dropped"), record("put-back"))
    assert came_to.count("done") == 1
    assert Entry.objects.filter(kind__in=["use", "waste", "put-back"]).count() in (1, 2)
    unit.refresh_from_db()
    assert unit.outcome != ""
    assert verify_ledger().differences == []
