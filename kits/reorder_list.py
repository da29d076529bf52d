"""The reorder list of a clinic as its page shows it: proposals by supplier, priced for the chosen packs."""

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from kits.proposal_sums import sums_rows
from kits.replanning import COUNTED
from practice.models import Clinic, Policy
from stock.models import Item, ItemForecast, Order, Proposal, Supplier, SupplierItem
from stock.order_lists import with_sums
from stock.ordering import pack_price
from stock.queries import receipts_due
from stock.unit_words import long_cover_words, unit_word, units_words

USE_DAYS = 90


@dataclass(frozen=True, kw_only=True)
class ReorderLine:
    """One proposal: what is bought, why, and what the chosen packs come to."""

    proposal: Proposal
    sold: SupplierItem
    item: Item
    in_date: str
    on_order: str
    sums: list[tuple[str, str]]
    packs: int
    units: str
    piece: str
    price: Decimal
    is_chosen: bool
    is_late: bool
    long_cover: str

    @property
    def sold_as(self) -> str:
        """How it is sold: “pack of 12”, or by the unit."""
        size = self.sold.pack_size
        return f"pack of {size:,}" if size > 1 else f"by the {unit_word(1, self.item.stock_unit)}"

    @property
    def says(self) -> str:
        """Packs and units together: “2 packs = 24 pieces”."""
        return f"{self.packs:,} {'pack' if self.packs == 1 else 'packs'} = {self.units}"

    @property
    def packs_name(self) -> str:
        """Name of the form's field for its packs."""
        return f"packs-{self.sold.pk}"

    @property
    def packs_label(self) -> str:
        """What is counted, for people who listen."""
        return f"packs of {self.item.name}"

    @property
    def all_sums(self) -> list[tuple[str, str]]:
        """The figures, and last what happens if it waits for the next review."""
        waiting = self.proposal.sums.get("waiting", "")
        return [*self.sums, ("If it waits", waiting)] if waiting else self.sums


@dataclass(frozen=True, kw_only=True)
class SupplierPart:
    """The proposals of one supplier; ``total`` and ``chosen`` count the chosen lines."""

    supplier: Supplier
    lines: list[ReorderLine]
    arrives: str
    freight: str
    needs_second: bool

    @property
    def chosen(self) -> list[ReorderLine]:
        """Lines that are to be ordered."""
        return [line for line in self.lines if line.is_chosen]

    @property
    def total(self) -> Decimal:
        """Price of the chosen lines, freight and tax left out."""
        return sum((line.price for line in self.chosen), Decimal(0))


@dataclass(frozen=True, kw_only=True)
class ReorderList:
    """Everything proposed at a clinic, and the orders that wait for a manager."""

    parts: list[SupplierPart]
    in_hand: list[Order]
    limit: Decimal

    @property
    def lines(self) -> list[ReorderLine]:
        """All proposals."""
        return [line for part in self.parts for line in part.lines]

    @property
    def ordering(self) -> list[SupplierPart]:
        """Suppliers of which something is chosen: each becomes an order."""
        return [part for part in self.parts if part.chosen]

    @property
    def chosen_number(self) -> int:
        """Lines chosen."""
        return sum(len(part.chosen) for part in self.parts)

    @property
    def total(self) -> Decimal:
        """Price of all chosen lines."""
        return sum((part.total for part in self.parts), Decimal(0))

    @property
    def late_number(self) -> int:
        """Lines whose day to order by is today or has passed."""
        return sum(line.is_late for line in self.lines)

    @property
    def second_number(self) -> int:
        """Orders that would need a second manager."""
        return sum(part.needs_second for part in self.ordering)


def reorder_list(*, clinic: Clinic, today: dt.date, packs: Mapping[int, int] | None = None) -> ReorderList:
    """The list with these packs chosen by id of the supplier's item (None: everything as proposed).

    A line that is not in ``packs`` is shown with the proposed packs and not chosen. Seven queries, however
    many proposals.
    """
    proposals = list(
        Proposal.objects.filter(clinic=clinic)
        .select_related("supplier_item__item", "supplier_item__supplier")
        .prefetch_related("supplier_item__price_breaks")
        .order_by("supplier_item__supplier__name", "order_by_on", "supplier_item__item__name")
    )
    items = [proposal.supplier_item.item_id for proposal in proposals]
    found = ItemForecast.objects.filter(clinic=clinic, item__in=items).defer("series")
    forecasts = {forecast.item_id: forecast for forecast in found}
    due: dict[int, int] = defaultdict(int)
    for receipt in receipts_due(clinic=clinic, today=today, states=COUNTED):
        due[receipt.item_id] += receipt.quantity
    policy = Policy.objects.filter(clinic=clinic).first() or Policy(clinic=clinic)
    by_supplier: dict[Supplier, list[ReorderLine]] = defaultdict(list)
    for proposal in proposals:
        forecast = forecasts.get(proposal.supplier_item.item_id)
        line = _line(proposal, forecast, due[proposal.supplier_item.item_id], packs, today)
        by_supplier[line.sold.supplier].append(line)
    waiting = Order.objects.filter(clinic=clinic, state__in=(Order.State.PROPOSED, Order.State.APPROVED))
    return ReorderList(
        parts=[_part(supplier, lines, policy.approval_limit) for supplier, lines in by_supplier.items()],
        in_hand=list(with_sums(waiting).order_by("id")),
        limit=policy.approval_limit,
    )


def _line(
    proposal: Proposal,
    forecast: ItemForecast | None,
    due: int,
    packs: Mapping[int, int] | None,
    today: dt.date,
) -> ReorderLine:
    sold, item = proposal.supplier_item, proposal.supplier_item.item
    wanted = proposal.packs if packs is None else packs.get(sold.pk, proposal.packs)
    units = wanted * sold.pack_size
    use_a_day = forecast.expected_use_90d / USE_DAYS if forecast else 0.0
    usable = forecast.usable if forecast else 0
    return ReorderLine(
        proposal=proposal,
        sold=sold,
        item=item,
        in_date=units_words(usable, item.stock_unit),
        on_order=units_words(due, item.stock_unit) if due else "",
        sums=sums_rows(proposal.sums, unit=item.stock_unit, pack_size=sold.pack_size)
        if proposal.sums
        else [],
        packs=wanted,
        units=units_words(units, item.stock_unit),
        piece=unit_word(2, item.stock_unit),
        price=pack_price(sold, wanted) * wanted,
        is_chosen=packs is None or sold.pk in packs,
        is_late=proposal.order_by_on <= today,
        long_cover=long_cover_words(units, use_a_day),
    )


def _part(supplier: Supplier, lines: list[ReorderLine], limit: Decimal) -> SupplierPart:
    leads = [day for line in lines for day in line.proposal.sums.get("lead_days", (line.sold.lead_days,))]
    low, high = min(leads), max(leads)
    arrives = f"arrives in {low} days" if low == high else f"arrives in {low} to {high} days"
    part = SupplierPart(supplier=supplier, lines=lines, arrives=arrives, freight="", needs_second=False)
    over = supplier.freight_free_over
    freight = ""
    if over is not None and part.chosen:
        left = over - part.total
        freight = f"{left:,.2f} more for free freight" if left > 0 else f"freight free over {over:,.2f}"
    return SupplierPart(
        supplier=supplier, lines=lines, arrives=arrives, freight=freight, needs_second=part.total > limit
    )
