"""Who may reach the case pages: the same ladder for every address."""

import pytest

from kits.models import Case
from practice.models import Patient
from tests.kits.builders_pages import stop_clock, url

pytestmark = pytest.mark.django_db

# Address, whether it takes a POST only, and whether a reader may use it.
CASE_PAGES = [
    ("case", False, True),
    ("pick_list", False, True),
    ("pick_scan", True, False),
    ("pick_tick", True, False),
    ("pick_by_hand", False, False),
    ("pick_start", True, False),
    ("pick_finding", True, False),
    ("pick_open", True, False),
    ("case_plan", True, False),
    ("case_site", True, False),
    ("case_choose", True, False),
    ("case_finding", True, False),
    ("case_move", False, False),
    ("case_cancel", True, False),
    ("close_record", True, False),
    ("close_undo", True, False),
    ("close_rest", True, False),
    ("close_room", True, False),
    ("close_scan", True, False),
    ("close_done", True, False),
]
LISTS = ["today", "gather", "cases", "patients"]
NAMES = [name for name, _, _ in CASE_PAGES]


@pytest.fixture(autouse=True)
def still(monkeypatch):
    stop_clock(monkeypatch)


@pytest.fixture
def case(stocked):
    return stocked.case("SKG")


def visit(client, name, case):
    post_only = {page: only for page, only, _ in CASE_PAGES}[name]
    address = url(name, case.code)
    return client.post(address) if post_only else client.get(address)


@pytest.mark.parametrize("name", NAMES)
def test_nobody_is_sent_to_sign_in(client, case, name):
    answer = visit(client, name, case)
    assert answer.status_code == 302 and answer["Location"].startswith("/sign-in/")


@pytest.mark.parametrize("name", NAMES)
def test_a_stranger_is_turned_away(sign_in, stocked, case, name):
    assert visit(sign_in(stocked.cast.stranger), name, case).status_code == 403


@pytest.mark.parametrize("name", NAMES)
def test_the_other_clinic_does_not_see_that_it_exists(sign_in, stocked, case, name):
    assert visit(sign_in(stocked.cast.other_assistant), name, case).status_code == 404


@pytest.mark.parametrize(("name", "post_only", "readable"), CASE_PAGES)
def test_a_reader_looks_and_changes_nothing(sign_in, stocked, case, name, post_only, readable):
    answer = visit(sign_in(stocked.cast.reader), name, case)
    assert answer.status_code == (200 if readable else 403)
    assert Case.objects.get(pk=case.pk).state == "booked"


@pytest.mark.parametrize("name", [name for name, post_only, _ in CASE_PAGES if post_only])
def test_changes_are_posted(sign_in, stocked, case, name):
    assert sign_in(stocked.cast.assistant).get(url(name, case.code)).status_code == 405


@pytest.mark.parametrize("name", ["pick_list", "case_close", "today", "cases", "patients"])
def test_pages_to_look_at_take_no_post(sign_in, stocked, case, name):
    args = [case.code] if name in ("pick_list", "case_close") else []
    assert sign_in(stocked.cast.assistant).post(url(name, *args)).status_code == 405


@pytest.mark.parametrize("name", LISTS)
def test_lists_are_for_members(client, sign_in, stocked, name):
    assert client.get(url(name)).status_code == 302
    assert sign_in(stocked.cast.stranger).get(url(name)).status_code == 403
    assert sign_in(stocked.cast.reader).get(url(name)).status_code == 200


def test_patients_of_another_practice_do_not_exist(sign_in, stocked):
    other = type(stocked.cast.practice).objects.create(name="Another practice", short_name="Another")
    Patient.objects.create(practice=other, chart_number="X-1")
    client = sign_in(stocked.cast.assistant)
    for name in ("patient", "patient_record", "patient_card"):
        assert client.get(url(name, "X-1")).status_code == 404
        assert client.get(url(name, stocked.cast.patient.chart_number)).status_code == 200
