"""A manager takes proposals: they become orders, one a supplier, approved by the same person at once."""

import datetime as dt
from collections.abc import Mapping

from django.db import transaction

from practice.models import Clinic
from practice.refusals import Refusal
from stock.models import Order, Proposal, SupplierItem
from stock.ordering import approve, make_orders
from stock.posting import lock_heads


class NoLongerProposed(Refusal):
    """What was chosen has left the list meanwhile."""

    def __init__(self, *, items: list[SupplierItem]) -> None:
        self.items = items
        names = ", ".join(sold.item.name for sold in items)
        super().__init__(
            f"No longer proposed: {names}. It was ordered or received meanwhile, so nothing was ordered now. "
            "Look at the list again."
        )


@transaction.atomic
def order_proposals(*, clinic: Clinic, packs: Mapping[int, int], by, at: dt.datetime) -> list[Order]:
    """Order these packs (by id of the supplier's item) of what is proposed, and approve the orders.

    An order above the clinic's limit stays to be approved by a second manager. Raises NoLongerProposed,
    and NothingChosen, WrongQuantity and BelowMinimum of stock.ordering.
    """
    # Whoever comes second waits here, and then finds that the proposals are gone.
    lock_heads([clinic.pk])
    found = Proposal.objects.filter(clinic=clinic, supplier_item__in=packs).select_related(
        "supplier_item__item", "supplier_item__supplier"
    )
    proposals = {proposal.supplier_item_id: proposal for proposal in found.order_by("id")}
    missing = [sold for sold in packs if sold not in proposals]
    if missing:
        gone = SupplierItem.objects.filter(pk__in=missing).select_related("item")
        raise NoLongerProposed(items=list(gone))
    choices = [
        (proposals[sold].supplier_item, number, proposals[sold].reason) for sold, number in packs.items()
    ]
    orders = make_orders(clinic=clinic, choices=choices, by=by, at=at)
    return [approve(order=order, by=by, at=at) for order in orders]
