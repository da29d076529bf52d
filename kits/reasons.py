"""Why an item should be ordered, in sentences a manager can check by hand. Pure: figures in, words out."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

# Cases named in a sentence; further ones are counted.
NAMED_CASES = 3


@dataclass(frozen=True, kw_only=True)
class CaseNeed:
    """What one booked case means for the item: its code, day, units in reach and expected use."""

    code: str
    on: dt.date
    in_reach: int
    expected_use: float


@dataclass(frozen=True, kw_only=True)
class Shortage:
    """The first day by which being short is too likely, and the figures of that day.

    in_reach: True when too few lie in reach at the start of the day, False when use runs out by its end.
    must_have: units that must lie in reach; kept: the least the clinic has decided to keep.
    cases: booked cases behind it (of the day, or up to the day when use runs out).
    in_date: units in date on the day if none were used, what is on order and due by then included;
    due: how many of them are on order. expected_use: units likely used before (or by) then.
    booked_use: the part of it that booked cases bring. chance: of having been short by then; allowed:
    what is accepted.
    """

    on: dt.date
    in_reach: bool
    must_have: int
    kept: int
    cases: Sequence[CaseNeed]
    in_date: int
    due: int
    expected_use: float
    booked_use: float
    chance: float
    allowed: float


@dataclass(frozen=True, kw_only=True)
class Larger:
    """The order that would meet the target but waste more than is accepted."""

    units: int
    chance: float
    unused: float


@dataclass(frozen=True, kw_only=True)
class Purchase:
    """What is proposed: packs of a size, when to order and what that does.

    lead_days: (stated, cautious) calendar days from sent to received. covered_until: last day covered
    with the order, None when through the whole plan. next_review: when orders are looked at next;
    chance_if_sent, chance_if_waiting: of being short before an order of that day could come, with and
    without this order. unused: units of the order expected to go out of date unused; chance: of being
    short on the worst day it has to cover. larger: set where the target and the waste limit conflict;
    is_least: the order wastes more than is accepted, but no smaller one can be had.
    """

    packs: int
    pack_size: int
    unit: str
    order_by: dt.date
    lead_days: tuple[int, int]
    covered_until: dt.date | None
    next_review: dt.date
    chance_if_sent: float
    chance_if_waiting: float
    chance: float = 0.0
    unused: float = 0.0
    larger: Larger | None = None
    is_least: bool = False


def chance_words(chance: float) -> str:
    """A chance as people say it: “4 in 100”, “2.5 in 100”, “1 in 200”, “less than 1 in 1,000”."""
    if chance < 0.001:
        return "less than 1 in 1,000" if chance > 0 else "0 in 100"
    if chance < 0.0095:
        return f"1 in {_round_hundreds(1 / chance):,}"
    if chance > 0.995:
        return "more than 99 in 100"
    return f"{number_words(chance * 100) if chance < 0.0995 else round(chance * 100)} in 100"


def _round_hundreds(number: float) -> int:
    step = 10 if number < 200 else 50 if number < 500 else 100
    return round(number / step) * step


def day_words(day: dt.date, *, today: dt.date) -> str:
    """A day as people say it: “11 December”, with the year where it is another one."""
    words = f"{day.day} {day:%B}"
    return words if day.year == today.year else f"{words} {day.year}"


def units_words(quantity: int, unit: str) -> str:
    """A quantity with its stock unit: “1 piece”, “3 vials”, “2 boxes”."""
    one = {"each": "piece", "": "piece"}.get(unit, unit)
    if quantity == 1:
        return f"1 {one}"
    return f"{quantity} {one}{'es' if one.endswith(('x', 's', 'sh', 'ch')) else 's'}"


def number_words(number: float) -> str:
    """An expected number: one decimal, whole numbers without it."""
    return f"{number:.1f}".removesuffix(".0")


def cases_words(cases: Sequence[CaseNeed]) -> str:
    """The cases by code with the units each must find: “C-00004 (2), C-00007 (1) and 2 more”."""
    return _listed([f"{case.code} ({case.in_reach})" for case in cases])


def _listed(names: Sequence[str]) -> str:
    if len(names) > NAMED_CASES:
        return f"{', '.join(names[:NAMED_CASES])} and {len(names) - NAMED_CASES} more"
    return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))


def shortage_words(shortage: Shortage, *, today: dt.date) -> str:
    """Which day is not covered, for which cases, what is in date by then and how likely it is short."""
    return _reach_words(shortage, today) if shortage.in_reach else _use_words(shortage, today)


def _reach_words(shortage: Shortage, today: dt.date) -> str:
    day = day_words(shortage.on, today=today)
    return (
        f"On {day} {shortage.must_have} must lie in reach{_cause_words(shortage)}. "
        f"{_stock_words(shortage)}; {_chance_words(shortage)}"
    )


def _cause_words(shortage: Shortage) -> str:
    named = [case for case in shortage.cases if case.in_reach]
    explained = sum(case.in_reach for case in named) >= shortage.must_have
    if explained:
        return f" for {cases_words(named)}"
    if shortage.kept >= shortage.must_have:
        return ", the least this clinic keeps"
    if named:
        return f" for {cases_words(named)}, the rest for cases not booked yet"
    return " for cases not booked yet"


def _chance_words(shortage: Shortage) -> str:
    return (
        f"the chance of being short by then is {chance_words(shortage.chance)}, "
        f"{chance_words(shortage.allowed)} is accepted."
    )


def _use_words(shortage: Shortage, today: dt.date) -> str:
    names = [case.code for case in shortage.cases if case.expected_use > 0]
    whole, booked = number_words(shortage.expected_use), number_words(shortage.booked_use)
    part = ""
    if names:
        part = f" in {_listed(names)}" if whole == booked else f", {booked} of them in {_listed(names)}"
    return (
        f"By {day_words(shortage.on, today=today)} about {whole} will be used{part}. "
        f"{_in_date_words(shortage)}; {_chance_words(shortage)}"
    )


def _in_date_words(shortage: Shortage) -> str:
    if shortage.in_date == 0:
        return "None is in date by then"
    due = f" ({shortage.due} of them on order)" if shortage.due else ""
    return f"{shortage.in_date} {'is' if shortage.in_date == 1 else 'are'} in date by then{due}"


def _stock_words(shortage: Shortage) -> str:
    words = _in_date_words(shortage)
    if shortage.in_date and shortage.expected_use >= 0.05:
        words += f" and about {number_words(shortage.expected_use)} will be used before"
    return words


def purchase_words(purchase: Purchase, *, today: dt.date) -> str:
    """When to order, how long it takes, how far it then reaches, and what is lost to expiry if much."""
    low, high = purchase.lead_days
    takes = f"{low} day{'s' if low != 1 else ''}" if low == high else f"{low} to {high} days"
    day = day_words(purchase.order_by, today=today)
    if purchase.order_by > today:
        when = f"Ordered by {day} it comes in time ({takes})"
    elif purchase.order_by == today:
        when = f"Ordered today it comes in time ({takes})"
    else:
        when = f"The day to order by, {day}, has passed: order today ({takes})"
    units = units_words(purchase.packs * purchase.pack_size, purchase.unit)
    reach = (
        f"covered until {day_words(purchase.covered_until, today=today)}"
        if purchase.covered_until
        else "covered through the whole plan"
    )
    words = f"{when}; with {units} the item is {reach}."
    if purchase.larger:
        return f"{words} {_larger_words(purchase, purchase.larger)}"
    if purchase.is_least:
        return (
            f"{words} About {number_words(purchase.unused)} of it would go out of date unused, "
            "but no smaller order can be had."
        )
    return words


def _larger_words(purchase: Purchase, larger: Larger) -> str:
    """Target against waste, with both numbers, for the manager to choose."""
    return (
        f"{larger.units} would bring the chance of being short to {chance_words(larger.chance)}, but about "
        f"{number_words(larger.unused)} of them would go out of date unused; with "
        f"{purchase.packs * purchase.pack_size} it is {chance_words(purchase.chance)} and about "
        f"{number_words(purchase.unused)} unused. Choose which."
    )


def waiting_words(purchase: Purchase, *, today: dt.date) -> str:
    """What happens if the order waits until orders are looked at next."""
    return (
        f"Left to the next review on {day_words(purchase.next_review, today=today)}, the chance of being "
        f"short before it comes is {chance_words(purchase.chance_if_waiting)}; sent now it is "
        f"{chance_words(purchase.chance_if_sent)}."
    )


def reason(shortage: Shortage, purchase: Purchase, *, today: dt.date) -> str:
    """The whole reason of a proposal, as shown beside it."""
    return f"{shortage_words(shortage, today=today)} {purchase_words(purchase, today=today)}"
