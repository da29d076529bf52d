"""The price list import: the invented list as it is, and single faults.

By reading the export with openpyxl: 96 articles; one (HEM-ADH, 120.00) has the price it had before.
"""

import datetime as dt
import json
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from openpyxl import load_workbook

from practice.importing import Options
from stock.importing_catalogue import import_catalogue
from stock.importing_prices import UnknownSupplier, find_supplier, import_prices
from stock.models import Item, SupplierItem

FIXTURES = Path(__file__).parents[2] / "fixtures"
PRICES = FIXTURES / "imports" / "price_list.xlsx"
HOW = {"today": dt.date(2026, 11, 24), "at": dt.datetime(2026, 11, 24, 9, tzinfo=dt.UTC)}
HEADER = "Art. no.;Article;Pack;Price per pack;MOQ;Lead time"


@pytest.fixture
def supplier(cast):
    """The general supplier, with the whole demo catalogue."""
    cast.general.items.all().delete()
    catalogue = (FIXTURES / "catalogue.csv").read_bytes()
    assert import_catalogue(catalogue, filename="catalogue.csv", options=Options(**HOW)).applied
    return cast.general


def take(supplier, *rows, **how):
    data = "\n".join((HEADER, *rows)).encode() if rows else PRICES.read_bytes()
    options = Options(**HOW, **how)
    return import_prices(data, filename="prices.csv", supplier=supplier, options=options)


def sold(code):
    return SupplierItem.objects.get(supplier_code=code, supplier__name__startswith="Brambleforth")


def test_the_list_as_it_is_is_taken_and_the_second_time_changes_nothing(supplier):
    report = take(supplier)
    assert (report.read, report.accepted, report.unchanged, report.problems) == (96, 95, 1, [])
    again = take(supplier)
    assert (again.accepted, again.unchanged, again.applied) == (0, 96, False)


def test_every_price_of_the_list_is_the_one_kept(supplier):
    """Oracle: openpyxl, and the decimal comma of the texts (“€ 159,51”) turned by hand."""
    take(supplier)
    rows = load_workbook(PRICES).active.iter_rows(min_row=3, values_only=True)
    for code, _, pack, price, minimum, lead in rows:
        text = str(price).removeprefix("€ ").replace(",", ".")
        line = sold(code)
        assert line.pack_price == Decimal(text), code
        assert line.pack_size == (1 if pack == "each" else int(pack.removeprefix("Box/")))
        assert line.minimum_packs == int(minimum)
        assert line.lead_days == (7 if lead == "1 week" else int(lead.split()[0]))


def test_changes_are_told_with_old_new_and_percent(supplier):
    report = take(supplier, "MEM-RC-2030;;each;140,97;1;1 week")
    assert report.changes[0].detail == "145.00 → 140.97 (-2.8 %); lead time in days 3 → 7"
    assert sold("MEM-RC-2030").history.count() == 2


def test_another_currency_and_a_jump_are_said(supplier):
    report = take(supplier)
    assert sum("priced in EUR" in notice.reason for notice in report.notices) == 1
    report = take(supplier, "DRG-ART;;Box/50;0,95;1;2 days")
    assert "Look whether the price is for a pack or a piece" in report.notices[0].reason


def test_an_article_of_the_catalogue_becomes_a_new_offer(supplier, cast):
    Item.objects.create(code="NEW-1", name="New", category="Disposable")
    report = take(supplier, "NEW-1;;Box/12;24,00;2;3 days")
    assert report.changes[0].what == "new offer"
    line = sold("NEW-1")
    assert (line.pack_size, line.pack_price, line.minimum_packs, line.lead_days) == (12, 24, 2, 3)
    assert line.preferred


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("NO-SUCH;;each;1,00;1;2 days", "Art. no.", "the catalogue has this article"),
        (";;each;1,00;1;2 days", "Art. no.", "article number is missing"),
        ("DRG-ART;;each;on request;1;2 days", "Price per pack", "not a number"),
        ("DRG-ART;;each;-1,00;1;2 days", "Price per pack", "lies between 0"),
        ("DRG-ART;;box;1,00;1;2 days", "Pack", "how many units"),
        ("DRG-ART;;each;1,00;0;2 days", "MOQ", "1 or more"),
        ("DRG-ART;;each;1,00;1;soon", "Lead time", "number of days"),
        ("MEM-RC-2030;;each;9,00;1;2 days", "Art. no.", "already prices this article"),
    ],
)
def test_a_faulty_row_is_named_and_nothing_is_taken(supplier, row, column, words):
    before = sold("MEM-RC-2030").pack_price
    report = take(supplier, "MEM-RC-2030;;each;150,00;1;2 days", row)
    problem = report.problems[0]
    assert (problem.row, problem.column) == (3, column)
    assert words in problem.reason
    assert sold("MEM-RC-2030").pack_price == before


def test_the_supplier_is_found_by_name_or_refused(supplier, cast):
    assert find_supplier("brambleforth") == supplier
    with pytest.raises(UnknownSupplier, match="Suppliers: Brambleforth Surgical Supply; "):
        find_supplier("Nobody")
    with pytest.raises(UnknownSupplier):
        find_supplier("")


def test_a_list_that_names_another_supplier_says_so(supplier, cast):
    report = import_prices(
        PRICES.read_bytes(), filename="p.xlsx", supplier=cast.implants, options=Options(**HOW, check=True)
    )
    assert "The list names Brambleforth Surgical Supply" in report.notices[0].reason


def test_the_command_takes_a_supplier_by_name(supplier, capsys):
    where = ("import_prices", str(PRICES), "--format", "json")
    call_command(*where, "--supplier", "Brambleforth Surgical Supply", "--check")
    assert json.loads(capsys.readouterr().out)["accepted"] == 95
    assert sold("MEM-RC-2030").pack_price == 145
    with pytest.raises(CommandError) as wrong:
        call_command(*where, "--supplier", "Nobody")
    assert wrong.value.returncode == 2
