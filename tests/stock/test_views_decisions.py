"""Hold, recall and release a lot; put an entry right."""

import pytest
from django.urls import reverse

from practice.models import AuditEntry
from stock.consuming import use, waste
from stock.models import Balance, Entry, Lot
from tests import builders
from tests.builders import NOW

pytestmark = pytest.mark.usefixtures("the_day")
WHY = {"reason": "letter of the maker"}


@pytest.fixture
def lot(cast):
    return builders.shelved(cast.membrane, cast.stockroom, 3)


def decided(lot):
    lot.refresh_from_db()
    return lot.decision, lot.decision_reason


def test_a_manager_holds_recalls_and_releases(cast, lot, sign_in):
    client = sign_in(cast.manager)
    client.post(reverse("lot_hold", args=[lot.pk]), WHY)
    assert decided(lot) == ("held", "letter of the maker")
    client.post(reverse("lot_recall", args=[lot.pk]), WHY)
    assert decided(lot)[0] == Lot.Decision.RECALLED
    answer = client.post(reverse("lot_release", args=[lot.pk]), WHY, follow=True)
    assert decided(lot) == ("", "")
    assert f"{lot} is released." in answer.content.decode()
    actions = AuditEntry.objects.order_by("id").values_list("action", flat=True)
    assert list(actions)[-3:] == ["lot.hold", "lot.recall", "lot.release"]


def test_a_decision_needs_its_reason(cast, lot, sign_in):
    answer = sign_in(cast.clinician).post(reverse("lot_hold", args=[lot.pk]), {"reason": ""}, follow=True)
    assert decided(lot)[0] == ""
    assert f"Say in up to 160 characters why {lot} is held." in answer.content.decode()


def test_a_lot_that_is_held_is_not_held_again(cast, lot, sign_in):
    client = sign_in(cast.manager)
    client.post(reverse("lot_hold", args=[lot.pk]), WHY)
    answer = client.post(reverse("lot_hold", args=[lot.pk]), WHY, follow=True)
    assert "is held, so it cannot be held." in answer.content.decode()


@pytest.mark.parametrize("name", ["lot_hold", "lot_recall", "lot_release"])
def test_who_may_not_decide_gets_403_and_reading_the_address_405(cast, lot, sign_in, name):
    for who in (cast.assistant, cast.reader, cast.administrator, cast.stranger):
        assert sign_in(who).post(reverse(name, args=[lot.pk]), WHY).status_code == 403
    assert sign_in(cast.manager).get(reverse(name, args=[lot.pk])).status_code == 405
    assert sign_in(cast.manager).post(reverse(name, args=[lot.pk + 999]), WHY).status_code == 404
    assert decided(lot)[0] == ""


def test_a_wrong_entry_is_taken_back_once(cast, lot, sign_in):
    [entry] = waste(lot=lot, place=cast.stockroom, quantity=2, reason="damaged", by=cast.assistant, at=NOW)
    client = sign_in(cast.assistant)
    address = reverse("entry_correct", args=[entry.pk])
    client.post(address, {"note": "the pack was whole"})
    assert Balance.objects.get(lot=lot, place=cast.stockroom).quantity == 3
    assert Entry.objects.get(corrects=entry).quantity == 2
    again = client.post(address, {"note": "once more"}, follow=True)
    assert "was already corrected" in again.content.decode()
    assert Balance.objects.get(lot=lot, place=cast.stockroom).quantity == 3


def test_an_entry_of_a_case_is_undone_with_its_case(cast, lot, sign_in):
    [entry] = use(lot=lot, place=cast.stockroom, quantity=1, by=None, at=NOW, source="case:C-00001")
    client = sign_in(cast.assistant)
    answer = client.post(reverse("entry_correct", args=[entry.pk]), {"note": "wrong"}, follow=True)
    assert "Undo it on the page of the case" in answer.content.decode()
    assert not Entry.objects.filter(corrects=entry).exists()


def test_an_entry_is_put_right_with_a_reason_by_those_who_handle_stock_there(cast, lot, sign_in):
    entry = Entry.objects.get(lot=lot)
    address = reverse("entry_correct", args=[entry.pk])
    assert sign_in(cast.reader).post(address, {"note": "x"}).status_code == 403
    assert sign_in(cast.other_assistant).post(address, {"note": "x"}).status_code == 404
    assert sign_in(cast.assistant).get(address).status_code == 405
    answer = sign_in(cast.assistant).post(address, {"note": ""}, follow=True)
    assert "Say in a few words why the entry was wrong." in answer.content.decode()
    assert not Entry.objects.filter(corrects=entry).exists()
