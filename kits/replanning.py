"""Work out a clinic's plan: the outlook of every item, and what to order now and why.

Loads what is known, hands it to the pure sums in batches, and writes the result through stock's verb.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from kits import proposing
from kits.booked_cases import booked_cases
from kits.demand import ItemDemand, build, in_reach
from kits.expected_cases import Coming
from kits.forecast_sources import coming_cases, everything_else
from kits.plan_stamp import stamp_of
from practice.models import Clinic, Policy
from practice.workdays import Workdays, workdays
from stock import plan_supply
from stock.forecasting import Outlook, Suggestion, plan_stamp, replace_plan
from stock.models import Item, Order
from stock.plan_values import ItemStock, Seller
from stock.planning.outflow import Demand, Projection, covered_until, project_many
from stock.planning.pmf import TIE_TOLERANCE
from stock.queries import receipts_due
from stock.values import ReceiptDue

ONE_DAY = dt.timedelta(days=1)
# Orders still to be approved count as due too, or the same goods would be proposed again.
COUNTED = (Order.State.PROPOSED, *Order.OPEN)
# Fewest days planned: two reviews and the slowest supplier must fit in (unit: days). Our choice.
LEAST_DAYS = 90


@dataclass(frozen=True, kw_only=True)
class Known:
    """Everything loaded of a clinic for one plan; mappings are by item id."""

    today: dt.date
    days: int
    policy: Policy
    calendar: Workdays
    items: Sequence[Item]
    demand: Mapping[int, ItemDemand]
    coming: Coming
    stock: Mapping[int, ItemStock]
    due: Mapping[int, Sequence[ReceiptDue]]
    kept: Mapping[int, int]
    sellers: Mapping[int, Seller]
    leads_seen: Mapping[int, Sequence[int]]


def calendar_of(clinic: Clinic) -> Workdays:
    """The clinic's open days."""
    closures = clinic.closures.values_list("starts_on", "ends_on")
    return workdays(weekdays=clinic.open_weekdays, closures=closures)


def ensure_fresh(*, clinic: Clinic, today: dt.date, at: dt.datetime) -> bool:
    """Plan anew if anything the plan hangs on has changed since, or the day has; say whether it did."""
    stamp = stamp_of(clinic=clinic, today=today)
    if plan_stamp(clinic=clinic) == (stamp, today):
        return False
    replan(clinic=clinic, today=today, at=at)
    return True


def replan(*, clinic: Clinic, today: dt.date, at: dt.datetime, days: int | None = None) -> None:
    """Work out and write the clinic's plan from `today` on, for `days` days (None: the clinic's policy).

    at: the moment it is worked out. The plan before is replaced whole.
    """
    # Taken first: what changes while the sums run makes the plan stale, not wrong without notice.
    stamp = stamp_of(clinic=clinic, today=today)
    known = load(clinic=clinic, today=today, days=days)
    planned = {item.pk: _demand(known, item) for item in known.items}
    found = project_many(list(planned.values()))
    projections = dict(zip(planned, found, strict=True))
    proposed = proposing.propose_all(
        {
            item.pk: _subject(known, item, planned[item.pk])
            for item in known.items
            if item.pk in known.sellers
        },
        _terms(known),
    )
    outlooks = [
        _outlook(known, item, planned[item.pk], projections[item.pk], proposed.get(item.pk))
        for item in known.items
    ]
    suggestions = [_suggestion(known, item_id, order) for item_id, order in proposed.items()]
    replace_plan(
        clinic=clinic, outlooks=outlooks, suggestions=suggestions, starts_on=today, at=at, stamp=stamp
    )


def load(*, clinic: Clinic, today: dt.date, days: int | None) -> Known:
    """Load all that a plan hangs on; the number of queries hangs on neither cases nor items."""
    policy = Policy.objects.filter(clinic=clinic).first() or Policy(clinic=clinic)
    days = max(days or policy.plan_days, LEAST_DAYS)
    calendar = calendar_of(clinic)
    items = plan_supply.planned_items()
    booked = booked_cases(clinic=clinic, today=today, days=days)
    coming = coming_cases(clinic=clinic, calendar=calendar, today=today, days=days, booked=booked)
    other = everything_else(clinic=clinic, calendar=calendar, today=today, days=days)
    per_case = {item.pk for item in items if item.supply_mode == Item.Supply.PER_CASE}
    coming = _without(coming, per_case)
    due: dict[int, list[ReceiptDue]] = defaultdict(list)
    for receipt in receipts_due(clinic=clinic, today=today, states=COUNTED):
        due[receipt.item_id].append(receipt)
    return Known(
        today=today,
        days=days,
        policy=policy,
        calendar=calendar,
        items=items,
        demand=build(days=days, cases=booked, coming=coming, other=other, items=[i.pk for i in items]),
        coming=coming,
        stock=plan_supply.stock_of(clinic=clinic),
        due=due,
        kept=plan_supply.kept_at_least(clinic=clinic),
        sellers=plan_supply.sellers(),
        leads_seen=plan_supply.lead_days_seen(today=today),
    )


def _without(coming: Coming, per_case: set[int]) -> Coming:
    """Cases not booked yet ask for no goods that are ordered for one booked case only."""
    rates = {item: rate for item, rate in coming.rates.items() if item not in per_case}
    return replace(coming, rates=rates)


def target_of(policy: Policy, item: Item) -> float:
    """Chance with which an item must not be short, by what a shortage of it means."""
    return {
        Item.Criticality.CANNOT_START: policy.target_cannot_start,
        Item.Criticality.SUBSTITUTE: policy.target_substitute,
        Item.Criticality.CONVENIENCE: policy.target_convenience,
    }[item.criticality]


def _demand(known: Known, item: Item) -> Demand:
    """One item as the outflow sums take it."""
    demand = known.demand[item.pk]
    stock = known.stock.get(item.pk, ItemStock())
    return Demand(
        use=demand.use,
        lots=[(lot.quantity, _day(known, lot.last_usable_on)) for lot in stock.lots],
        receipts=[
            (_arrival(known, due), due.quantity, _day(known, due.last_usable_on))
            for due in known.due.get(item.pk, ())
        ],
        must_have=in_reach(
            demand,
            service=target_of(known.policy, item),
            coming=known.coming,
            notice=_notice(known, item),
            at_least=known.kept.get(item.pk, 0),
        ),
    )


def _notice(known: Known, item: Item) -> int | None:
    """Days until goods ordered at the next review are there with caution; None for what nobody sells."""
    seller = known.sellers.get(item.pk)
    if seller is None:
        return None
    seen = known.leads_seen.get(seller.supplier_id, ())
    lead = proposing.cautious_lead(seller=seller, seen=seen)
    return (known.calendar.arrival(proposing.next_review(_terms(known)), lead) - known.today).days


def _day(known: Known, day: dt.date | None) -> int | None:
    return None if day is None else (day - known.today).days


def _arrival(known: Known, due: ReceiptDue) -> int:
    """Day on which a receipt can be used: an open day, and tomorrow at the earliest if it is overdue."""
    expected = max(due.arrives_on, known.today + ONE_DAY)
    return (known.calendar.on_or_after(expected) - known.today).days


def _subject(known: Known, item: Item, planned: Demand) -> proposing.Subject:
    seller = known.sellers[item.pk]
    return proposing.Subject(
        unit=item.stock_unit,
        shelf_days=proposing.shelf_days(months=item.shelf_life_months, safety_days=item.safety_days),
        target=target_of(known.policy, item),
        kept=known.kept.get(item.pk, 0),
        demand=known.demand[item.pk],
        stock=known.stock.get(item.pk, ItemStock()),
        due=known.due.get(item.pk, ()),
        planned=planned,
        seller=seller,
        leads_seen=known.leads_seen.get(seller.supplier_id, ()),
    )


def _terms(known: Known) -> proposing.Terms:
    return proposing.Terms(
        today=known.today,
        calendar=known.calendar,
        review_days=max(known.policy.review_days, 1),
        waste_limit=known.policy.waste_limit,
    )


def _suggestion(known: Known, item_id: int, order: proposing.Proposed) -> Suggestion:
    return Suggestion(
        supplier_item_id=known.sellers[item_id].supplier_item_id,
        packs=order.packs,
        order_by_on=order.order_by,
        reason=order.reason,
        sums=order.sums,
    )


def _outlook(
    known: Known,
    item: Item,
    planned: Demand,
    projection: Projection,
    order: proposing.Proposed | None,
) -> Outlook:
    demand, stock = known.demand[item.pk], known.stock.get(item.pk, ItemStock())
    must_have = np.asarray(planned.must_have)
    peak = int(must_have.argmax())
    last = covered_until(projection, 1 - target_of(known.policy, item))
    return Outlook(
        item_id=item.pk,
        on_hand=stock.on_hand,
        usable=stock.usable(known.today),
        expected_use_30d=round(float(demand.expected[:30].sum()), 4),
        expected_use_90d=round(float(demand.expected[:90].sum()), 4),
        must_have_peak=int(must_have[peak]),
        must_have_peak_on=known.today + ONE_DAY * peak if must_have[peak] else None,
        covered_until=known.today + ONE_DAY * last,
        order_by_on=order.order_by if order else _order_by(known, item, projection),
        series=_series(known, item, planned, projection),
    )


def _order_by(known: Known, item: Item, projection: Projection) -> dt.date | None:
    """Last day to order for the first day not covered that an order can still reach; None if there is none.

    Not before the next review: an item that could not wait for it has a proposal.
    """
    seller = known.sellers.get(item.pk)
    if seller is None:
        return None
    lead = proposing.cautious_lead(seller=seller, seen=known.leads_seen.get(seller.supplier_id, ()))
    day = proposing.first_uncovered(
        projection,
        allowed=1 - target_of(known.policy, item),
        from_day=(known.calendar.arrival(known.today, lead) - known.today).days,
    )
    if day is None:
        return None
    order_by = known.calendar.order_by(known.today + ONE_DAY * day, lead)
    return max(order_by, proposing.next_review(_terms(known)))


def _series(known: Known, item: Item, planned: Demand, projection: Projection) -> dict:
    """The daily figures as JSON; day 0 is the first planned day."""
    demand = known.demand[item.pk]
    stock, due = known.stock.get(item.pk, ItemStock()), known.due.get(item.pk, ())
    low, median, high = projection.on_hand.T.tolist()
    unused = [round(float(units), 4) for units in projection.expired]
    return {
        "p05": low,
        "median": median,
        "p95": high,
        "mean": _rounded(projection.mean_on_hand, 3),
        "short": _rounded(projection.short, 6),
        "short_in_reach": _rounded(projection.short_in_reach, 6),
        "must_have": np.asarray(planned.must_have).tolist(),
        "allowed": round(1 - target_of(known.policy, item), 6),
        "use": {
            "booked": _rounded(demand.booked, 4),
            "not_booked": _rounded(demand.not_booked, 4),
            "other": _rounded(demand.other, 4),
        },
        "receipts": [[_arrival(known, receipt), receipt.quantity, receipt.order_number] for receipt in due],
        "lots": [
            {
                "lot_id": lot.lot_id,
                "lot": lot.shown,
                "quantity": lot.quantity,
                "expires_on": lot.expires_on.isoformat() if lot.expires_on else None,
                "last_day": _day(known, lot.last_usable_on),
                "expected_unused": unused[place],
            }
            for place, lot in enumerate(stock.lots)
        ],
        "cases": [
            [case.code, case.on.isoformat(), case.in_reach, round(case.expected_use, 4)]
            for case in demand.cases
        ],
    }


def _rounded(values: np.ndarray, digits: int) -> list[float]:
    return np.round(np.where(np.abs(values) < TIE_TOLERANCE, 0.0, values), digits).tolist()
