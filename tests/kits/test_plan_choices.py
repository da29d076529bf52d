"""Taking back what was chosen for a case: by the verb, and on its page."""

import datetime as dt

import pytest

from kits import chairside, picking
from kits.chairside import OtherCase
from kits.models import Case, PlanChoice
from kits.plan_choices import NothingChosen, withdraw_choice
from kits.scheduling import choose
from kits.tray import TakeOffFirst, WrongState
from practice.models import AuditEntry
from tests.builders import NOW, TODAY
from tests.kits.builders_pages import LATER, stop_clock, text_of, url

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def still(monkeypatch):
    stop_clock(monkeypatch)


def chosen(stocked, case, *, answer=1):
    """The practice's tubes are planned for a case, or planned away."""
    facts = {"case": case, "subject": "plan:PRF-TUB", "by": stocked.cast.clinician, "at": NOW}
    return choose(**facts, item=stocked.items["PRF-TUB"], quantity=answer)


def codes(case):
    fresh = Case.objects.get(pk=case.pk)
    lines = picking.pick_list(case=fresh, today=TODAY).lines
    return {line.item.code for line in lines if line.item is not None and line.is_wanted}


def test_a_choice_is_taken_back_and_open_again(stocked):
    case = stocked.case("SKG")
    chosen(stocked, case)
    assert "PRF-TUB" in codes(case)
    facts = {"case": case, "subject": "plan:PRF-TUB", "by": stocked.cast.clinician, "at": LATER}
    withdraw_choice(**facts)
    assert not PlanChoice.objects.exists() and "PRF-TUB" not in codes(case)
    asked = [line.item.code for line in picking.pick_list(case=case, today=TODAY).decide if line.item]
    assert "PRF-TUB" in asked
    entry = AuditEntry.objects.get(action="case.withdraw-choice")
    assert (entry.subject, entry.by, entry.at) == (case.code, stocked.cast.clinician, LATER)
    assert entry.facts["what"] == "plan:PRF-TUB"
    case.refresh_from_db()
    assert case.changed_at == LATER
    with pytest.raises(NothingChosen, match="Load the page again"):
        withdraw_choice(**facts)


def test_only_the_choice_of_that_site_is_taken_back(stocked):
    case = stocked.case("SKG", teeth=("11", "12"))
    facts = {"case": case, "subject": "GRAFT_SIZED", "by": stocked.cast.clinician, "at": NOW}
    for site in case.sites.all():
        choose(**facts, item=stocked.items["GRF-XB-050"], site=site)
    first, second = case.sites.all()
    withdraw_choice(**facts, site=first)
    assert [choice.site for choice in case.choices.all()] == [second]
    with pytest.raises(OtherCase):
        withdraw_choice(**facts, site=stocked.case("SKG", teeth=("21",)).sites.get())


def test_what_lies_on_the_tray_is_taken_off_first(stocked):
    case = stocked.case("SKG")
    chosen(stocked, case)
    stocked.stock("PRF-TUB", 4)
    stocked.fill_tray(case)
    with pytest.raises(TakeOffFirst):
        _needing_another_item(stocked, case)
    chairside.start_surgery(case=case, by=None, at=NOW)
    with pytest.raises(WrongState, match="change its plan"):
        withdraw_choice(case=case, subject="plan:PRF-TUB", by=None, at=NOW + dt.timedelta(hours=1))
    assert PlanChoice.objects.exists()


def _needing_another_item(stocked, case):
    """Change the graft that lies on the tray by a choice."""
    facts = {"case": case, "subject": "GRAFT_SIZED", "by": None, "at": LATER}
    choose(**facts, item=stocked.items["GRF-XB-050"], site=case.sites.get())


def test_the_page_takes_a_choice_back(sign_in, stocked):
    case = stocked.case("SKG")
    choice = chosen(stocked, case, answer=0)
    client = sign_in(stocked.cast.clinician)
    address = url("case_withdraw", case.code)
    assert address in text_of(client.get(url("case", case.code)))
    answer = client.post(address, {"choice": choice.pk}, follow=True)
    assert "Taken back; the pick list follows it." in text_of(answer)
    assert not PlanChoice.objects.exists()
    assert client.post(address, {"choice": choice.pk}).status_code == 404


def test_who_may_not_take_a_choice_back(sign_in, stocked):
    case = stocked.case("SKG")
    choice = chosen(stocked, case)
    address = url("case_withdraw", case.code)
    assert sign_in(stocked.cast.reader).post(address, {"choice": choice.pk}).status_code == 403
    assert sign_in(stocked.cast.stranger).post(address, {"choice": choice.pk}).status_code == 403
    assert sign_in(stocked.cast.clinician).get(address).status_code == 405
    elsewhere = stocked.case("SKG", teeth=("21",))
    assert (
        sign_in(stocked.cast.clinician)
        .post(url("case_withdraw", elsewhere.code), {"choice": choice.pk})
        .status_code
        == 404
    )
    assert PlanChoice.objects.exists()
