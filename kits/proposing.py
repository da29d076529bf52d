"""From an item's forecast to a proposed order with its reason. Pure: values in, values out.

When and how much is decided by ``stock.planning.reorder``; this module brings the clinic's calendar and
the supplier's terms to it, and puts the answer into words.
"""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from kits import reasons
from kits.demand import ItemDemand
from practice.workdays import Workdays
from stock.plan_values import ItemStock, Seller
from stock.planning import pmf, reorder
from stock.planning.outflow import Demand, Projection, project_many
from stock.planning.pmf import TIE_TOLERANCE, Distribution
from stock.values import ReceiptDue

ONE_DAY = dt.timedelta(days=1)
DAYS_A_MONTH = 365.25 / 12
# Chance with which the cautious lead time is kept (no unit). Our choice: nineteen orders in twenty.
CAUTIOUS = 0.95
# Days at the end of the plan that stand for the time after it (unit: days): four whole weeks.
LATER_DAYS = 28
# New units are followed to the end of their shelf life only where later use does not clearly clear the
# shelf: expected use over that life below this many times what lies there (no unit).
CLEARS = 2.0


@dataclass(frozen=True, kw_only=True)
class Terms:
    """What the clinic has decided, and the day: today, its calendar, days between reviews, waste limit."""

    today: dt.date
    calendar: Workdays
    review_days: int
    waste_limit: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Subject:
    """All that is known of one item: demand, stock, what is due, and how it is bought."""

    unit: str
    shelf_days: int | None
    target: float
    kept: int
    demand: ItemDemand
    stock: ItemStock
    due: Sequence[ReceiptDue]
    planned: Demand
    seller: Seller
    leads_seen: Sequence[int] = ()


@dataclass(frozen=True, kw_only=True)
class Proposed:
    """A proposed order: packs, the last day to send it, the reason in words and the figures behind it."""

    packs: int
    order_by: dt.date
    reason: str
    sums: dict


def next_review(terms: Terms) -> dt.date:
    """The open day on which orders are looked at next."""
    return terms.calendar.on_or_after(terms.today + ONE_DAY * terms.review_days)


def shelf_days(*, months: int | None, safety_days: int) -> int | None:
    """Days after arrival through which new units stay usable, None without a shelf life."""
    return None if months is None else max(int(months * DAYS_A_MONTH) - safety_days, 0)


def lead_distribution(
    *, seller: Seller, seen: Sequence[int], terms: Terms, due: Sequence[ReceiptDue] = ()
) -> Distribution:
    """Days from an order sent today to its receipt on an open day, never the same day.

    An order sent today does not overtake one that is on its way and due within the usual lead time;
    otherwise goods would be proposed again for a shortage that ends when the first ones arrive.
    """
    plain = reorder.lead_time(stated_days=seller.lead_days, observed=seen)
    soonest = min(((each.arrives_on - terms.today).days for each in due), default=0)
    least = max(1, min(soonest, cautious_lead(seller=seller, seen=seen)))
    days = [
        max((terms.calendar.arrival(terms.today, lead) - terms.today).days, least)
        for lead in range(len(plain))
    ]
    return np.bincount(days, weights=plain).astype(np.float64)


def cautious_lead(*, seller: Seller, seen: Sequence[int]) -> int:
    """Days within which nineteen of twenty orders have come, never fewer than the stated ones."""
    within = reorder.lead_time_quantile(stated_days=seller.lead_days, observed=seen, chance=CAUTIOUS)
    return max(within, seller.lead_days)


def propose_all(subjects: Mapping[int, Subject], terms: Terms) -> dict[int, Proposed]:
    """The orders to send now with their reasons, by item; what can wait for the next review is left out."""
    found = {item: _decide(subject, terms) for item, subject in subjects.items()}
    decided = {item: proposal for item, proposal in found.items() if proposal is not None}
    after = project_many(
        [_with_order(subjects[item], terms, proposal.order.units) for item, proposal in decided.items()],
        quantiles=(),
    )
    return {
        item: _explained(subjects[item], terms, proposal, projection)
        for (item, proposal), projection in zip(decided.items(), after, strict=True)
    }


def _decide(subject: Subject, terms: Terms) -> reorder.Proposal | None:
    lead = lead_distribution(seller=subject.seller, seen=subject.leads_seen, terms=terms, due=subject.due)
    found = _proposal(subject, terms, lead, shelf=None)
    if found is None or subject.shelf_days is None or _clears(subject, found.order.units):
        return found
    return _proposal(subject, terms, lead, shelf=subject.shelf_days)


def _explained(subject: Subject, terms: Terms, found: reorder.Proposal, after: Projection) -> Proposed:
    shortage = _shortage(subject, terms, found.reason)
    purchase = _purchase(subject, terms, found, _covered_with(subject, terms, after))
    words = reasons.reason(shortage, purchase, today=terms.today)
    if not found.reaches_target:
        words += f" {_too_late_words(found)}"
    return Proposed(
        packs=found.order.packs,
        order_by=purchase.order_by,
        reason=words,
        sums=_sums(terms, found, shortage, purchase),
    )


def _proposal(
    subject: Subject, terms: Terms, lead: Distribution, *, shelf: int | None
) -> reorder.Proposal | None:
    seller = subject.seller
    return reorder.propose(
        demand=subject.planned,
        offer=reorder.Offer(pack=seller.pack_size, minimum_packs=seller.minimum_packs, shelf_days=shelf),
        review_days=terms.review_days,
        lead=lead,
        target=subject.target,
        waste_limit=terms.waste_limit if shelf is not None else None,
        later_use=_later_use(subject) if shelf is not None else None,
    )


def _clears(subject: Subject, ordered: int) -> bool:
    """Whether use over the shelf life of new units is expected to clear the shelf many times over."""
    lying = sum(lot.quantity for lot in subject.stock.lots) + sum(due.quantity for due in subject.due)
    a_day = float(subject.demand.expected[-LATER_DAYS:].mean())
    return a_day * (subject.shelf_days or 0) > CLEARS * (lying + ordered)


def _later_use(subject: Subject) -> Distribution:
    """One day's use after the plan: like any of its last four weeks."""
    return pmf.checked(subject.demand.use[-LATER_DAYS:].mean(axis=0))


def _shortage(subject: Subject, terms: Terms, facts: reorder.Reason) -> reasons.Shortage:
    demand, day = subject.demand, facts.day
    in_reach = facts.short_of == "reach"
    on = terms.today + ONE_DAY * day
    through = day if in_reach else day + 1
    cases = [
        case for case in demand.cases if (case.on == on if in_reach else (case.on - terms.today).days <= day)
    ]
    return reasons.Shortage(
        on=on,
        in_reach=in_reach,
        must_have=facts.must_have,
        kept=subject.kept,
        cases=cases,
        in_date=facts.in_date,
        due=sum(
            due.quantity
            for due in subject.due
            if due.arrives_on <= on and (due.last_usable_on is None or due.last_usable_on >= on)
        ),
        expected_use=float(demand.expected[:through].sum()),
        booked_use=float(demand.booked[:through].sum()),
        chance=facts.chance,
        allowed=facts.allowed,
    )


def _purchase(
    subject: Subject, terms: Terms, found: reorder.Proposal, covered_until: dt.date | None
) -> reasons.Purchase:
    seller, order, whole = subject.seller, found.order, found.for_target
    cautious = cautious_lead(seller=seller, seen=subject.leads_seen)
    needed = terms.today + ONE_DAY * found.reason.day
    return reasons.Purchase(
        packs=order.packs,
        pack_size=seller.pack_size,
        unit=subject.unit,
        order_by=terms.calendar.order_by(needed, cautious),
        lead_days=(seller.lead_days, cautious),
        covered_until=covered_until,
        next_review=next_review(terms),
        chance_if_sent=found.chance_if_sent,
        chance_if_waiting=found.chance_if_waiting,
        chance=order.chance,
        unused=order.waste,
        larger=reasons.Larger(units=whole.units, chance=whole.chance, unused=whole.waste)
        if found.conflict and whole.packs > order.packs
        else None,
        is_least=found.conflict and whole.packs == order.packs,
    )


def _arrival(subject: Subject, terms: Terms) -> int:
    """Day on which an order sent today is in with caution."""
    lead = cautious_lead(seller=subject.seller, seen=subject.leads_seen)
    return (terms.calendar.arrival(terms.today, lead) - terms.today).days


def _with_order(subject: Subject, terms: Terms, units: int) -> Demand:
    """The item with an order of so many units sent today."""
    arrives = _arrival(subject, terms)
    last = None if subject.shelf_days is None else arrives + subject.shelf_days
    return replace(subject.planned, receipts=[*subject.planned.receipts, (arrives, units, last)])


def first_uncovered(projection: Projection, *, allowed: float, from_day: int) -> int | None:
    """The first day from `from_day` on whose chance of being short is above `allowed`, None if none is."""
    limit = allowed + TIE_TOLERANCE
    over = (projection.short > limit) | (projection.short_in_reach > limit)
    over[:from_day] = False
    return int(np.argmax(over)) if over.any() else None


def _covered_with(subject: Subject, terms: Terms, after: Projection) -> dt.date | None:
    """Last day covered from the arrival of the order on, None when through the whole plan."""
    day = first_uncovered(after, allowed=1 - subject.target, from_day=_arrival(subject, terms))
    return None if day is None else terms.today + ONE_DAY * (day - 1)


def _too_late_words(found: reorder.Proposal) -> str:
    return (
        "No order can bring the chance of being short within what is accepted; "
        f"at best it stays at {reasons.chance_words(found.for_target.chance)}."
    )


def _sums(
    terms: Terms, found: reorder.Proposal, shortage: reasons.Shortage, purchase: reasons.Purchase
) -> dict:
    """The figures behind the sentence: numbers for programs, lines of words for people."""
    return {
        "first_day": shortage.on.isoformat(),
        "short_of": found.reason.short_of,
        "chance": round(shortage.chance, 6),
        "allowed": round(shortage.allowed, 6),
        "in_date": shortage.in_date,
        "on_order": shortage.due,
        "must_have": shortage.must_have,
        "expected_use": round(shortage.expected_use, 4),
        "booked_use": round(shortage.booked_use, 4),
        "cases": [[case.code, case.on.isoformat(), case.in_reach] for case in shortage.cases],
        "lead_days": list(purchase.lead_days),
        "next_review": purchase.next_review.isoformat(),
        "chance_if_sent": round(found.chance_if_sent, 6),
        "chance_if_waiting": round(found.chance_if_waiting, 6),
        "units": found.order.units,
        "chance_with_order": round(found.order.chance, 6),
        "unused": round(found.order.waste, 4),
        "units_for_target": found.for_target.units,
        "covered_until": purchase.covered_until.isoformat() if purchase.covered_until else None,
        "waiting": reasons.waiting_words(purchase, today=terms.today),
    }
