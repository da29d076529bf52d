"""Builders of the kits tests: the trade catalogue and bills from the fixtures, cases, and stock for them."""

import csv
import datetime as dt
from collections import Counter
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from pathlib import Path

from kits import picking
from kits.importing_boms import import_boms
from kits.models import Case, Preference, Procedure, TrayUnit
from kits.scheduling import book, plan_site
from stock.item_facts import approver_of, size_facts
from stock.models import Balance, Item, Lot, Place
from stock.posting import Movement, Posting, post_many
from stock.receiving import open_stock
from tests.builders import NOW, TODAY, Cast, cast, lot

TOMORROW = TODAY + dt.timedelta(days=1)
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


def unsaved_catalogue() -> dict[str, Item]:
    """The trade catalogue as items that are in no database, by code; for tests of what is pure."""
    return {row["item_code"]: _item(row) for row in _rows()}


def catalogue() -> dict[str, Item]:
    """The whole trade catalogue as items, by code; items of the cast take over the trade's facts."""
    facts = [field.name for field in Item._meta.concrete_fields if field.name not in ("id", "code")]
    Item.objects.bulk_create(
        (_item(row) for row in _rows()),
        update_conflicts=True,
        unique_fields=["code"],
        update_fields=facts,
    )
    return Item.objects.in_bulk(field_name="code")


def bills(*, at: dt.datetime = NOW):
    """Import the trade's bills; returns the report."""
    data = (FIXTURES / "boms.csv").read_bytes()
    return import_boms(data, filename="boms.csv", by=None, at=at)


@dataclass
class Kits:
    """The standing cast with the trade's catalogue, bills, glove cards and a full stockroom."""

    cast: Cast
    items: dict[str, Item]
    procedures: dict[str, Procedure]

    def case(self, *codes: str, teeth=("11",), hour: int = 10, on: dt.date = TOMORROW, **facts) -> Case:
        """A booked case of these procedures, tomorrow at ten unless told otherwise."""
        cast = self.cast
        starts_at = dt.datetime.combine(on, dt.time(hour), tzinfo=dt.UTC)
        facts = {
            "clinic": cast.clinic,
            "patient": cast.patient,
            "room": cast.room,
            "clinician": cast.clinician,
            "assistant": cast.assistant,
            "by": cast.manager,
            "at": NOW,
        } | facts
        procedures = [self.procedures[code] for code in codes]
        return book(procedures=procedures, starts_at=starts_at, on=on, teeth=teeth, **facts)

    def stock(self, code: str, quantity: int = 1, *, place=None, **facts) -> Lot:
        """Units of an item in the stockroom; of unit-tracked items one row each, the last is returned."""
        item = self.items[code]
        place = place or self.cast.stockroom
        made = None
        for _ in range(quantity if item.is_unit_tracked else 1):
            made = lot(item, **facts)
            units = 1 if item.is_unit_tracked else quantity
            open_stock(lot=made, place=place, quantity=units, by=None, at=NOW)
        return made

    def stock_everything(self, *, each: int = 3) -> None:
        """Enough of every stocked item, except what is made for one case; one bulk posting."""
        postings = []
        for item in self.items.values():
            if item.is_set or item.tracking == Item.Tracking.CASE:
                continue
            rows = [(lot(item), 1) for _ in range(each)] if item.is_unit_tracked else [(lot(item), 200)]
            postings += [
                Posting([Movement("opening", made, self.cast.stockroom, units)], None, NOW)
                for made, units in rows
            ]
        post_many(postings=postings)

    def fill_tray(self, case: Case) -> Case:
        """Set out everything of a case: scan what has to be scanned, tick the rest."""
        by = self.cast.assistant
        case = picking.begin(case=case, by=by, at=NOW)
        for line in picking.pick_list(case=case, today=TODAY).wanted:
            if line.kind != "stock":
                picking.tick(line=line.line, by=by, at=NOW)
            for part in line.parts:
                picking.put_on_tray(
                    line=line.line,
                    lot=part.lot,
                    place=part.place,
                    quantity=part.quantity,
                    scanned=line.must_scan,
                    by=by,
                    at=NOW,
                )
        return case

    def plan(self, case: Case, implant: str) -> Case:
        """Plan the same implant at every site of a case."""
        for site in case.sites.all():
            plan_site(case=case, tooth=site.tooth, implant=self.items[implant], by=None, at=NOW)
        return case

    def scan_one(self, case: Case, item: Item):
        """Scan the next unit of an item that lies in the stockroom; the answer has to be yes."""
        free = Lot.objects.filter(item=item, balances__place=self.cast.stockroom, balances__quantity__gt=0)
        answer = self.scan(case, free.earliest("expires_on", "pk").serial)
        assert answer.ok, answer
        return answer

    def scan(self, case: Case, text: str):
        """Scan a text to a case as the assistant."""
        return picking.scan(case=case, text=text, by=self.cast.assistant, at=NOW, today=TODAY)

    def unit(self, case: Case, code: str) -> TrayUnit:
        """The one pending unit row of an item on a case's tray."""
        return TrayUnit.objects.get(line__case=case, lot__item__code=code, outcome="")

    def used(self, case: Case) -> Counter:
        """Units used by item code."""
        return self._by_outcome(case, TrayUnit.Outcome.USED)

    def back(self, case: Case) -> Counter:
        """Units put back by item code."""
        return self._by_outcome(case, TrayUnit.Outcome.PUT_BACK)

    def _by_outcome(self, case: Case, outcome: str) -> Counter:
        found: Counter = Counter()
        for unit in TrayUnit.objects.filter(line__case=case, outcome=outcome).select_related("lot__item"):
            found[unit.lot.item.code] += unit.quantity
        return found

    def held(self, code: str) -> int:
        """Units of an item at the clinic, trays included."""
        rows = Balance.objects.filter(lot__item__code=code, place__clinic=self.cast.clinic)
        return sum(row.quantity for row in rows)

    def at(self, place: Place, code: str) -> int:
        """Units of an item at a place."""
        return sum(row.quantity for row in Balance.objects.filter(lot__item__code=code, place=place))


def kits() -> Kits:
    """Build the cast, the catalogue, the bills and the two glove cards."""
    people = cast()
    items = catalogue()
    # The cast's own implants would double sizes of the trade catalogue.
    Item.objects.filter(code__in=("IMP-CR-4310", "IMP-CW-5010")).update(is_active=False)
    bills()
    for person, size in ((people.clinician, "PPE-SG80"), (people.assistant, "PPE-SG70")):
        Preference.objects.create(user=person, slot="GLOVE", item=items[size])
    procedures = {procedure.code: procedure for procedure in Procedure.objects.all()}
    return Kits(people, items, procedures)
