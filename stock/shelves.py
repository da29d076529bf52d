"""Questions about places: what lies at each, and what of it is out of date. Days are passed in."""

import datetime as dt

from django.db.models import Count, F, Min, Q, QuerySet, Sum

from stock.models import Balance, Place


def with_contents(places: QuerySet[Place], *, today: dt.date) -> QuerySet[Place]:
    """Places with ``units``, ``lots``, ``soonest_on`` (next expiry), ``expired`` and ``decided`` units.

    One query. Units are counted from the balances; None where nothing lies there.
    """
    lying = Q(balances__quantity__gt=0)
    dated = lying & Q(balances__lot__expires_on__gte=today)
    return places.annotate(
        units=Sum("balances__quantity", filter=lying),
        lots=Count("balances", filter=lying),
        soonest_on=Min("balances__lot__expires_on", filter=dated),
        expired=Sum("balances__quantity", filter=lying & Q(balances__lot__expires_on__lt=today)),
        decided=Sum("balances__quantity", filter=lying & ~Q(balances__lot__decision="")),
    )


def lying_in(place: Place, *, text: str = "") -> QuerySet[Balance]:
    """What lies at a place, soonest to expire first; ``text``: words of name, code, lot or serial."""
    rows = Balance.objects.filter(place=place, quantity__gt=0).select_related("lot__item")
    for word in text.split():
        rows = rows.filter(
            Q(lot__item__name__icontains=word)
            | Q(lot__item__code__icontains=word)
            | Q(lot__lot_number__icontains=word)
            | Q(lot__serial__icontains=word)
        )
    return rows.order_by(F("lot__expires_on").asc(nulls_last=True), "lot_id")
