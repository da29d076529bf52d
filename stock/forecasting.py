"""Keep the newest plan of a clinic: the outlook of each item, and what to buy.

The planner above works the figures out; this verb alone writes them. A plan replaces the one before
whole, in one transaction, so a page never shows half of two plans. Nothing here is a record that must
be kept: a plan can be worked out again at any time, so it leaves no audit entry.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field

from django.db import transaction

from practice.models import Clinic
from stock.models import ItemForecast, Proposal


@dataclass(frozen=True, kw_only=True)
class Outlook:
    """What the planner worked out for one item; the fields are those of ``ItemForecast``."""

    item_id: int
    on_hand: int
    usable: int
    expected_use_30d: float
    expected_use_90d: float
    must_have_peak: int = 0
    must_have_peak_on: dt.date | None = None
    covered_until: dt.date | None = None
    order_by_on: dt.date | None = None
    series: dict = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Suggestion:
    """What to buy of one supplier's item and why; the fields are those of ``Proposal``."""

    supplier_item_id: int
    packs: int
    order_by_on: dt.date
    reason: str
    sums: dict = field(default_factory=dict)


def replace_plan(
    *,
    clinic: Clinic,
    outlooks: Sequence[Outlook],
    suggestions: Sequence[Suggestion],
    starts_on: dt.date,
    at: dt.datetime,
    stamp: str,
) -> None:
    """Write a clinic's plan in place of the one before.

    starts_on: first planned day; at: the moment it was worked out; stamp: what it was worked out from.
    Two planners at once queue on the clinic's row; the later one stays.
    """
    with transaction.atomic():
        Clinic.objects.select_for_update().get(pk=clinic.pk)
        ItemForecast.objects.filter(clinic=clinic).delete()
        Proposal.objects.filter(clinic=clinic).delete()
        ItemForecast.objects.bulk_create(
            ItemForecast(clinic=clinic, starts_on=starts_on, made_at=at, stamp=stamp, **_fields(outlook))
            for outlook in outlooks
        )
        Proposal.objects.bulk_create(
            Proposal(clinic=clinic, **_fields(suggestion)) for suggestion in suggestions
        )


def _fields(value: Outlook | Suggestion) -> dict:
    # asdict would copy every number of the daily series, which is most of the time of a plan.
    return {name: getattr(value, name) for name in value.__dataclass_fields__}


def plan_stamp(*, clinic: Clinic) -> tuple[str, dt.date] | None:
    """The stamp and first day of the clinic's newest plan, or None if there is none."""
    return ItemForecast.objects.filter(clinic=clinic).values_list("stamp", "starts_on").first()
