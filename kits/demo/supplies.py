"""What the demo practice keeps: catalogue and bills through their importers, label codes, levels."""

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from math import ceil

from django.conf import settings

from kits.demo.drafting import Origins
from kits.importing_boms import import_boms
from kits.models import BomLine
from kits.requirements import ROOM
from practice.importing import Options
from stock.bulk import name_by_gtin
from stock.importing_catalogue import CatalogueRow, import_catalogue, read_catalogue
from stock.models import Item, SupplierItem

FIXTURES = settings.BASE_DIR / "fixtures"
# A prefix for use inside one business only: codes that start with 2 name nothing outside it (GS1 General
# Specifications, restricted circulation numbers).
GTIN_PREFIX = "02999"
DECLINABLE = frozenset({"human", "porcine", "bovine"})
# Unit price below which the suggested par is kept so many times (currency of the practice).
FACTORS = ((5, 2.7), (30, 1.9), (float("inf"), 1.6))
# Below this par one more is kept, at each clinic (units).
FEW = (4, 2)
# Sizes that most cases hold in reserve: the suggested par counts use, not what has to lie ready (units).
IN_RESERVE = {
    "GRF-AL-025": 8,
    "CVS-CR": 3,
    "CVS-CN": 1,
    "CVS-CW": 1,
    "HAB-CR-5": 3,
    "PRO-PVL": 2,
    "PRO-BIT": 2,
}


@dataclass(frozen=True)
class Supplies:
    """Items and how they are sold by catalogue code, and what each clinic orders up to (units)."""

    items: dict[str, Item]
    sold: dict[str, SupplierItem]
    kept: dict[str, dict[str, int]]

    def is_counted(self, code: str) -> bool:
        """Whether the ledger counts the item: neither a set nor lab work."""
        item = self.items[code]
        return not item.is_set and item.tracking != Item.Tracking.CASE


def origins_of(supplies: Supplies) -> Origins:
    """Origins of every item, and the items fixed in each procedure's bill, group members left out."""
    fixed: dict[str, set[str]] = defaultdict(set)
    lines = BomLine.objects.filter(item__isnull=False, choose_one_group="").exclude(set_out=ROOM)
    for code, procedure in lines.values_list("item__code", "version__procedure__code"):
        fixed[procedure].add(code)
    return Origins(
        of={code: item.origins & DECLINABLE for code, item in supplies.items.items()},
        fixed={procedure: frozenset(codes) for procedure, codes in fixed.items()},
    )


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
        kept={
            clinic: {row.facts["code"]: _kept(row, n) for row in rows} for n, clinic in enumerate(("A", "B"))
        },
    )


def _kept(row: CatalogueRow, clinic: int) -> int:
    """What a clinic orders up to: the suggested par, more of what costs little and is missed at once.

    Where the file suggests few or none of something that is used, one more is kept.
    """
    par, price = row.suggested_pars[clinic], (row.sold["pack_price"] or 0) / row.sold["pack_size"]
    factor = next(factor for limit, factor in FACTORS if price < limit)
    used = row.weekly_use[clinic] > 0
    reserve = IN_RESERVE.get(row.facts["code"], 0) // (1 + 2 * clinic)
    return ceil(par * factor) + int(used and par < FEW[clinic]) + reserve
