"""The stock count import: the invented export as it is, and single faults.

Counts by reading the export with calamine: 168 rows of data and a totals row, of which three are faulty
(unknown code, negative, "soon").
"""

import csv
import datetime as dt
import json
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db.models import Sum

from practice.importing import Meanings, Options
from practice.models import AuditEntry
from stock.importing_catalogue import import_catalogue
from stock.importing_stock import import_stock
from stock.models import Balance, Entry, Item, Lot, Place
from stock.verification import verify_ledger
from tests.builders import NOW

FIXTURES = Path(__file__).parents[2] / "fixtures"
COUNT = FIXTURES / "imports" / "stock_count.xlsx"
TODAY = dt.date(2026, 11, 24)
AT = dt.datetime(2026, 11, 24, 9, tzinfo=dt.UTC)
HEADER = "Item code;Where;Lot no.;Serial / tissue id;Expiry;Qty counted;Unit"


def options(**how):
    return Options(today=TODAY, at=AT, **how)


@pytest.fixture
def practice(cast):
    """The standing cast with the whole demo catalogue."""
    catalogue = (FIXTURES / "catalogue.csv").read_bytes()
    assert import_catalogue(catalogue, filename="catalogue.csv", options=options()).applied
    return cast


def take(cast, *rows, clinic=None, **how):
    data = "\n".join((HEADER, *rows)).encode() if rows else COUNT.read_bytes()
    return import_stock(data, filename="count.csv", clinic=clinic or cast.clinic, options=options(**how))


def test_the_export_as_it_is_changes_nothing_and_names_its_three_faults(practice):
    report = take(practice)
    assert (report.read, report.accepted, report.skipped, report.applied) == (169, 165, 1, False)
    assert [(p.row, p.column, p.value, p.reason) for p in report.problems] == [
        (170, "Item code", "IMP-XX-99-999", "The catalogue has no such item."),
        (171, "Qty counted", "-2", "This must be 0 or more."),
        (172, "Expiry", "soon", "This is not a date."),
    ]
    assert report.unmapped == {"Item code": ["IMP-XX-99-999"]}
    assert not Entry.objects.exists()
    assert not Place.objects.filter(name="Cart A2").exists()


def test_the_good_rows_are_taken_and_the_second_time_changes_nothing(practice):
    report = take(practice, accept_good=True)
    assert (report.accepted, report.applied) == (165, True)
    assert Entry.objects.filter(kind=Entry.Kind.OPENING).count() == 165
    again = take(practice, accept_good=True)
    assert (again.accepted, again.unchanged, again.applied) == (0, 165, False)
    assert Entry.objects.count() == 165
    assert verify_ledger().differences == []


def test_quantities_and_expiries_are_those_of_the_export(practice):
    """By eye from the export: rows 6 and 7 with numbers, row 5 with text, row 9 with a month alone."""
    take(practice, accept_good=True)
    assert Balance.objects.get(lot__lot_number="L49905").quantity == 5
    assert Balance.objects.get(lot__lot_number="L83666").quantity == 21
    assert Balance.objects.get(lot__lot_number="L21236").quantity == 1
    assert Lot.objects.get(lot_number="L57008").expires_on == dt.date(2029, 9, 30)
    tissue = Lot.objects.get(lot_number="L21236")
    assert (tissue.serial, tissue.donor_id) == ("HM-DON-0312", "HM-DON-0312")


def test_lot_numbers_keep_their_leading_zeros(practice):
    take(practice, accept_good=True)
    assert Lot.objects.filter(lot_number="L00785").exists()
    take(practice, "SHP-B12;Cart A1;000123;;2029-01-01;2;each")
    assert Lot.objects.get(lot_number="000123").item.code == "SHP-B12"


def test_the_count_is_dated_by_its_title_and_recorded_late(practice):
    take(practice, accept_good=True)
    entry = Entry.objects.first()
    assert entry.at == dt.datetime(2026, 11, 23, 12, tzinfo=dt.UTC)
    assert entry.recorded_at == AT
    assert entry.source == "import:stock count"


def test_expired_lots_are_taken_where_they_lie_and_said(practice):
    report = take(practice, accept_good=True)
    expired = [notice for notice in report.notices if "Expired" in notice.reason]
    assert [notice.row for notice in expired] == [10, 24, 56, 93, 154]
    assert Balance.objects.get(lot__lot_number="L85908").place.name == "Cart A1"


def test_places_are_found_by_the_words_of_the_trade_or_made_and_said(practice):
    report = take(practice, accept_good=True)
    assert report.understood["Where"] == {"Store": "Stockroom"}
    made = Place.objects.get(clinic=practice.clinic, name="Cart A2")
    assert made.kind == Place.Kind.CART
    assert any(notice.value == "Cart A2" and "room cart" in notice.reason for notice in report.notices)
    assert AuditEntry.objects.filter(action="place.add").count() == 1
    assert Place.objects.filter(clinic=practice.clinic, name="Cart A1").count() == 1


def test_meanings_translate_codes_and_places(practice):
    said = Meanings(values={"Item code": {"BLADE": "SHP-B12"}, "Where": {"Shelf 4": "Cart A1"}})
    report = take(practice, "BLADE;Shelf 4;L1;;2029-01-01;2;each", meanings=said)
    assert report.applied
    assert Balance.objects.get(lot__lot_number="L1").place == practice.cart


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("SHP-B12;Cart A1;;;2029-01-01;2;each", "Lot no.", "no recall finds this"),
        ("SHP-B12;;L1;;2029-13-01;2;each", "Expiry", "no month 13"),
        ("SHP-B12;Cart A1;L1;;05/06/2029;2;each", "Expiry", "two different days"),
        ("SHP-B12;Cart A1;L1;;2029-01-01;1.5;each", "Qty counted", "whole number"),
        ("SHP-B12;Cart A1;L1;;2029-01-01;2;box", "Unit", "kept by the each"),
        ("IMP-CR-43-080;Cart A1;L1;;2029-01-01;1;each", "Serial / tissue id", "its own number"),
        ("IMP-CR-43-080;Cart A1;L1;S1;2029-01-01;2;each", "Qty counted", "its own row"),
        ("SET-EXM;Cart A1;L1;;;2;set", "Item code", "not counted as stock"),
        (f"SHP-B12;Cart A1;{'9' * 41};;2029-01-01;2;each", "Lot no.", "longer than 40"),
    ],
)
def test_a_faulty_row_is_named_by_row_column_and_reason(practice, row, column, words):
    report = take(practice, "SHP-B12;Cart A1;OK1;;2029-01-01;1;each", row)
    problem = report.problems[0]
    assert (problem.row, problem.column) == (3, column)
    assert words in problem.reason
    assert not Entry.objects.exists()


def test_the_same_lot_or_piece_twice_in_a_file_is_a_problem(practice):
    lot = "SHP-B12;Cart A1;L1;;2029-01-01;2;each"
    report = take(practice, lot, lot)
    assert report.problems[0].reason == "Row 2 counts this lot at the same place; add the two up."
    piece = "IMP-CR-43-080;Cart A1;L1;S1;2029-01-01;1;each"
    report = take(practice, piece, piece.replace("Cart A1", "Fridge"))
    assert "it can only lie in one place" in report.problems[0].reason


def test_a_piece_that_lies_elsewhere_already_is_refused_by_the_ledger(practice):
    piece = "IMP-CR-43-080;Stockroom;L1;S1;2029-01-01;1;each"
    assert take(practice, piece).applied
    report = take(practice, piece, clinic=practice.other_clinic)
    assert "exists only once" in report.problems[0].reason
    assert (report.accepted, report.applied) == (0, False)
    assert Entry.objects.count() == 1


def test_a_later_count_with_another_quantity_asks_for_a_correction(practice):
    row = "SHP-B12;Cart A1;L1;;2029-01-01;{};each"
    take(practice, row.format(5))
    report = take(practice, row.format(7))
    assert "opened with 5" in report.problems[0].reason
    assert Balance.objects.aggregate(all=Sum("quantity"))["all"] == 5


def test_an_expiry_that_differs_from_the_known_lot_is_refused(practice):
    take(practice, "SHP-B12;Cart A1;L1;;2029-01-01;5;each")
    report = take(practice, "SHP-B12;Fridge;L1;;2030-01-01;5;each")
    assert "expiry" in report.problems[0].reason
    assert Entry.objects.count() == 1


def test_two_units_of_one_donor_share_the_donor(practice):
    rows = (f"GRF-AL-050;Cart A1;L1;HM-DON-0400-{n};2029-01-01;1;vial" for n in (1, 2))
    take(practice, *rows)
    units = Lot.objects.filter(donor_id="HM-DON-0400")
    assert {unit.serial for unit in units} == {"HM-DON-0400-1", "HM-DON-0400-2"}


def test_the_command_refuses_checks_and_takes(practice, capsys):
    where = ("import_stock", str(COUNT), "--today", "2026-11-24", "--format", "json")
    with pytest.raises(CommandError) as refused:
        call_command(*where, "--clinic", "A")
    assert refused.value.returncode == 1
    shape = json.loads(capsys.readouterr().out)
    assert (shape["accepted"], len(shape["problems"]), shape["applied"]) == (165, 3, False)
    call_command(*where, "--clinic", "skellowick", "--accept-good", "--check")
    assert not Entry.objects.exists()
    call_command(*where, "--clinic", "Skellowick Road", "--accept-good")
    assert Entry.objects.count() == 165
    with pytest.raises(CommandError, match="There is no clinic “Z”. Clinics: A") as wrong:
        call_command(*where, "--clinic", "Z")
    assert wrong.value.returncode == 2


def test_the_moment_of_the_cast_is_before_the_count():
    """The cast's clock and this file's lie half a year apart, on purpose."""
    assert NOW < AT


def test_what_no_count_ever_held_is_said(practice):
    """Oracle: the csv module; what the catalogue keeps less what the first count or this one held."""
    with (FIXTURES / "catalogue.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    listed = {row["item_code"] for row in rows}
    kept = {row["item_code"] for row in rows if row["supply_mode"] not in ("asset", "per-case")}
    # The cast keeps a few items of its own; its exam set is no stock.
    kept |= {item.code for item in Item.objects.exclude(code__in=listed)} - {"SET-EX"}
    take(practice, accept_good=True)
    had = set(Entry.objects.values_list("lot__item__code", flat=True))
    assert "DIS-POP" in kept - had
    report = take(practice, "DIS-POP;Cart A1;L1;;2029-01-01;2;each")
    said = next(notice for notice in report.notices if "in no count of" in notice.reason)
    missing = sorted(kept - had - {"DIS-POP"})
    assert said.value == str(len(missing))
    assert ", ".join(missing[:6]) in said.reason
    assert "They count as none here" in said.reason
