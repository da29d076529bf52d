"""A clinic's newest plan as plain data: what the ``plan`` command prints and scripts read."""

import datetime as dt

from kits.promises import promised
from kits.readiness import readiness
from practice.models import Clinic
from stock.models import ItemForecast, Proposal
from stock.ordering import pack_price

# Expected units below this are not worth a line: they round to nothing (unit: stock units).
LEAST_UNUSED = 0.005


def plan_report(*, clinic: Clinic, today: dt.date, days: int) -> dict:
    """The stored plan of a clinic over its first `days` days, items by code and cases by start.

    Quantities are stock units, chances lie between 0 and 1, grams follow from each item's own label.
    """
    proposals = {
        proposal.supplier_item.item_id: _proposal(proposal)
        for proposal in Proposal.objects.filter(clinic=clinic)
        .select_related("supplier_item__supplier")
        .prefetch_related("supplier_item__price_breaks")
    }
    forecasts = ItemForecast.objects.filter(clinic=clinic).select_related("item").order_by("item__code")
    return {
        "clinic": clinic.code,
        "today": today.isoformat(),
        "items": [_item(row, proposals.get(row.item_id), days) for row in forecasts],
        "cases": _cases(clinic, today, days),
    }


def _item(forecast: ItemForecast, proposal: dict | None, days: int) -> dict:
    item, series = forecast.item, forecast.series
    grams = round(forecast.expected_use_30d * float(item.mass_g), 3) if item.mass_g is not None else None
    return {
        "item": item.code,
        "name": item.name,
        "on_hand": forecast.on_hand,
        "usable": forecast.usable,
        "expected_use_30d": forecast.expected_use_30d,
        "expected_use_90d": forecast.expected_use_90d,
        "grams_30d": grams,
        "must_have_peak": forecast.must_have_peak,
        "covered_until": _iso(forecast.covered_until),
        "order_by": _iso(forecast.order_by_on),
        "short_probability": series["short"][:days],
        "on_hand_median": series["median"][:days],
        "expiring": [
            {
                "lot": lot["lot"],
                "expires_on": lot["expires_on"],
                "expected_unused": lot["expected_unused"],
            }
            for lot in series["lots"]
            if lot["expected_unused"] >= LEAST_UNUSED
        ],
        "proposal": proposal,
    }


def _proposal(proposal: Proposal) -> dict:
    sold = proposal.supplier_item
    return {
        "packs": proposal.packs,
        "units": proposal.packs * sold.pack_size,
        "supplier": sold.supplier.name,
        "price": str(proposal.packs * pack_price(sold, proposal.packs)),
        "reason": proposal.reason,
    }


def _cases(clinic: Clinic, today: dt.date, days: int) -> list[dict]:
    through = today + dt.timedelta(days=days - 1)
    book = promised(clinic=clinic, through=through, today=today)
    found = []
    for case in book.cases:
        if case.on >= today:
            ready = readiness(book.lines[case.pk], on=case.on, terms=book.terms)
            found.append(
                {
                    "case": case.code,
                    "on": case.on.isoformat(),
                    "readiness": ready.word,
                    "probability": round(ready.probability, 4),
                    "blocking": [ready.sentence, *ready.others] if ready.line is not None else [],
                }
            )
    return found


def _iso(day: dt.date | None) -> str | None:
    return day.isoformat() if day else None
