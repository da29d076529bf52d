"""Move, use, write off and count: the form does one thing once, says so, and refuses in words."""

import pytest
from django.urls import reverse

from stock.models import Balance, Entry, ItemCode, Lot, Place
from tests import builders

pytestmark = pytest.mark.usefixtures("the_day")
TASKS = ("stock_move", "stock_use", "stock_waste", "stock_count")


@pytest.fixture
def lot(cast):
    """Three membranes of one lot in the stockroom."""
    return builders.shelved(cast.membrane, cast.stockroom, 3, number="L20417")


def there(lot, place):
    row = Balance.objects.filter(lot=lot, place=place).first()
    return row.quantity if row else 0


def filled(lot, place, **facts):
    return {"lot": lot.pk, "key": "k-1", "place": place.pk, "quantity": 1} | facts


def test_a_move_takes_units_from_one_place_to_the_other_and_says_so(cast, lot, sign_in):
    answer = sign_in(cast.assistant).post(
        reverse("stock_move"), filled(lot, cast.stockroom, to_place=cast.cart.pk, quantity=2), follow=True
    )
    assert (there(lot, cast.stockroom), there(lot, cast.cart)) == (1, 2)
    assert "Moved 2 pieces of MEM-RC-2030 L20417 from Stockroom to Cart A1." in answer.content.decode()
    assert answer.redirect_chain == [(reverse("lot", args=[lot.pk]), 302)]


def test_the_same_form_sent_twice_moves_once(cast, lot, sign_in):
    client = sign_in(cast.assistant)
    for _ in range(2):
        client.post(reverse("stock_move"), filled(lot, cast.stockroom, to_place=cast.cart.pk))
    assert (there(lot, cast.stockroom), there(lot, cast.cart)) == (2, 1)


def test_more_than_lies_there_is_refused_in_words_and_nothing_changes(cast, lot, sign_in):
    answer = sign_in(cast.assistant).post(
        reverse("stock_move"), filled(lot, cast.stockroom, to_place=cast.cart.pk, quantity=4)
    )
    assert answer.status_code == 409
    assert "Only 3 of MEM-RC-2030 L20417 are at Stockroom, but 4 are to be taken." in answer.content.decode()
    assert there(lot, cast.stockroom) == 3


def test_an_empty_form_names_each_missing_answer(cast, lot, sign_in):
    answer = sign_in(cast.assistant).post(reverse("stock_waste"), {"lot": lot.pk})
    assert answer.status_code == 422
    assert answer.content.decode().count("This field is required.") >= 2


def test_use_outside_a_case_is_recorded_with_what_it_was_for(cast, lot, sign_in):
    sign_in(cast.assistant).post(reverse("stock_use"), filled(lot, cast.stockroom, note="training"))
    entry = Entry.objects.get(kind=Entry.Kind.USE)
    assert (entry.quantity, entry.note, entry.by, entry.source) == (-1, "training", cast.assistant, "")


def test_a_write_off_needs_a_reason_that_belongs_to_the_shelf(cast, lot, sign_in):
    client = sign_in(cast.assistant)
    assert client.post(reverse("stock_waste"), filled(lot, cast.stockroom, reason="")).status_code == 422
    remake = filled(lot, cast.stockroom, reason=Entry.Reason.REMAKE)
    assert client.post(reverse("stock_waste"), remake).status_code == 422
    client.post(reverse("stock_waste"), filled(lot, cast.stockroom, reason=Entry.Reason.DAMAGED))
    assert Entry.objects.get(kind=Entry.Kind.WASTE).reason == Entry.Reason.DAMAGED


def test_a_count_that_differs_becomes_an_entry_and_one_that_agrees_does_not(cast, lot, sign_in):
    client = sign_in(cast.assistant)
    agreed = client.post(reverse("stock_count"), filled(lot, cast.stockroom, quantity=3), follow=True)
    assert "agrees with the record: 3." in agreed.content.decode()
    client.post(reverse("stock_count"), filled(lot, cast.stockroom, quantity=2, key="k-2"))
    assert Entry.objects.get(kind=Entry.Kind.COUNT).quantity == -1


def test_a_count_does_not_show_what_is_recorded(cast, lot, sign_in):
    client = sign_in(cast.assistant)
    address = {"lot": lot.pk}
    assert "Stockroom: 3 there" in client.get(reverse("stock_move"), address).content.decode()
    assert "3 there" not in client.get(reverse("stock_count"), address).content.decode()


@pytest.mark.parametrize("typed", ["L20417", "l20417", "(01)02999000104314(10)L20417(17)270616"])
def test_a_scan_or_a_typed_number_finds_the_lot(cast, lot, sign_in, typed):
    answer = sign_in(cast.assistant).get(reverse("stock_move"), {"code": typed})
    assert answer.status_code == 200
    assert answer.context["lot"] == lot


def test_an_item_code_with_several_lots_asks_which(cast, lot, sign_in):
    other = builders.shelved(cast.membrane, cast.cart, 1)
    answer = sign_in(cast.assistant).get(reverse("stock_move"), {"code": "MEM-RC-2030"})
    assert {each.pk for each in answer.context["several"]} == {lot.pk, other.pk}
    assert "Which lot?" in answer.content.decode()


def test_what_lies_nowhere_here_is_refused_in_words(cast, sign_in):
    builders.shelved(cast.membrane, cast.other_stockroom, 1, number="L90001")
    for code in ("L90001", "nothing-of-that-name"):
        answer = sign_in(cast.assistant).get(reverse("stock_move"), {"code": code})
        assert answer.status_code == 404
        assert "lies on a shelf here" in answer.content.decode()


def test_a_label_that_contradicts_itself_is_not_relied_upon(cast, lot, sign_in):
    wrong_check_digit = "(01)02999000104315(10)L20417"
    answer = sign_in(cast.assistant).get(reverse("stock_move"), {"code": wrong_check_digit})
    assert answer.status_code == 404
    assert "This label cannot be relied upon." in answer.content.decode()


def test_units_on_a_tray_belong_to_their_case(cast, sign_in):
    lot = builders.shelved(cast.membrane, cast.tray, 1)
    client = sign_in(cast.assistant)
    assert client.get(reverse("stock_move"), {"lot": lot.pk}).context["form"] is None
    answer = client.post(reverse("stock_move"), filled(lot, cast.tray, to_place=cast.cart.pk))
    assert answer.status_code == 409
    assert there(lot, cast.tray) == 1


def test_nothing_moves_to_or_from_a_clinic_out_of_reach(cast, lot, sign_in):
    client = sign_in(cast.assistant)
    away = filled(lot, cast.stockroom, to_place=cast.other_stockroom.pk)
    assert client.post(reverse("stock_move"), away).status_code == 422
    assert there(lot, cast.stockroom) == 3
    sign_in(cast.manager).post(reverse("stock_move"), away)
    assert there(lot, cast.other_stockroom) == 1


@pytest.mark.parametrize("name", TASKS)
@pytest.mark.parametrize("who", ["clinician", "administrator", "reader", "stranger"])
def test_only_those_who_handle_stock_reach_it(cast, lot, sign_in, name, who):
    answer = sign_in(getattr(cast, who)).get(reverse(name), {"lot": lot.pk})
    assert answer.status_code == 403


@pytest.mark.parametrize("name", TASKS)
def test_other_methods_are_not_allowed(cast, sign_in, name):
    assert sign_in(cast.assistant).delete(reverse(name)).status_code == 405


def test_the_way_back_stays_in_the_building(cast, lot, sign_in):
    client = sign_in(cast.assistant)
    home = reverse("item", args=["MEM-RC-2030"])
    sent = filled(lot, cast.stockroom, to_place=cast.cart.pk)
    assert client.post(reverse("stock_move"), sent | {"next": home})["Location"] == home
    elsewhere = client.post(
        reverse("stock_move"), sent | {"key": "k-2", "next": "https://elsewhere.example/"}
    )
    assert elsewhere["Location"] == reverse("lot", args=[lot.pk])


def test_a_held_lot_leaves_quarantine_only_when_released(cast, sign_in):
    lot = builders.shelved(cast.membrane, cast.quarantine, 1, decision=Lot.Decision.HELD)
    answer = sign_in(cast.assistant).post(
        reverse("stock_move"), filled(lot, cast.quarantine, to_place=cast.cart.pk)
    )
    assert answer.status_code == 409
    assert "may not go to Cart A1" in answer.content.decode()


def test_a_code_of_two_items_finds_the_lots_of_both(cast, lot, sign_in):
    ItemCode.objects.create(item=cast.larger_membrane, standard="HIBC", value="02999000104314")
    builders.shelved(cast.larger_membrane, cast.stockroom, 1)
    answer = sign_in(cast.assistant).get(reverse("stock_move"), {"code": "02999000104314"})
    assert len(answer.context["several"]) == 2


def test_places_to_choose_from_are_shelves_of_the_clinics_in_reach(cast, lot, sign_in):
    form = sign_in(cast.assistant).get(reverse("stock_move"), {"lot": lot.pk}).context["form"]
    offered = set(form.fields["to_place"].queryset)
    assert cast.tray not in offered and cast.other_stockroom not in offered
    assert {cast.stockroom, cast.fridge, cast.cart, cast.quarantine, cast.loan} <= offered
    assert all(place.kind != Place.Kind.TRAY for place in offered)
