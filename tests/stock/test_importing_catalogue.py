"""The catalogue import on the demo's own catalogue (173 items and 18 sets; counts by reading the file)."""

import csv
import io
import json
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from practice.importing import Options
from practice.models import AuditEntry
from stock.importing_catalogue import import_catalogue, read_catalogue
from stock.models import ClinicItem, Item, Supplier, SupplierItem
from tests.builders import NOW, TODAY

CATALOGUE = Path(__file__).parents[2] / "fixtures" / "catalogue.csv"
HEADER = "item_code,name,category,pack_size,unit_price_invented,supplier,tracking,criticality,human_tissue"


def take(data=None, **how):
    data = CATALOGUE.read_bytes() if data is None else data
    return import_catalogue(data, filename="catalogue.csv", options=Options(today=TODAY, at=NOW, **how))


def table(*rows):
    return "\n".join((HEADER, *rows)).encode()


def rows_of_file():
    return list(csv.DictReader(io.StringIO(CATALOGUE.read_text("utf-8-sig"))))


def test_the_whole_file_is_taken_and_the_second_time_changes_nothing(db):
    report = take()
    assert (report.read, report.accepted, report.unchanged, report.problems) == (191, 191, 0, [])
    assert Item.objects.count() == 191
    assert Item.objects.filter(supply_mode=Item.Supply.ASSET).count() == 18
    again = take()
    assert (again.accepted, again.unchanged, again.applied) == (0, 191, False)
    assert AuditEntry.objects.filter(action="file.import").count() == 1


def test_every_row_of_the_file_stands_in_the_catalogue_as_it_is(db):
    """Oracle: the csv module, row by row."""
    take()
    for row in rows_of_file():
        item = Item.objects.get(code=row["item_code"])
        assert (item.name, item.category, item.tracking) == (row["name"], row["category"], row["tracking"])
        assert item.criticality == row["criticality"][0]
        assert item.human_tissue == (row["human_tissue"] == "Y")
        assert item.origin == row["origin"]
        if row["supplier"]:
            sold = item.suppliers.get()
            assert sold.supplier.name + " (invented)" == row["supplier"]
            price = Decimal(row["unit_price_invented"]) * int(row["pack_size"])
            assert (sold.pack_price, sold.pack_size) == (price, int(row["pack_size"]))
            assert sold.lead_days == int(row["lead_time_days"])


def test_facts_are_read_and_the_tissue_bank_is_one(db):
    take()
    implant = Item.objects.get(code="IMP-CW-60-080")
    assert (implant.diameter_mm, implant.length_mm, implant.connection) == (6, 8, "CW")
    assert Item.objects.get(code="GRF-XB-050").mass_g == Decimal("0.25")
    assert Item.objects.get(code="SET-EXM").sets_owned == 16
    assert list(Supplier.objects.filter(is_tissue_bank=True).values_list("name", flat=True)) == [
        "Hathermoss Tissue Bank"
    ]


def test_pars_are_handed_on_but_only_the_rescue_minimum_is_kept(cast):
    rows, _ = read_catalogue(CATALOGUE.read_bytes(), filename="catalogue.csv")
    pars = {row.facts["code"]: row.suggested_pars for row in rows}
    assert pars["GRF-AL-050"][0] == 10
    take()
    kept = ClinicItem.objects.filter(clinic=cast.clinic, keep_at_least=1).values_list("item__code", flat=True)
    assert set(kept) >= {"IMP-CW-60-080", "IMP-CW-60-100"}
    assert ClinicItem.objects.filter(item__code="GRF-AL-050").count() == 0


def test_a_changed_row_changes_the_item_and_history_keeps_the_old(db):
    row = "A-1,Gauze,Disposable,50,0.10,Somebody,lot,C nice to have,N"
    take(table(row))
    report = take(table(row.replace("Gauze", "Sterile gauze")))
    assert [(c.what, c.detail) for c in report.changes] == [("changed item", "name")]
    item = Item.objects.get(code="A-1")
    assert item.name == "Sterile gauze"
    assert [each.name for each in item.history.all()] == ["Sterile gauze", "Gauze"]


def test_a_price_is_not_turned_back_by_reading_the_catalogue_again(db):
    row = "A-1,Gauze,Disposable,50,0.10,Somebody,lot,C,N"
    take(table(row))
    SupplierItem.objects.update(pack_price=Decimal("6.50"))
    report = take(table(row))
    assert SupplierItem.objects.get().pack_price == Decimal("6.50")
    assert "Prices change by price lists" in report.notices[0].reason


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        (",Gauze,Disposable,1,1,S,lot,C,N", "item_code", "must not be empty"),
        ("A,Gauze,Disposable,0,1,S,lot,C,N", "pack_size", "1 or more"),
        ("A,Gauze,Disposable,1,x,S,lot,C,N", "unit_price_invented", "not a number"),
        ("A,Gauze,Disposable,1,-1,S,lot,C,N", "unit_price_invented", "cannot be negative"),
        ("A,Gauze,Disposable,1,1,S,box,C,N", "tracking", "must be one of: none, lot"),
        ("A,Gauze,Disposable,1,1,S,lot,Q,N", "criticality", "must be one of: A, B, C"),
        ("A,Gauze,Disposable,1,1,S,lot,C,maybe", "human_tissue", "must be Y or N"),
        ("A" * 41 + ",Gauze,Disposable,1,1,S,lot,C,N", "item_code", "longer than 40"),
    ],
)
def test_a_faulty_row_is_named_and_nothing_is_taken(db, row, column, words):
    report = take(table("OK-1,Fine,Disposable,1,1,S,lot,C,N", row))
    problem = report.problems[0]
    assert (problem.row, problem.column) == (3, column)
    assert words in problem.reason
    assert Item.objects.count() == 0
    take(table("OK-1,Fine,Disposable,1,1,S,lot,C,N", row), accept_good=True)
    assert list(Item.objects.values_list("code", flat=True)) == ["OK-1"]


def test_a_code_that_stands_twice_is_a_problem(db):
    report = take(table("A,Gauze,Disposable,1,1,S,lot,C,N", "A,Gauze,Disposable,1,1,S,lot,C,N"))
    assert report.problems[0].reason == "This code already stands in an earlier row."


def test_the_command_prints_json_and_says_no_by_its_exit_code(db, tmp_path, capsys):
    call_command("import_catalogue", str(CATALOGUE), "--check", "--format", "json")
    assert json.loads(capsys.readouterr().out)["accepted"] == 191
    assert Item.objects.count() == 0
    with pytest.raises(CommandError) as refused:
        call_command("import_catalogue", str(tmp_path / "none.csv"))
    assert refused.value.returncode == 2
    (tmp_path / "odd.csv").write_text("what,ever\n1,2\n")
    with pytest.raises(CommandError) as refused:
        call_command("import_catalogue", str(tmp_path / "odd.csv"), "--format", "json")
    assert refused.value.returncode == 1
    assert "has no row that names the columns" in json.loads(capsys.readouterr().out)["problems"][0]["reason"]
