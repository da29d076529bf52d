"""The stock projection of one item as inline SVG, and as rows of a table for those who cannot see it.

Pure: dates and numbers in, markup out. Looks come from the stylesheet through classes; the few
presentation attributes below only keep the picture readable without it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from html import escape

import numpy as np
from numpy.typing import ArrayLike, NDArray

WIDTH, HEIGHT = 860, 300
LEFT, RIGHT, TOP, BOTTOM = 44, 850, 50, 258
"""Natural size of the picture and edges of its plot, in pixels."""

LANES = (13, 28, 43)
"""Heights of the label lanes above the plot, in pixels."""

LETTER = 6.7
"""Width kept for one letter at 12 pixels, in pixels: a little above the mean of common sans-serif faces."""

TICK_STEPS = (1, 2, 5)
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


class WrongSeries(ValueError):
    """The numbers to draw do not fit together."""


class Markup(str):
    """Markup whose text is already escaped; templates may print it as it stands."""

    def __html__(self) -> str:
        """Return the markup itself, as template engines expect of safe text."""
        return str(self)


@dataclass(frozen=True, kw_only=True)
class Series:
    """Stock of one item over the planned days.

    first_day: date of day 0. on_hand: int [days, 3], low, median and high units at the end of each day.
    must_have: int [days] units that must lie in reach, or None. receipts: (day, units) due.
    expiries: (first day out of date, units), as lots stand now. covered_until: last covered day, -1
    for none, None to leave the mark out. short: chance [days] of use going unmet, or None.
    """

    first_day: date
    on_hand: ArrayLike
    must_have: ArrayLike | None = None
    receipts: Sequence[tuple[int, int]] = ()
    expiries: Sequence[tuple[int, int]] = ()
    covered_until: int | None = None
    short: ArrayLike | None = None
    _units: NDArray[np.int64] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        units = np.asarray(self.on_hand, dtype=np.int64)
        if units.ndim != 2 or units.shape[1] != 3 or not len(units):
            raise WrongSeries(f"Stock to draw has low, median and high for each day, not {units.shape}.")
        for name, row in (("must_have", self.must_have), ("short", self.short)):
            if row is not None and len(np.asarray(row)) != len(units):
                raise WrongSeries(f"{name} covers {len(np.asarray(row))} days, the stock {len(units)}.")
        object.__setattr__(self, "_units", units)

    @property
    def days(self) -> int:
        """Planned days."""
        return len(self._units)

    def column(self, index: int) -> list[int]:
        """Return low (0), median (1) or high (2) for every day."""
        return [int(units) for units in self._units[:, index]]

    @property
    def must(self) -> list[int] | None:
        """What must lie in reach on every day, or None."""
        return None if self.must_have is None else [int(units) for units in np.asarray(self.must_have)]

    def on(self, day: int) -> date:
        """Return the date of a day."""
        return self.first_day + timedelta(days=day)


@dataclass(frozen=True, kw_only=True)
class SeriesRow:
    """One row of the table: a day on which something changes. `short` is a chance or None."""

    on: date
    low: int
    median: int
    high: int
    must_have: int | None
    arriving: int
    expiring: int
    short: float | None


def series_table(series: Series) -> list[SeriesRow]:
    """Return a row for the first and the last day and for every day on which a number shown changes."""
    arriving, expiring = _by_day(series.receipts), _by_day(series.expiries)
    chances = None if series.short is None else [float(chance) for chance in np.asarray(series.short)]
    rows: list[SeriesRow] = []
    before: tuple[int | None, ...] = ()
    for day in range(series.days):
        low, median, high = (series.column(index)[day] for index in range(3))
        must = series.must[day] if series.must is not None else None
        shown = (low, median, high, must)
        if shown != before or day in arriving or day in expiring or day == series.days - 1:
            rows.append(
                SeriesRow(
                    on=series.on(day),
                    low=low,
                    median=median,
                    high=high,
                    must_have=must,
                    arriving=arriving.get(day, 0),
                    expiring=expiring.get(day, 0),
                    short=None if chances is None else chances[day],
                )
            )
        before = shown
    return rows


def projection_chart(series: Series, *, title: str, name: str = "stock-chart") -> Markup:
    """Return the chart as an inline SVG image with a title and a description.

    title: what the picture shows, any text. name: start of the ids in the markup, unique on the page;
    letters, digits and hyphens. Median as a line, 5 to 95 % as a band, what must lie in reach dashed,
    receipts and expiries as marked lines, the last covered day as a line.
    """
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9-]*", name):
        raise WrongSeries(f"{name!r} cannot start an id: letters, digits and hyphens only, a letter first.")
    scale = _Scale(series)
    parts = [
        f'<svg class="projection" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" '
        f'role="img" aria-labelledby="{name}-title {name}-desc" font-size="12">',
        f'<title id="{name}-title">{escape(title)}</title>',
        f'<desc id="{name}-desc">{escape(description(series))}</desc>',
        *_grid(scale),
        _band(scale),
        f'<path class="chart-median" fill="none" stroke="currentColor" stroke-width="2.2" '
        f'stroke-linejoin="round" d="{scale.steps(series.column(1))}"/>',
        *_must(scale),
        *_marks(scale),
        "</svg>",
    ]
    return Markup("".join(parts))


def description(series: Series) -> str:
    """Return the chart in words: span, start, end, lowest point, cover, what arrives and expires."""
    median, low = series.column(1), series.column(0)
    lowest = int(np.argmin(low))
    words = [
        f"From {_date(series.first_day)} to {_date(series.on(series.days - 1))}.",
        f"Most likely {_units(median[0])} when the first day ends and {median[-1]} when the last does.",
        f"In 19 of 20 cases at least {low[lowest]} on the lowest day, {_date(series.on(lowest))}.",
    ]
    if series.must is not None and max(series.must) > 0:
        words.append(f"Up to {_units(max(series.must))} must lie in reach.")
    words += [f"{_units(units)} due on {_date(series.on(day))}." for day, units in sorted(series.receipts)]
    words += [
        f"{_units(units)} out of date from {_date(series.on(day))} unless used."
        for day, units in sorted(series.expiries)
        if 0 <= day < series.days
    ]
    if series.covered_until is not None:
        words.append(_cover(series).capitalize() + ".")
    return " ".join(words)


class _Scale:
    """Where days and units lie on the picture."""

    def __init__(self, series: Series) -> None:
        self.series = series
        most = max(max(series.column(2)), max(series.must or [0]), 1)
        self.step = next(
            size * 10**power for power in range(12) for size in TICK_STEPS if most / (size * 10**power) <= 5
        )
        self.top = self.step * -(-most // self.step)
        if self.top == most:
            self.top += self.step

    def x(self, day: float) -> float:
        """Return the left edge of a day, in pixels."""
        return round(LEFT + (RIGHT - LEFT) * day / self.series.days, 1)

    def y(self, units: float) -> float:
        """Return the height of a number of units, in pixels."""
        height: float = BOTTOM - (BOTTOM - TOP) * units / self.top
        return round(height, 1)

    def steps(self, values: Sequence[int], *, back: bool = False) -> str:
        """Return the path of a step line, one level per day, from the right if `back`."""
        days = range(self.series.days - 1, -1, -1) if back else range(self.series.days)
        path, level = "", None
        for day in days:
            start = self.x(day + 1 if back else day)
            if level is None:
                path = f"{'L' if back else 'M'}{start:g} {self.y(values[day]):g}"
            elif values[day] != level:
                path += f"H{start:g}V{self.y(values[day]):g}"
            level = values[day]
        return path + f"H{self.x(0 if back else self.series.days):g}"


def _grid(scale: _Scale) -> Iterable[str]:
    """Yield the lines and words of both axes."""
    levels = range(0, scale.top + 1, scale.step)
    lines = "".join(f"M{LEFT} {scale.y(units):g}H{RIGHT}" for units in levels)
    yield f'<path class="chart-grid" fill="none" stroke="currentColor" stroke-opacity=".18" d="{lines}"/>'
    for units in levels:
        yield _text(LEFT - 10, scale.y(units) + 4, str(units), anchor="end")
    days = _ticks(scale.series)
    year = scale.series.first_day.year
    for day in days:
        on = scale.series.on(day)
        words = _day(on) if on.year == year else f"{_day(on)} {on.year}"
        year = on.year
        x = scale.x(day)
        anchor = "start" if x + LETTER * len(words) < RIGHT + 6 else "end"
        yield f'<path class="chart-tick" stroke="currentColor" stroke-opacity=".4" d="M{x:g} {BOTTOM}v5"/>'
        yield _text(x if anchor == "start" else min(x + 6, RIGHT + 4), BOTTOM + 21, words, anchor=anchor)


def _ticks(series: Series) -> list[int]:
    """Return the days to name below the plot: day 0, then Mondays or first days of months."""
    if series.days > 100:
        marked = [day for day in range(series.days) if series.on(day).day == 1]
    elif series.days > 12:
        weeks = next(weeks for weeks in (1, 2, 4) if series.days / (7 * weeks) <= 7 or weeks == 4)
        mondays = [day for day in range(series.days) if series.on(day).weekday() == 0]
        marked = mondays[::weeks] if not mondays or mondays[0] else mondays[weeks::weeks]
    else:
        marked = list(range(2, series.days, 2))
    apart = max(1, round(series.days * 64 / (RIGHT - LEFT)))
    ticks = [0]
    for day in marked:
        if day - ticks[-1] >= apart:
            ticks.append(day)
    return ticks


def _band(scale: _Scale) -> str:
    """Return the band from low to high."""
    path = scale.steps(scale.series.column(2)) + scale.steps(scale.series.column(0), back=True) + "Z"
    return f'<path class="chart-band" fill="currentColor" fill-opacity=".14" d="{path}"/>'


def _must(scale: _Scale) -> Iterable[str]:
    """Yield the line of what must lie in reach."""
    must = scale.series.must
    if must is not None and max(must) > 0:
        yield (
            '<path class="chart-must" fill="none" stroke="currentColor" stroke-width="1.4" '
            f'stroke-dasharray="5 4" d="{scale.steps(must)}"/>'
        )


def _marks(scale: _Scale) -> Iterable[str]:
    """Yield the marked days, soonest first, each label in the first lane with room for it."""
    series = scale.series
    marks = [(day, "receipt", f"{units} due") for day, units in _by_day(series.receipts).items()]
    marks += [(day, "expiry", f"{units} out of date") for day, units in _by_day(series.expiries).items()]
    marks = [mark for mark in marks if 0 <= mark[0] < series.days]
    if series.covered_until is not None and series.covered_until < series.days - 1:
        marks.append((series.covered_until + 1, "covered", _cover(series)))
    taken = [float("-inf")] * len(LANES)
    for day, kind, words in sorted(marks, key=lambda mark: (mark[1] != "covered", mark[0])):
        yield from _mark(scale.x(day), kind, words, taken)


def _mark(x: float, kind: str, words: str, taken: list[float]) -> Iterable[str]:
    """Yield one marked day; `taken` holds how far each lane is filled and is brought up to date."""
    width = LETTER * len(words) + 12
    before = x + width > RIGHT
    start = x - width if before else x
    lane = next((row for row, end in enumerate(taken) if start >= end), None)
    height = LANES[lane] - 9 if lane is not None else TOP - 4
    dots = ' stroke-dasharray="1.5 3"' if kind == "expiry" else ""
    yield (
        f'<path class="chart-{kind}" fill="none" stroke="currentColor" stroke-width="1.6"{dots} '
        f'd="M{x:g} {height}V{BOTTOM}"/>'
    )
    shape = {"receipt": "l-5 8h10z", "expiry": "m-4 0l8 8m0 -8l-8 8", "covered": "v8h-5v-8z"}[kind]
    fill = "none" if kind == "expiry" else "currentColor"
    foot = f"M{x:g} {BOTTOM - 8}{shape}"
    yield f'<path class="chart-{kind}-foot" fill="{fill}" stroke="currentColor" d="{foot}"/>'
    if lane is not None:
        taken[lane] = start + width
        anchor = "end" if before else "start"
        yield _text(
            x - 6 if before else x + 6,
            LANES[lane],
            words,
            anchor=anchor,
            kind=f"chart-label chart-label-{kind}",
        )


def _text(x: float, y: float, words: str, *, anchor: str = "start", kind: str = "chart-axis") -> str:
    """Return one piece of writing."""
    place = f'x="{x:g}" y="{y:g}" text-anchor="{anchor}"'
    return f'<text class="{kind}" fill="currentColor" {place}>{escape(words)}</text>'


def _by_day(events: Sequence[tuple[int, int]]) -> dict[int, int]:
    """Return the units of each day, days in order."""
    days: dict[int, int] = {}
    for day, units in sorted(events):
        days[day] = days.get(day, 0) + units
    return days


def _cover(series: Series) -> str:
    """Return the cover in words."""
    if series.covered_until is None or series.covered_until < 0:
        return "not covered today"
    if series.covered_until >= series.days - 1:
        return "covered to the end"
    return f"covered until {_day(series.on(series.covered_until))}"


def _day(on: date) -> str:
    """Return a day without its year."""
    return f"{on.day} {MONTHS[on.month - 1]}"


def _date(on: date) -> str:
    """Return a day with its year."""
    return f"{_day(on)} {on.year}"


def _units(units: int) -> str:
    """Return a number of units in words."""
    return f"{units} unit" if units == 1 else f"{units} units"
