"""What the page of one item shows: figures, chart, lots, where the use comes from, and why to order."""

import datetime as dt
from dataclasses import dataclass, field

from kits.lot_pages import MoveShown, moves_shown
from kits.models import Case
from kits.replanning import COUNTED
from practice.models import Clinic
from stock import chart
from stock.lot_standing import standing_of
from stock.models import Balance, Entry, Item, ItemForecast, Place, Proposal, SupplierItem
from stock.queries import balances_of, receipts_due
from stock.unit_words import number_words, packs_words, units_words

# Days of the projection that are drawn; the whole plan can be asked for.
SHOWN_DAYS = 60
# Days over which "where the use comes from" adds up; the same as the figure above it.
USE_DAYS = 30
MOST_MOVES = 20
MOST_CASES = 8


@dataclass(frozen=True)
class LotRow:
    """Units of a lot at a place: how it stands, and whether it is likely used before it expires."""

    balance: Balance
    standing: object
    used_first: str
    may_handle: bool


@dataclass(frozen=True)
class UseSource:
    """Expected units from one source, in words and figures."""

    words: str
    units: str


@dataclass(frozen=True)
class ItemPage:
    """All of it; the parts of the forecast are empty where none was made."""

    forecast: ItemForecast | None
    usable: int
    on_hand: int
    pack_size: int
    lots: list[LotRow]
    sellers: list[SupplierItem]
    due: list
    moves: list[MoveShown]
    proposal: Proposal | None
    svg: str = ""
    table: list = field(default_factory=list)
    days: int = SHOWN_DAYS
    sources: list[UseSource] = field(default_factory=list)
    cases: list[dict] = field(default_factory=list)
    more_cases: int = 0
    plan_days: int = 0
    today: dt.date | None = None

    @property
    def caption(self) -> str:
        """What the picture shows."""
        return f"Units in date, the next {self.days} days"

    @property
    def is_whole(self) -> bool:
        """Whether all planned days are drawn although fewer usually are."""
        return self.days > SHOWN_DAYS

    @property
    def usable_words(self) -> str:
        """What qualifies the units in date: of how many."""
        return f"of {self.on_hand}" if self.on_hand != self.usable else ""

    @property
    def usable_state(self) -> str:
        """Marks the figure when nothing is in date although it is needed."""
        needed = self.forecast is not None and self.forecast.must_have_peak > 0
        return "stop" if needed and not self.usable else ""

    @property
    def peak_words(self) -> str:
        """The day on which most must lie in reach."""
        day = self.forecast.must_have_peak_on
        return f"on {day.day} {day:%b}" if day else ""

    @property
    def covered_words(self) -> str:
        """The last day covered, or that the whole plan is."""
        forecast = self.forecast
        if forecast.order_by_on is None and self.covers_plan:
            return "the whole plan"
        day = forecast.covered_until
        return "not today" if day < forecast.starts_on else f"{day.day} {day:%b}"

    @property
    def covers_plan(self) -> bool:
        """Whether cover reaches to the last planned day."""
        forecast = self.forecast
        return (forecast.covered_until - forecast.starts_on).days >= self.plan_days - 1

    @property
    def order_by_words(self) -> str:
        """The last day to order."""
        day = self.forecast.order_by_on
        return f"{day.day} {day:%b}" if day else "–"

    @property
    def order_state(self) -> str:
        """Marks the order-by day once it has come."""
        day = self.forecast.order_by_on
        return "stop" if day is not None and day <= self.today else ""

    @property
    def lead_words(self) -> str:
        """How long the supplier takes."""
        if self.proposal is not None and self.proposal.sums:
            low, high = self.proposal.sums["lead_days"]
            return f"arrives in {low} days" if low == high else f"arrives in {low} to {high} days"
        return f"arrives in {self.sellers[0].lead_days} days" if self.sellers else ""

    @property
    def proposal_title(self) -> str:
        """The question the proposal answers."""
        day = self.proposal.order_by_on
        return "Why order today?" if day <= self.today else f"Why order by {day.day} {day:%B}?"

    @property
    def later_words(self) -> str:
        """Why an item with an order-by day is not proposed yet."""
        day, last = self.forecast.order_by_on, self.forecast.covered_until
        return (
            f"It is covered until {last.day} {last:%B}, and an order sent by {day.day} {day:%B} comes in "
            "time. The next review of the list is early enough."
        )


def item_page(*, item: Item, clinic: Clinic, clinics, today: dt.date, whole_plan: bool) -> ItemPage:
    """Load what the page of an item shows at a clinic; lots lie at any of ``clinics``. Few queries."""
    forecast = ItemForecast.objects.filter(clinic=clinic, item=item).first()
    balances = list(balances_of(item=item, clinics=clinics))
    here = [row for row in balances if row.place.clinic_id == clinic.pk and row.place.kind in Place.PRESENT]
    sellers = list(
        item.suppliers.select_related("supplier")
        .prefetch_related("price_breaks")
        .order_by("-preferred", "id")
    )
    proposals = Proposal.objects.filter(clinic=clinic, supplier_item__item=item)
    # The newest ones are found by number first: sorting all of an item's entries whole is the slow part.
    newest = Entry.objects.filter(lot__item=item, clinic__in=clinics).order_by("-at", "-id")
    numbers = list(newest.values_list("id", flat=True)[:MOST_MOVES])
    moves = Entry.objects.filter(id__in=numbers).order_by("-at", "-id")
    drawn = _drawn(forecast, item, whole_plan) if forecast and forecast.series else {}
    return ItemPage(
        forecast=forecast,
        usable=sum(row.quantity for row in here if standing_of(row.lot, today=today).state != "stop"),
        on_hand=sum(row.quantity for row in here),
        pack_size=sellers[0].pack_size if sellers else 1,
        lots=_lot_rows(balances, forecast, clinic, today),
        sellers=sellers,
        due=[
            due for due in receipts_due(clinic=clinic, today=today, states=COUNTED) if due.item_id == item.pk
        ],
        moves=moves_shown(list(moves.select_related("lot__item", "place__clinic", "by"))),
        proposal=proposals.select_related("supplier_item__supplier").first(),
        today=today,
        **drawn,
    )


def _lot_rows(balances, forecast, clinic: Clinic, today: dt.date) -> list[LotRow]:
    unused = {row["lot_id"]: row for row in forecast.series.get("lots", ())} if forecast else {}
    rows = []
    # What lies at this clinic first, soonest to expire first within each.
    for balance in sorted(balances, key=lambda row: row.place.clinic_id != clinic.pk):
        standing = standing_of(balance.lot, today=today)
        counted = balance.place.clinic_id == clinic.pk and balance.place.kind in Place.PRESENT
        words = ""
        if counted and standing.state != "stop":
            words = used_first_words(unused.get(balance.lot_id))
        handled = balance.place.kind != Place.Kind.TRAY
        rows.append(LotRow(balance, standing, words, handled))
    return rows


def used_first_words(planned: dict | None) -> str:
    """Whether the units of a lot are likely used before they expire, from the forecast's row for it."""
    if planned is None or planned["expires_on"] is None:
        return ""
    left = planned["expected_unused"]
    if left < 0.05:
        return "yes"
    if left >= planned["quantity"] - 0.05:
        return "no, none of it"
    return f"all but about {number_words(left)}"


def _drawn(forecast: ItemForecast, item: Item, whole_plan: bool) -> dict:
    """Chart, its table, sources of use and the cases behind it."""
    found = forecast.series
    days = len(found["median"]) if whole_plan else min(SHOWN_DAYS, len(found["median"]))
    series = _series(forecast, days)
    cases = _cases(found["cases"])
    return {
        "svg": chart.projection_chart(series, title=f"Units of {item.name} in date"),
        "table": chart.series_table(series),
        "days": days,
        "plan_days": len(found["median"]),
        "sources": sources_of_use(found, unit=item.stock_unit, starts_on=forecast.starts_on),
        "cases": cases[:MOST_CASES],
        "more_cases": max(len(cases) - MOST_CASES, 0),
    }


def _series(forecast: ItemForecast, days: int) -> chart.Series:
    found = forecast.series
    gone = [
        (lot["last_day"] + 1, lot["quantity"])
        for lot in found["lots"]
        if lot["last_day"] is not None and 0 <= lot["last_day"] + 1 < days
    ]
    covered = (forecast.covered_until - forecast.starts_on).days if forecast.covered_until else None
    return chart.Series(
        first_day=forecast.starts_on,
        on_hand=list(zip(found["p05"][:days], found["median"][:days], found["p95"][:days], strict=True)),
        must_have=found["must_have"][:days],
        receipts=[(day, units) for day, units, _ in found["receipts"] if day < days],
        expiries=gone,
        covered_until=covered,
        short=[
            max(late, reach)
            for late, reach in zip(found["short"][:days], found["short_in_reach"][:days], strict=True)
        ],
    )


def sources_of_use(found: dict, *, unit: str, starts_on: dt.date) -> list[UseSource]:
    """Expected use of the coming USE_DAYS by source, in words; units with one decimal."""
    until = starts_on + dt.timedelta(days=USE_DAYS)
    cases = [case for case in found["cases"] if dt.date.fromisoformat(case[1]) < until]
    reserve = sum(1 for case in cases if case[2] > case[3] + 0.005)
    named = f"Booked: {len(cases)} case{'' if len(cases) == 1 else 's'}"
    if reserve:
        named += f", reserve in {reserve}"
    sums = {name: sum(values[:USE_DAYS]) for name, values in found["use"].items()}
    return [
        UseSource(named if cases else "Booked: no case", f"{sums['booked']:.1f}"),
        UseSource("Not booked yet, by the usual rate", f"{sums['not_booked']:.1f}"),
        UseSource("Anything else (drops, trials)", f"{sums['other']:.1f}"),
    ]


def _cases(rows: list) -> list[dict]:
    """The booked cases behind the use, with what each needs in reach; one query."""
    known = Case.objects.filter(code__in=[row[0] for row in rows]).prefetch_related("procedures__procedure")
    named = {case.code: case for case in known}
    return [
        {
            "code": code,
            "on": dt.date.fromisoformat(on),
            "in_reach": in_reach,
            "expected": f"{expected:.1f}",
            "words": ", ".join(p.procedure.short_name for p in named[code].procedures.all())
            if code in named
            else "",
        }
        for code, on, in_reach, expected in rows
    ]


def mass_words(units: float | None, item: Item) -> str:
    """Grams of graft in these units, where the label names them; never worked out from the volume."""
    if units is None or item.mass_g is None:
        return ""
    return f"{number_words(units * float(item.mass_g))} g"


def lying_words(page: ItemPage, item: Item) -> str:
    """What lies here in units and packs: “24 pieces, 2 packs of 12”."""
    words = [units_words(page.on_hand, item.stock_unit), packs_words(page.on_hand, page.pack_size)]
    return ", ".join(filter(None, words))
