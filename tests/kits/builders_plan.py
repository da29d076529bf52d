"""Builders of the planning tests: bills of a line or two, cases by day, stock and orders."""

import datetime as dt
from decimal import Decimal

from kits.case_codes import next_code
from kits.models import BomLine, BomVersion, Case, CaseProcedure, CaseSite, Finding, Procedure
from kits.replanning import replan
from stock.models import Entry, Item, ItemForecast, Lot, Order, OrderLine, Proposal
from stock.posting import Movement, post
from stock.receiving import open_stock
from tests.builders import NOW, TODAY, Cast, lot, patient


def day(offset: int) -> dt.date:
    """So many days from today; today is a Tuesday."""
    return TODAY + dt.timedelta(days=offset)


def moment(on: dt.date, hour: int = 10) -> dt.datetime:
    """That hour (UTC) of a day."""
    return dt.datetime.combine(on, dt.time(hour), tzinfo=dt.UTC)


def procedure(code: str, *lines: tuple[Item, float, Finding | None]) -> Procedure:
    """A procedure whose bill has one unit of each item with its chance and finding (None: certain)."""
    made = Procedure.objects.create(code=code, name=code, short_name=code)
    version = BomVersion.objects.create(
        procedure=made, number=1, state=BomVersion.State.PUBLISHED, created_at=NOW
    )
    for position, (item, chance, finding) in enumerate(lines):
        BomLine.objects.create(
            version=version,
            position=position,
            item=item,
            description=item.name,
            basis=BomLine.Basis.CASE,
            quantity=Decimal(1),
            unit=item.stock_unit,
            certain=finding is None,
            probability=Decimal(str(chance)),
            finding=finding,
            set_out=BomLine.SetOut.OPEN if finding is None else BomLine.SetOut.TROLLEY,
        )
    return made


def finding(code: str = "F-BLD") -> Finding:
    """A finding of the whole case."""
    return Finding.objects.create(code=code, name=code, condition=f"If {code}", scope=Finding.Scope.CASE)


def case(cast: Cast, of: Procedure, on: dt.date, *, hour: int = 10, state: str = "booked", **facts) -> Case:
    """A case of one procedure at one tooth, an hour long, booked three weeks before."""
    starts_at = moment(on, hour)
    closed = {"closed_at": starts_at} if state == Case.State.CLOSED else {}
    made = Case.objects.create(
        **{
            "code": next_code(),
            "clinic": cast.clinic,
            "room": cast.room,
            "patient": patient(cast.practice),
            "on": on,
            "starts_at": starts_at,
            "minutes": 60,
            "state": state,
            "booked_at": starts_at - dt.timedelta(days=21),
            "changed_at": NOW,
        }
        | closed
        | facts
    )
    version = of.versions.get(state=BomVersion.State.PUBLISHED)
    CaseProcedure.objects.create(case=made, procedure=of, version=version)
    CaseSite.objects.create(case=made, tooth="11")
    return made


def stock(cast: Cast, of: Item, quantity: int, *, last_day: int | None = 400, at: dt.datetime = NOW) -> Lot:
    """Units of a lot on the shelf, usable through so many days from today."""
    expires_on = None if last_day is None else day(last_day)
    made = lot(of, expires_on=expires_on)
    open_stock(lot=made, place=cast.stockroom, quantity=quantity, by=None, at=at)
    return made


def use(cast: Cast, of: Lot, quantity: int, *, at: dt.datetime, source: str = "", reason: str = "") -> Entry:
    """Units taken from the shelf: used, or wasted where a reason is given."""
    kind = Entry.Kind.WASTE if reason else Entry.Kind.USE
    movement = Movement(kind, of, cast.stockroom, -quantity, reason)
    return post(movements=[movement], by=None, at=at, source=source)[0]


def ordered(
    cast: Cast, of: Item, units: int, *, expected: dt.date, state: str = Order.State.SENT
) -> OrderLine:
    """Units of an item on an order, one a pack unless the supplier says otherwise."""
    sold = of.suppliers.get()
    made = Order.objects.create(
        clinic=cast.clinic,
        supplier=sold.supplier,
        number=f"PO-T{Order.objects.count() + 1}",
        state=state,
        created_at=NOW,
        approved_at=NOW,
        sent_at=NOW,
    )
    return OrderLine.objects.create(
        order=made,
        supplier_item=sold,
        packs=units // sold.pack_size,
        pack_size=sold.pack_size,
        pack_price=sold.pack_price,
        expected_on=expected,
    )


def planned(cast: Cast, of: Item, **facts) -> ItemForecast:
    """Plan the clinic from today and give back the item's forecast."""
    replan(**{"clinic": cast.clinic, "today": TODAY, "at": NOW} | facts)
    return ItemForecast.objects.select_related("item").get(clinic=cast.clinic, item=of)


def proposal(cast: Cast, of: Item) -> Proposal | None:
    """What is proposed of an item."""
    return Proposal.objects.filter(clinic=cast.clinic, supplier_item__item=of).first()
