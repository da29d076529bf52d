"""Places: what lies where, what is out of date, with search and export."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from stock.models import Lot
from tests import builders
from tests.builders import TODAY

pytestmark = pytest.mark.usefixtures("the_day")
ONE_DAY = dt.timedelta(days=1)


def test_each_place_tells_its_units_lots_next_expiry_and_what_to_look_at(cast, sign_in):
    builders.shelved(cast.membrane, cast.stockroom, 3, expires_on=TODAY + 40 * ONE_DAY)
    builders.shelved(cast.membrane, cast.stockroom, 2, expires_on=TODAY - ONE_DAY)
    builders.shelved(cast.suture, cast.stockroom, 1, decision=Lot.Decision.HELD)
    answer = sign_in(cast.reader).get(reverse("places"))
    found = {place.name: place for place in answer.context["places"]}
    room = found["Stockroom"]
    assert (room.units, room.lots, room.expired, room.decided) == (6, 3, 2, 1)
    assert room.soonest_on == TODAY + 40 * ONE_DAY
    assert found["Fridge"].units is None
    assert "2 units expired" in answer.content.decode()
    assert "Tray B1" not in found


def test_a_place_lists_its_lots_soonest_to_expire_first(cast, sign_in):
    late = builders.shelved(cast.membrane, cast.stockroom, 3, expires_on=TODAY + 400 * ONE_DAY)
    soon = builders.shelved(cast.suture, cast.stockroom, 1, expires_on=TODAY + 20 * ONE_DAY)
    gone = builders.shelved(cast.gloves, cast.stockroom, 1, expires_on=TODAY - ONE_DAY)
    builders.shelved(cast.gloves, cast.cart, 1)
    answer = sign_in(cast.reader).get(reverse("place", args=[cast.stockroom.pk]))
    assert [row.record.lot_id for row in answer.context["table"].rows] == [gone.pk, soon.pk, late.pk]
    text = answer.content.decode()
    assert "expired" in text and "20 days left" in text and "in date" in text


def test_the_list_is_searched_by_any_word_and_saved_as_a_file(cast, sign_in):
    builders.shelved(cast.membrane, cast.stockroom, 3, number="=L00017")
    builders.shelved(cast.suture, cast.stockroom, 1)
    client = sign_in(cast.reader)
    address = reverse("place", args=[cast.stockroom.pk])
    assert len(client.get(address, {"q": "collagen 20"}).context["table"].rows) == 1
    assert len(client.get(address, {"q": "l00017"}).context["table"].rows) == 1
    saved = client.get(address, {"q": "collagen", "export": "csv"})
    assert saved["Content-Disposition"] == f'attachment; filename="place-{cast.stockroom.pk}.csv"'
    lines = saved.content.decode("utf-8-sig").splitlines()
    # Text that a spreadsheet would run as a formula is disarmed.
    assert len(lines) == 2 and ",'=L00017," in lines[1]
    assert client.get(address, {"export": "xlsx"}).content[:2] == b"PK"


def test_an_empty_place_says_so(cast, sign_in):
    text = sign_in(cast.reader).get(reverse("place", args=[cast.fridge.pk])).content.decode()
    assert "Nothing lies here that fits" in text


def test_a_place_of_another_clinic_is_not_there(cast, sign_in):
    assert sign_in(cast.reader).get(reverse("place", args=[cast.other_stockroom.pk])).status_code == 404
    assert sign_in(cast.stranger).get(reverse("places")).status_code == 403


@pytest.mark.parametrize("name", ["places", "place"])
def test_queries_do_not_grow_with_the_rows(cast, sign_in, name):
    client = sign_in(cast.reader)
    address = reverse(name, args=[cast.stockroom.pk] if name == "place" else [])
    builders.shelved(cast.membrane, cast.stockroom, 1)
    client.get(address)

    def queries():
        with CaptureQueriesContext(
            connection,
        ) as seen:
            assert client.get(address).status_code == 200
        return len(seen)

    at_one = queries()
    for _ in range(19):
        builders.shelved(cast.membrane, cast.stockroom, 1)
        builders.place(cast.clinic, f"Shelf {Lot.objects.count()}")
    assert queries() == at_one
