"""What the page of closing a case shows: each unit with what may still be said of it."""

from collections.abc import Iterable
from typing import Any
from uuid import uuid4

from kits.closing import unaccounted
from kits.forms import WASTE_REASONS
from kits.models import Case, Procedure, TrayLine, TrayUnit
from kits.nothing_placed import nothing_placed
from kits.requirements import ROOM
from kits.trace import STAYS
from kits.tray_units import standing_decisions
from kits.views.tray_page import over_words
from kits.views.words import name_and_rest, teeth_shown
from practice import access
from practice.teeth import show
from stock.models import Balance, Entry, Lot, Place

Outcome = TrayUnit.Outcome


def closing_page(case: Case, *, user) -> dict[str, Any]:
    """Variables of templates/kits/close.html and its fragments."""
    sites = list(case.sites.all())
    units = (
        access.visible(user, TrayUnit)
        .filter(line__case=case)
        .select_related("line", "lot__item", "place", "tray", "site")
        .order_by("line__position", "pk")
    )
    kept = standing_decisions(case)
    # What was taken off again before surgery is no part of the account.
    rows = [_unit(unit, case, sites) for unit in units if unit.outcome != Outcome.PUT_BACK or unit.pk in kept]
    opened = [row for row in rows if row["pending"] and row["opened"]]
    missing = unaccounted(case)
    return {
        "case": case,
        "teeth": teeth_shown(case),
        "over": over_words(case),
        "procedures_words": ", ".join(booked.procedure.short_name for booked in case.procedures.all()),
        "opened": opened,
        "opened_first": [row for row in opened if row["matters"]],
        "opened_rest": [row for row in opened if not row["matters"]],
        "sealed": [row for row in rows if row["pending"] and not row["opened"]],
        "recorded": [row for row in rows if not row["pending"]],
        "total": len(rows),
        "done": sum(not row["pending"] for row in rows),
        "missing": missing,
        "nothing_placed": nothing_placed(case),
        "none_kept": list(case.tray_lines.exclude(none_used_because="")),
        "pending_count": sum(row["pending"] for row in rows),
        "room": _room(case, user),
        "scan_key": str(uuid4()),
        "reasons": [(reason.value, reason.label) for reason in WASTE_REASONS],
        "may_record": access.may(user, case.clinic, "record_surgery"),
        "procedures": _procedures(case, user),
    }


def _unit(unit: TrayUnit, case: Case, sites: list) -> dict[str, Any]:
    item = unit.lot.item
    name, rest = name_and_rest(item.name)
    by_tooth = len(sites) > 1 and item.category in STAYS
    uses = (
        [(f"used:{site.pk}", f"Used at {show(site.tooth, case.clinic.tooth_notation)}") for site in sites]
        if by_tooth
        else [("used", "Used")]
    )
    return {
        "pk": unit.pk,
        "name": name,
        "rest": rest,
        "quantity": unit.quantity,
        "lot": "" if unit.lot.shown == "no lot" else unit.lot.shown,
        "expires_on": unit.lot.expires_on,
        "place": str(unit.place),
        "pending": unit.outcome == Outcome.PENDING,
        "opened": unit.opened_at is not None,
        # What stays in the patient, or is its own record, is looked at one by one.
        "matters": item.category in STAYS or item.is_unit_tracked or item.human_tissue,
        "uses": uses,
        "asks_tooth": by_tooth and unit.outcome == Outcome.USED and unit.site is None,
        "sites": [(site.pk, show(site.tooth, case.clinic.tooth_notation)) for site in sites],
        "said": _fate_words(unit, case),
        "shape": {Outcome.USED: "done", Outcome.WASTED: "thin"}.get(unit.outcome, "ready"),
        "note": unit.note,
    }


def _fate_words(unit: TrayUnit, case: Case) -> str:
    if unit.outcome == Outcome.USED:
        if unit.site is None:
            return "Used"
        return f"Used at {show(unit.site.tooth, case.clinic.tooth_notation)}"
    if unit.outcome == Outcome.WASTED:
        return f"Wasted: {Entry.Reason(unit.reason).label}"
    return "Put back sealed" if unit.outcome == Outcome.PUT_BACK else ""


def _room(case: Case, user) -> list[dict[str, Any]]:
    """Room-stock lines with the lot nearest at hand: this room's cart first, then soonest to expire."""
    lines = list(
        access.visible(user, TrayLine)
        .filter(case=case, set_out=ROOM, added=False)
        .exclude(item=None)
        .select_related("item")
    )
    lots = _lots_at_hand(case, user, {line.item_id for line in lines})
    found = []
    for line in {line.item_id: line for line in lines}.values():
        name, rest = name_and_rest(line.description)
        balance = lots.get(line.item_id)
        field = f"room-{line.pk}"
        key = str(uuid4())
        found.append({"name": name, "rest": rest, "field": field, "balance": balance, "key": key})
    return found


def _lots_at_hand(case: Case, user, items: Iterable[int]) -> dict[int, Balance]:
    rows = at_hand(case, user).filter(lot__item__in=list(items))
    cart = f"Cart {case.room}" if case.room else ""
    ordered = sorted(
        rows,
        key=lambda row: (
            row.place.name != cart,
            row.lot.expires_on is None,
            row.lot.expires_on or case.on,
            row.pk,
        ),
    )
    found: dict[int, Balance] = {}
    for row in ordered:
        if row.lot.last_usable_on is None or row.lot.last_usable_on >= case.on:
            found.setdefault(row.lot.item_id, row)
    return found


def at_hand(case: Case, user):
    """Balances at the case's clinic that may be picked from, of lots nobody holds."""
    return (
        access.visible(user, Balance)
        .filter(place__clinic=case.clinic, place__kind__in=Place.PICKABLE, quantity__gt=0, lot__decision="")
        .select_related("lot__item", "place")
    )


def lying_anywhere(case: Case, user, lots: Iterable[Lot]) -> Balance | None:
    """Units of these lots that should not be used, held or put aside at the clinic, the soonest to expire.

    What went into the patient is recorded all the same. Units on a tray are recorded there.
    """
    lying = access.visible(user, Balance).filter(place__clinic=case.clinic, quantity__gt=0, lot__in=lots)
    lying = lying.exclude(place__kind=Place.Kind.TRAY).select_related("lot__item", "place")
    return lying.order_by("lot__expires_on", "pk").first()


def _procedures(case: Case, user) -> list[dict[str, Any]]:
    """Procedures of the case, ticked, and every other one that may have turned out to be done."""
    booked = {row.procedure_id: row for row in case.procedures.all()}
    everything = access.visible(user, Procedure).filter(is_active=True)
    return [
        {
            "pk": procedure.pk,
            "name": procedure.short_name,
            "done": procedure.pk in booked and booked[procedure.pk].done,
            "booked": procedure.pk in booked,
        }
        for procedure in everything
    ]
