"""Orders as pages and files show them: with price, lines and the day they are expected, in few queries."""

from decimal import Decimal

from django.db.models import Case, CharField, Count, F, Max, Q, QuerySet, Sum, Value, When

from stock.models import Order

# Shape of the status component for each state.
SHAPES = {
    Order.State.PROPOSED: "thin",
    Order.State.APPROVED: "thin",
    Order.State.SENT: "waiting",
    Order.State.PART_RECEIVED: "waiting",
    Order.State.RECEIVED: "done",
    Order.State.CANCELLED: "waiting",
}


def with_sums(orders: QuerySet[Order]) -> QuerySet[Order]:
    """Orders with ``lines_number``, ``price`` (clinic currency), ``expected_on`` and ``shape``; one query."""
    price = Sum(F("lines__packs") * F("lines__pack_price"), default=Decimal(0))
    shape = Case(
        *(When(state=state, then=Value(shape)) for state, shape in SHAPES.items()),
        default=Value("waiting"),
        output_field=CharField(),
    )
    return orders.select_related("supplier", "clinic", "approved_by", "second_approved_by").annotate(
        lines_number=Count("lines"),
        price=price,
        expected_on=Max("lines__expected_on"),
        shape=shape,
    )


def searched(orders: QuerySet[Order], *, text: str) -> QuerySet[Order]:
    """Orders whose number, supplier or an item's name or code holds every word of a text."""
    for word in text.split():
        orders = orders.filter(
            Q(number__icontains=word) | Q(supplier__name__icontains=word) | Q(pk__in=_holding(word))
        )
    return orders


def _holding(word: str) -> QuerySet:
    named = Q(lines__supplier_item__item__name__icontains=word) | Q(
        lines__supplier_item__item__code__icontains=word
    )
    return Order.objects.filter(named).values("pk")
