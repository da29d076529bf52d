"""A fingerprint of everything a clinic's plan hangs on, so that a stale plan is noticed at once.

It reads the few columns that matter rather than moments of change: not every change leaves a moment
(holding a lot writes no ledger entry, a bulk import no history).
"""

import datetime as dt
import hashlib
from collections.abc import Iterator

from kits.booked_cases import OVERDUE_DAYS
from kits.models import Case, CaseFinding, CaseProcedure, CaseSite, PlanChoice, Preference, TrayLine, TrayUnit
from practice.models import Clinic, Policy, Room
from stock.models import Balance, ChainHead, ClinicItem, Item, Order, OrderLine, SupplierItem

# Raise it when the planner itself changes, so that plans of the version before are worked out anew.
PLANNER_VERSION = 1

_ITEM = ("id", "supply_mode", "tracking", "criticality", "safety_days", "shelf_life_months", "is_active")
_CASE = ("id", "on", "starts_at", "minutes", "state", "clinician", "assistant", "graft_material")
_SITE = ("id", "tooth", "implant", "longest_safe_mm", "widest_safe_mm", "healing_height_mm")
_LINE = ("id", "order__state", "packs", "pack_size", "units_received", "expected_on", "order__sent_at")
_SOLD = ("id", "item", "supplier", "pack_size", "minimum_packs", "lead_days", "preferred")
_POLICY = ("target_cannot_start", "target_substitute", "target_convenience", "review_days", "waste_limit")


def stamp_of(*, clinic: Clinic, today: dt.date) -> str:
    """Fingerprint of the clinic's ledger, lots, cases, trays, orders, catalogue, policy and calendar."""
    digest = hashlib.sha256(f"{PLANNER_VERSION} {today}".encode())
    for part in _parts(clinic, today):
        digest.update(repr(part).encode())
    return digest.hexdigest()


def _parts(clinic: Clinic, today: dt.date) -> Iterator[list]:
    cases = Case.objects.open().filter(clinic=clinic, on__gte=today - dt.timedelta(days=OVERDUE_DAYS))
    ids = list(cases.order_by("id").values_list("id", flat=True))
    of_cases = {"case__in": ids}
    yield [clinic.open_weekdays, clinic.time_zone]
    yield _rows(ChainHead.objects.filter(clinic=clinic), "sequence", "row_hash")
    lying = Balance.objects.filter(place__clinic=clinic, quantity__gt=0)
    yield _rows(lying, "lot", "place__kind", "quantity", "lot__decision", "lot__expires_on")
    yield _rows(cases, *_CASE, "membrane_class", "guided", *_flags())
    yield _rows(CaseProcedure.objects.filter(**of_cases), "case", "procedure", "version", "planned", "done")
    yield _rows(
        CaseSite.objects.filter(**of_cases),
        *_SITE,
        "connection_in_place",
        "defect_width_mm",
        "defect_height_mm",
        "graft_cc",
    )
    yield _rows(PlanChoice.objects.filter(**of_cases), "case", "site", "subject", "item", "quantity")
    yield _rows(CaseFinding.objects.filter(**of_cases), "case", "site", "finding", "present")
    yield _rows(TrayLine.objects.filter(**of_cases, added=True), "key", "item", "substitutes")
    yield _rows(
        TrayUnit.objects.filter(line__case__in=ids), "line__key", "lot", "quantity", "outcome", "opened_at"
    )
    yield _rows(Preference.objects.all(), "user", "slot", "item")
    yield _rows(OrderLine.objects.filter(order__clinic=clinic).exclude(order__state__in=_DONE), *_LINE)
    yield _rows(Order.objects.filter(state=Order.State.RECEIVED), "id", "sent_at", "received_at")
    yield _rows(Item.objects.all(), *_ITEM)
    yield _rows(SupplierItem.objects.all(), *_SOLD)
    yield _rows(ClinicItem.objects.filter(clinic=clinic), "item", "keep_at_least")
    yield _rows(Policy.objects.filter(clinic=clinic), *_POLICY, "plan_days")
    yield _rows(clinic.closures, "starts_on", "ends_on")
    yield _rows(Room.objects.filter(clinic=clinic), "kind")


_DONE = (Order.State.RECEIVED, Order.State.CANCELLED)


def _flags() -> tuple[str, ...]:
    return ("patient__declines_human", "patient__declines_porcine", "patient__declines_bovine")


def _rows(queryset, *columns: str) -> list[tuple]:
    return list(queryset.order_by("pk").values_list(*columns))
