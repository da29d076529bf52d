"""What a scanned or typed text names. Labels follow the published rules of GS1 (see tests/reference)."""

import pytest

from stock.looking_up import Unreadable, look_up
from stock.models import ItemCode
from tests import builders
from tests.builders import TODAY


def named(text):
    found = look_up(text=text, today=TODAY)
    return {item.code for item in found.items}, {lot.shown for lot in found.lots}


@pytest.fixture
def shelf(cast):
    """A lot of membranes, an implant with a serial, a tissue unit."""
    return {
        "lot": builders.shelved(cast.membrane, cast.stockroom, 2, number="0017"),
        "serial": builders.shelved(cast.implant, cast.stockroom, number="I-55", serial="00417"),
        "unit": builders.shelved(cast.graft, cast.stockroom, serial="HM-U-1", donor_id="HM-DON-0007"),
    }


@pytest.mark.parametrize(
    ("text", "items", "lots"),
    [
        ("0017", set(), {"0017"}),
        (" 00417 ", set(), {"00417"}),
        ("i-55", set(), {"00417"}),
        ("hm-don-0007", set(), {"HM-U-1"}),
        ("HM-U-1", set(), {"HM-U-1"}),
        ("mem-rc-2030", {"MEM-RC-2030"}, set()),
        ("02999000104314", {"MEM-RC-2030"}, set()),
        ("(01)02999000104314(10)0017", {"MEM-RC-2030"}, {"0017"}),
        ("0102999000104314100017", {"MEM-RC-2030"}, {"0017"}),
        ("(01)02999000104314(10)17", {"MEM-RC-2030"}, set()),
        ("collagen 20", {"MEM-RC-2030"}, set()),
        ("17", set(), set()),
        ("", set(), set()),
    ],
)
def test_a_text_names_items_and_lots(shelf, text, items, lots):
    assert named(text) == (items, lots)


def test_a_lot_number_of_two_items_is_told_apart_by_the_label(cast, shelf):
    builders.shelved(cast.suture, cast.stockroom, number="0017")
    assert len(look_up(text="0017", today=TODAY).lots) == 2
    assert look_up(text="0017", today=TODAY).item is None
    found = look_up(text="(01)02999000104314(10)0017", today=TODAY)
    assert [lot.pk for lot in found.lots] == [shelf["lot"].pk]
    assert found.item == cast.membrane


def test_a_label_with_a_wrong_check_digit_is_refused(shelf):
    with pytest.raises(Unreadable, match="cannot be relied upon"):
        look_up(text="(01)02999000104315(10)0017", today=TODAY)


def test_the_number_is_what_people_would_read_out(cast):
    assert look_up(text="(01)02999000104314(10)0017(21)S9", today=TODAY).number == "S9"
    assert look_up(text="(01)02999000104314(10)0017", today=TODAY).number == "0017"
    assert look_up(text="something", today=TODAY).number == "something"


def test_an_item_with_several_codes_is_one_item(cast):
    ItemCode.objects.create(item=cast.membrane, standard="HIBC", value="02999000104314")
    assert look_up(text="02999000104314", today=TODAY).item == cast.membrane
