"""How an item stands, in a word and a shape. Pure: the forecast's figures in, words out."""

import datetime as dt
from dataclasses import dataclass

# Days ahead within which an order-by day is worth a mark of its own (unit: days). Our choice: one review.
SOON_DAYS = 7


@dataclass(frozen=True)
class Status:
    """A state of the status component (stop, thin, ready, waiting), its word, and the key to filter by."""

    key: str
    state: str
    word: str


@dataclass(frozen=True, kw_only=True)
class Standing:
    """What is known of one item: units present and usable, forecast days, units due, needed at all.

    covered_until and order_by are None where the plan ends before; is_planned is False for what is not
    forecast (made for one case). is_needed: some use is expected or some must lie in reach.
    """

    on_hand: int
    usable: int
    is_needed: bool
    covered_until: dt.date | None = None
    order_by: dt.date | None = None
    due: int = 0
    is_planned: bool = True


OUT, LATE, SOON, ASIDE, ON_ORDER, COVERED, IDLE = "out", "late", "soon", "aside", "due", "covered", "idle"
CHOICES = (
    (OUT, "None in date"),
    (LATE, "Order today"),
    (SOON, "Order this week"),
    (ASIDE, "Some out of date or held"),
    (ON_ORDER, "On order"),
    (COVERED, "Covered"),
    (IDLE, "Not in use"),
)


def status(standing: Standing, *, today: dt.date) -> Status:
    """The one thing worth saying about an item today, the most pressing first."""
    if not standing.is_planned:
        return Status(IDLE, "waiting", "ordered for a case")
    if standing.is_needed and standing.usable == 0:
        return Status(OUT, "stop", "none in date, on order" if standing.due else "none in date")
    order_by = standing.order_by
    if order_by is not None and order_by <= today:
        return Status(LATE, "stop", "order today")
    if order_by is not None and order_by <= today + dt.timedelta(days=SOON_DAYS):
        return Status(SOON, "thin", "order this week")
    if standing.on_hand > standing.usable:
        units = standing.on_hand - standing.usable
        return Status(ASIDE, "thin", f"{units} out of date or held")
    if standing.due:
        return Status(ON_ORDER, "waiting", f"{standing.due} on order")
    if not standing.is_needed:
        return Status(IDLE, "waiting", "not in use")
    return Status(COVERED, "ready", "covered")
