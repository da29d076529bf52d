"""How a lot stands on a day: held or recalled by a person, else by its date."""

import datetime as dt

from stock.item_status import Status
from stock.models import Lot

# Days before its expiry from which a lot is marked as running out (unit: days). Common practice: 90.
EXPIRING_DAYS = 90


def standing_of(lot: Lot, *, today: dt.date) -> Status:
    """State and word of a lot for surgery today; its item is read for the safety days."""
    if lot.decision:
        return Status(lot.decision, "stop", lot.get_decision_display())
    if lot.expires_on is None:
        return Status("usable", "ready", "no expiry")
    left = (lot.expires_on - today).days
    if left < 0:
        return Status("expired", "stop", "expired")
    if lot.last_usable_on < today:
        return Status("expired", "stop", f"{left} days left, too few to use")
    if left <= EXPIRING_DAYS:
        return Status("expiring", "thin", "expires today" if left == 0 else f"{left} days left")
    return Status("usable", "ready", "in date")
