"""Builders of the kits tests: the trade catalogue and bills from the fixtures, cases, and stock for them."""

import csv
import datetime as dt
from decimal import Decimal
from functools import lru_cache
from pathlib import Path

from kits.importing_boms import import_boms
from stock.item_facts import approver_of, size_facts
from stock.models import Item
from tests.builders import NOW

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"


@lru_cache
def _rows() -> list[dict]:
    with open(FIXTURES / "catalogue.csv", encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def prices() -> dict[str, Decimal]:
    """Price of one unit by item code, from the catalogue."""
    return {row["item_code"]: Decimal(row["unit_price_invented"] or 0) for row in _rows()}


def _item(row: dict) -> Item:
    kind = row["category"]
    facts = size_facts(name=row["name"], spec=row["spec"], category=kind, group=row["substitution_group"])
    human = row["human_tissue"] == "Y"
    return Item(
        code=row["item_code"],
        name=row["name"],
        category=kind,
        stock_unit=row["stock_unit"],
        spec=row["spec"],
        tracking=row["tracking"],
        criticality=row["criticality"][0],
        supply_mode=row["supply_mode"],
        human_tissue=human,
        tissue_log_needed=human,
        origin=row["origin"],
        single_patient_use=row["single_patient_use"] == "Y",
        substitution_group=row["substitution_group"],
        substitution_rule=row["substitution_rule"],
        substitution_approver=approver_of(row["substitution_rule"], category=kind),
        **facts,
    )


def catalogue() -> dict[str, Item]:
    """The whole trade catalogue as items, by code; rows that exist already are left alone."""
    present = set(Item.objects.values_list("code", flat=True))
    Item.objects.bulk_create(_item(row) for row in _rows() if row["item_code"] not in present)
    return Item.objects.in_bulk(field_name="code")


def bills(*, at: dt.datetime = NOW):
    """Import the trade's bills; returns the report."""
    data = (FIXTURES / "boms.csv").read_bytes()
    return import_boms(data, filename="boms.csv", by=None, at=at)
