"""What lies on a tray and was held, went out of date or is declined since: never shown as ready."""

import datetime as dt

import pytest
from django.urls import reverse

from kits import chairside, closing, picking
from kits.models import Finding, TrayUnit
from kits.scheduling import move_case
from stock.holds import hold, recall
from stock.models import Balance, Lot
from tests.builders import NOW, TODAY
from tests.kits.builders_kits import TOMORROW

pytestmark = pytest.mark.django_db
MEMBRANE = "MEM-RC-2030"


@pytest.fixture
def case(stocked):
    stocked.stock(MEMBRANE, 2)
    return stocked.fill_tray(stocked.case("SKG"))


def listed(case):
    case.refresh_from_db()
    return picking.pick_list(case=case, today=TODAY)


def membrane(case):
    return next(line for line in listed(case).lines if line.item and line.item.code == MEMBRANE)


def was_held(kits, case, lot):
    hold(lot=lot, reason="seal torn", by=kits.cast.manager, at=NOW)
    return "is held (seal torn)"


def was_recalled(kits, case, lot):
    recall(lot=lot, reason="letter of the maker", by=kits.cast.manager, at=NOW)
    return "is recalled (letter of the maker)"


def was_moved_past_its_date(kits, case, lot):
    Lot.objects.filter(pk=lot.pk).update(expires_on=TOMORROW)
    later = TOMORROW + dt.timedelta(days=1)
    move_case(
        case=case,
        starts_at=case.starts_at + dt.timedelta(days=1),
        on=later,
        by=kits.cast.manager,
        at=NOW,
    )
    return f"is not usable on {later.day} {later:%B %Y}"


def is_declined_now(kits, case, lot):
    kits.cast.patient.declines_porcine = True
    kits.cast.patient.save()
    return "is porcine material, which the patient declines"


@pytest.mark.parametrize("change", [was_held, was_recalled, was_moved_past_its_date, is_declined_now])
def test_a_unit_that_became_unfit_is_said_and_not_counted(stocked, case, change):
    unit = stocked.unit(case, MEMBRANE)
    assert membrane(case).left == 0
    said = change(stocked, case, unit.lot)
    found = listed(case)
    assert found.readiness.word == "cannot start"
    sentences = [found.readiness.sentence, *found.readiness.others]
    assert any(said in sentence and "put it into quarantine" in sentence for sentence in sentences)
    line = membrane(case)
    assert line.left == line.quantity and said in line.note
    assert found.done < found.total


def test_taking_another_clears_the_line(stocked, case):
    unit = stocked.unit(case, MEMBRANE)
    hold(lot=unit.lot, reason="seal torn", by=stocked.cast.manager, at=NOW)
    fresh = stocked.stock(MEMBRANE, 1)
    line = membrane(case).line
    facts = {"place": stocked.cast.stockroom, "quantity": 1, "scanned": True}
    picking.put_on_tray(line=line, lot=fresh, by=stocked.cast.assistant, at=NOW, **facts)
    unit.refresh_from_db()
    assert unit.outcome == TrayUnit.Outcome.PUT_BACK
    assert membrane(case).left == 0
    assert listed(case).readiness.word == "ready"


def test_what_was_opened_is_not_taken_back_by_a_later_hold(stocked, case):
    unit = stocked.unit(case, MEMBRANE)
    TrayUnit.objects.filter(pk=unit.pk).update(opened_at=NOW)
    hold(lot=unit.lot, reason="seal torn", by=stocked.cast.manager, at=NOW)
    assert membrane(case).left == 0


def test_a_recalled_unit_is_not_opened_and_goes_to_quarantine(stocked, case, client):
    """Neither one touch opens it nor does the rest in one touch bring it back to its shelf."""
    unit, by = stocked.unit(case, MEMBRANE), stocked.cast.assistant
    recall(lot=unit.lot, reason="letter of the maker", by=stocked.cast.manager, at=NOW)
    client.force_login(by)
    page = client.get(reverse("pick_list", args=[case.code])).content.decode()
    assert "is recalled (letter of the maker)" in page
    with pytest.raises(chairside.UnfitOnTray, match="take another"):
        chairside.open_line(line=unit.line, by=by, at=NOW)
    plate = Finding.objects.get(code="F-FPM")
    chairside.record_finding(case=case, finding=plate, site=case.sites.get(), present=True, by=by, at=NOW)
    closing.settle_rest(case=case, by=by, at=NOW)
    unit.refresh_from_db()
    assert (unit.outcome, unit.opened_at) == ("put-back", None)
    there = Balance.objects.get(lot=unit.lot, place__kind="quarantine")
    assert there.quantity == unit.quantity
