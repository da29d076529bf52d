"""GS1 reading: the ways scanners write a code, faults in one field, and lots that swallow the next."""

from datetime import date, time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stock.scanning import GS1, UNKNOWN, check_digits, dates, read

TODAY = date(2026, 11, 24)
GTIN = "02999000104314"
GS = "\x1d"
CSET_82 = "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz"


def scan(text, today=TODAY):
    return read(text, today=today)


@pytest.mark.parametrize(
    "separator", [GS, "^", "<GS>", "<gs>", "{GS}", "\\x1d", "\\x1D", "\\u001d", "~1", "␝"]
)
@pytest.mark.parametrize("prefix", ["", "]d2", "]C1", "]Q3", "]e0", "^", "]d2" + GS])
@pytest.mark.parametrize("ending", ["", "\r\n", "\n", "\t", GS, GS + "\r\n"])
def test_every_way_a_scanner_writes_it(separator, prefix, ending):
    label = scan(f"{prefix}01{GTIN}1728022910LOT7A{separator}21SER9{ending}")
    assert label.standard == GS1
    assert (label.gtin, label.lot, label.serial, label.expiry) == (GTIN, "LOT7A", "SER9", date(2028, 2, 29))
    assert label.problems == label.warnings == ()


@pytest.mark.parametrize(
    "text",
    [
        f"(01){GTIN}(17)280229(10)LOT7A(21)SER9",
        f"(01) {GTIN} (17) 280229 (10) LOT7A (21) SER9",
        "(01) 0 2999000 10431 4 (17)28 02 29(10)LOT7A(21)SER9",
        f"[01]{GTIN}[17]280229[10]LOT7A[21]SER9",
        f"]d2(01){GTIN}(17)280229(10)LOT7A(21)SER9\r\n",
        f"https://example.org/01/{GTIN}/10/LOT7A/21/SER9?17=280229",
        f"HTTP://example.org/some/shop/01/{GTIN.lstrip('0')}/10/LOT7A/21/SER9?17=280229&utm=mail",
        f"https://example.org/gtin/{GTIN}/lot/LOT7A/ser/SER9?exp=280229",
        f"]Q1https://example.org/01/{GTIN}/10/LOT7A/21/SER9?17=280229",
    ],
)
def test_brackets_and_web_addresses_say_the_same(text):
    label = scan(text)
    assert (label.gtin, label.lot, label.serial, label.expiry) == (GTIN, "LOT7A", "SER9", date(2028, 2, 29))
    assert label.problems == label.warnings == ()
    assert label.raw == text


def test_brackets_inside_a_lot_are_kept():
    assert scan(f"(01){GTIN}(10)AB(C)D(21)9").lot == "AB(C)D"
    assert scan(f"(01){GTIN}(10)AB(99999)D").lot == "AB(99999)D"
    assert scan(f"[01]{GTIN}[10]AB(21)D").lot == "AB(21)D"
    assert scan(f"01{GTIN}10AB(21)D").lot == "AB(21)D"


def test_a_bracket_that_may_belong_to_the_lot_is_refused():
    label = scan(f"(01){GTIN}(10)AB(17)C")
    assert label.gtin == GTIN
    assert "may be part of the lot number or begin the expiry date" in label.problems[0]
    assert scan(f"(01){GTIN}(10)AB(10)CD").problems


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("(01)02999000104315", "ends in 5 where 4 would be right"),
        ("0102999000104315", "ends in 5 where 4 would be right"),
        ("02999000104315", "ends in 5 where 4 would be right"),
        ("]E02999000104315", "ends in 5 where 4 would be right"),
        ("https://example.org/01/02999000104315", "ends in 5 where 4 would be right"),
        ("(01)00000000000000", "all zeros"),
        (f"01{GTIN}30", "The quantity is empty"),
        (f"(01){GTIN}(30)", "The quantity is empty"),
        (f"01{GTIN}10LOT{GS}01{GTIN[:-1]}5", "twice"),
        (f"01{GTIN}10A{GS}10B", "“A” and “B”"),
        (f"01{GTIN}10AB 12", "holds a blank"),
        (f"(01){GTIN}(10)AB 12", "holds a blank"),
        (f"01{GTIN}10{'A' * 21}", "longer than the 20 characters"),
        (f"01{GTIN}10ABÄ", "not allowed"),
        (f"01{GTIN}17261301", "there is no month 13"),
        (f"01{GTIN}7003261200", "shorter than the 10 characters"),
        (f"01{GTIN}70032612001200", "needs a day as well"),
        (f"01{GTIN}70032612012500", "no such time as 25:00"),
        (f"01{GTIN}09X", "belongs to no field that is known"),
        (f"(01){GTIN}(21)A(235)B", "two kinds of serial number"),
        (f"(02){GTIN}", "not how many"),
        (f"(01){GTIN}(02){GTIN}(37)2", "mixes"),
        ("(09)123", "not a field that is known"),
        ("]d2", None),
        ("]d2   x", "belongs to no field"),
        ("(00)376130321109103421", "parcel number"),
    ],
)
def test_what_is_wrong_is_told(text, words):
    label = scan(text)
    if words is None:
        assert label.standard == UNKNOWN
        return
    assert label.standard == GS1
    assert not label.is_sound
    assert any(words in problem for problem in label.problems), label.problems
    assert all(problem[0].isupper() or problem[0] == "“" for problem in label.problems)
    assert all(problem.endswith(".") for problem in label.problems)


@pytest.mark.parametrize("bad", ["10AB 12", f"10{'A' * 21}", "10", "17261301", "30", "30X", "99", "7003xx"])
def test_one_bad_field_leaves_the_item_number_and_the_scan(bad):
    text = f"01{GTIN}11260101{bad}"
    label = scan(text)
    assert label.gtin == GTIN
    assert label.made_on == date(2026, 1, 1)
    assert label.raw == text
    assert label.lot is label.expiry is label.quantity is None
    assert label.problems


def test_a_bare_item_number_beginning_with_95_is_no_message():
    label = scan("9501101531000")
    assert (label.gtin, label.fields) == ("09501101531000", (("01", "9501101531000"),))
    assert label.problems == ()


@pytest.mark.parametrize("text", ["]E05901234123457", "]E40000096385074", "]I105901234123457"])
def test_symbols_of_bare_item_numbers(text):
    assert scan(text).gtin == text[3:].zfill(14)


def test_blanks_before_a_scan_do_no_harm():
    assert scan(f"  ]d201{GTIN}").gtin == GTIN
    assert scan(f" (01){GTIN} ").gtin == GTIN


def test_the_century_turns_at_fifty_years_either_side():
    assert [dates.full_year(yy, today=date(2051, 1, 1)) for yy in (0, 1, 2, 51, 99)] == [
        2100,
        2101,
        2002,
        2051,
        2099,
    ]
    assert [dates.full_year(yy, today=date(2026, 1, 1)) for yy in (76, 77)] == [2076, 1977]


def test_the_quantity_and_the_makers_number_are_read():
    label = scan(f"01{GTIN}30005{GS}240REF-77{GS}10L1")
    assert (label.quantity, label.product, label.lot) == (5, "REF-77", "L1")


def test_a_box_label_gives_its_contents():
    label = scan(f"(02){GTIN}(37)12(10)L1")
    assert (label.gtin, label.quantity, label.problems) == (GTIN, 12, ())
    assert "box" in label.warnings[0]


def test_the_number_of_an_instrument_tray():
    assert scan("(8004)29990TRAY7").product == "29990TRAY7"
    assert scan("(8004)29990TRAY7").warnings == ()


def test_of_two_expiry_dates_the_earlier_counts():
    label = scan(f"(01){GTIN}(17)270131(7003)2701011200")
    assert (label.expiry, label.expiry_time) == (date(2027, 1, 1), time(12, 0))
    assert "two expiry dates" in label.warnings[0]
    assert scan(f"(01){GTIN}(7003)2701011200(17)270131").expiry == date(2027, 1, 1)


def test_made_after_expiry_is_told():
    assert any("made on" in warning for warning in scan(f"(01){GTIN}(11)270101(17)260101").warnings)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (f"01{GTIN}10LOT7A21SER9", "may be “LOT7A” with the serial number “SER9”"),
        (f"01{GTIN}10LOT17261231", "may be “LOT” with the date 31 December 2026"),
        (f"01{GTIN}10LOT1726123121S", "may be “LOT” with the date 31 December 2026"),
        (f"01{GTIN}21SER17261231", "The serial number “SER17261231” may be “SER”"),
        (f"(01){GTIN}(10)LOT17261231", "may be “LOT”"),
    ],
)
def test_a_lot_that_swallowed_the_next_field_is_questioned(text, words):
    label = scan(text)
    assert any(words in warning for warning in label.warnings), label.warnings
    assert label.problems == ()


@pytest.mark.parametrize(
    "text",
    [
        f"01{GTIN}17271231{GS}10LOT7A21SER9",
        f"01{GTIN}10LOT7A21SER9{GS}17271231",
        f"01{GTIN}21SER9{GS}10LOT7A21XYZ",
        f"01{GTIN}10AB2021CDE",
        f"01{GTIN}1021ABC",
        f"01{GTIN}10AB17261332",
        f"01{GTIN}10AB17901231",
        f"https://example.org/01/{GTIN}/10/LOT7A21SER9",
    ],
)
def test_an_ordinary_lot_is_not_questioned(text):
    assert scan(text).warnings == ()


@pytest.mark.parametrize(
    "text",
    [
        "LOT7A21",
        "P-0457",
        "IMP-CR-43-100",
        "10X3",
        "2112345",
        "17A",
        "30",
        "20251103",
        "20251104",
        "20251109",
        "12345678",
        "416000336109",
        "100203",
        "Skelbeck, Benno",
        "4.3 x 10",
        "(555) 123 4567",
        "00000000",
        "https://example.org/stock",
        "https://[broken",
        "",
        "   ",
        "]C0LOT7A",
        "91ABC",
        "١٢٣٤٥٦٧٨٩٠١٢٨",
        "+44 20 7946 0000",
        "=SUM(A1)",
        "& Co",
        "HM-DON-0001",
    ],
)
def test_typed_text_is_no_code(text):
    label = scan(text)
    assert label.standard == UNKNOWN
    assert label.problems == label.warnings == ()
    assert label.raw == text
    assert not label.is_sound


def test_a_text_longer_than_any_symbol_is_no_code():
    assert scan(f"(01){GTIN}" + "(10)A" * 10_000).standard == UNKNOWN


def test_the_second_code_on_a_pack_is_read_without_a_prefix():
    label = scan("1727123110LOT7A")
    assert (label.lot, label.expiry, label.gtin) == ("LOT7A", date(2027, 12, 31), None)
    assert "Scan the other code" in label.warnings[0]


def test_plain_values_are_ready_for_json():
    plain = scan(f"(01){GTIN}(17)270100(7003)2701311200(10)L").plain()
    assert plain["expiry"] == "2027-01-31"
    assert plain["expiry_time"] == "12:00:00"
    assert plain["fields"][0] == ["01", GTIN]
    assert plain["problems"] == []
    assert plain["warnings"]


# A way back: any message built by the rules is read as it was built.


@st.composite
def messages(draw):
    payload = draw(st.text("0123456789", min_size=13, max_size=13).filter(lambda digits: digits.strip("0")))
    values = {"01": payload + check_digits.gs1_digit(payload)}
    text = st.text(CSET_82, min_size=1, max_size=20)
    if draw(st.booleans()):
        values["10"] = draw(text)
    if draw(st.booleans()):
        values["21"] = draw(text)
    if draw(st.booleans()):
        values["30"] = str(draw(st.integers(0, 99_999_999)))
    for ai in ("11", "17"):
        if draw(st.booleans()):
            values[ai] = draw(st.dates(date(2000, 1, 1), date(2070, 12, 31))).strftime("%y%m%d")
    return draw(st.permutations(list(values.items())))


def build(pairs):
    fixed = {"01", "11", "17"}
    return "".join(f"{ai}{value}{'' if ai in fixed else GS}" for ai, value in pairs)


@given(messages())
def test_a_built_message_reads_back(pairs):
    values = dict(pairs)
    label = scan("]d2" + build(pairs))
    # A value may happen to spell a separator such as "<GS>"; only then may the reading differ.
    if any("<gs>" in value.lower() or "<fnc1>" in value.lower() for value in values.values()):
        return
    assert list(label.fields) == list(pairs)
    assert label.problems == ()
    assert (label.gtin, label.lot, label.serial) == (values["01"], values.get("10"), values.get("21"))
    assert label.quantity == (int(values["30"]) if "30" in values else None)
    for ai, day in (("11", label.made_on), ("17", label.expiry)):
        assert (day.strftime("%y%m%d") if day else None) == values.get(ai)


@given(messages(), st.integers(0, 13), st.integers(1, 9))
def test_one_wrong_digit_in_the_item_number_is_always_seen(pairs, at, step):
    values = dict(pairs)
    number = values["01"]
    values["01"] = number[:at] + str((int(number[at]) + step) % 10) + number[at + 1 :]
    label = scan("]d2" + build(values.items()))
    assert label.gtin is None
    assert label.problems


@given(st.text(max_size=60) | st.text(CSET_82 + "[]^ \x1d", max_size=60), st.dates())
def test_any_text_is_read_without_a_crash(text, today):
    label = read(text, today=today)
    assert label.raw == text
    assert label.standard in ("GS1", "HIBC", "ISBT 128", "unknown")
    if label.standard == UNKNOWN:
        assert label.problems == ()


@given(
    st.sampled_from(["]d2", "]C1", "(", "+A", "+$$", "+", "=", "&", "01", "https://x/01/", "]E0"]),
    st.text(max_size=40),
)
def test_no_beginning_of_a_code_makes_it_crash(start, rest):
    assert read(start + rest, today=TODAY).raw == start + rest


@given(st.binary(max_size=60))
def test_any_bytes_are_read_without_a_crash(scanned):
    assert isinstance(read(scanned, today=TODAY).raw, str)
