"""What the demo practice keeps: catalogue and bills through their importers, codes on labels, suggested pars."""

import datetime as dt
from dataclasses import dataclass

from django.conf import settings

from kits.importing_boms import import_boms
from practice.importing import Options
from stock.bulk import name_by_gtin
from stock.importing_catalogue import import_catalogue, read_catalogue
from stock.models import Item, SupplierItem

FIXTURES = settings.BASE_DIR / "fixtures"
# A prefix for use inside one business only: codes that start with 2 name nothing outside it (GS1 General
# Specifications, restricted circulation numbers).
GTIN_PREFIX = "02999"


@dataclass(frozen=True)
class Supplies:
    """Items and how they are sold by catalogue code, and what the catalogue suggests each clinic keeps (units)."""

    items: dict[str, Item]
    sold: dict[str, SupplierItem]
    pars: dict[str, dict[str, int]]

    def is_counted(self, code: str) -> bool:
        """Whether the ledger counts the item: neither a set nor lab work."""
        item = self.items[code]
        return not item.is_set and item.tracking != Item.Tracking.CASE


class BadFixture(Exception):
    """A file of the demo was refused by its importer; the sentence says why."""


def bring_in_supplies(*, at: dt.datetime, today: dt.date, by) -> Supplies:
    """Import catalogue and bills, name items by GTIN, and read the suggested pars. Raises BadFixture."""
    catalogue = (FIXTURES / "catalogue.csv").read_bytes()
    options = Options(today=today, at=at, by=by)
    report = import_catalogue(catalogue, filename="catalogue.csv", options=options)
    if report.is_refused:
        raise BadFixture(f"catalogue.csv: {report.verdict(check=False)} {report.problems[:3]}")
    import_boms((FIXTURES / "boms.csv").read_bytes(), filename="boms.csv", by=by, at=at)
    items = Item.objects.in_bulk(field_name="code")
    name_by_gtin(items=items.values(), prefix=GTIN_PREFIX)
    sold = SupplierItem.objects.filter(preferred=True).select_related("supplier", "item")
    rows, _ = read_catalogue(catalogue, filename="catalogue.csv")
    return Supplies(
        items=items,
        sold={line.item.code: line for line in sold},
        pars={
            "A": {row.facts["code"]: row.suggested_pars[0] for row in rows},
            "B": {row.facts["code"]: row.suggested_pars[1] for row in rows},
        },
    )
