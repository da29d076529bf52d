"""Time the projection of a clinic's whole stock against a Monte Carlo of 20,000 paths.

Run: python -m bench.planning [--items 600] [--days 180] [--paths 20000] [--sample 60]

Both see the same seeded items: lots with expiries, receipts, sparse use from cases, daily use of
consumables. The Monte Carlo is plain vectorised NumPy: it draws the use of all paths and days of an
item at once and walks the days only where a lot expires. Without out-of-order receipts, outflow
obeys U(t) = max(U(t-1), gone by t) + use(t), so between two expiry days a path is a cumulative sum;
the few items with a short-dated receipt behind longer-dated stock are played lot by lot.

A Monte Carlo answer of n paths for a chance p is itself off by about sqrt(p (1 - p) / n), its standard
error (Kroese, Taimre and Botev, Handbook of Monte Carlo Methods, Wiley 2011, chapter 8; from memory). So each
gap is set against that error, and the same run is played twice with other seeds: an exact projection lies
nearer to either run than the runs lie to each other, and nearer still to both runs together.
"""

from __future__ import annotations

import argparse
import resource
import time
import tracemalloc
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stock.planning import pmf
from stock.planning.outflow import Demand, Projection, project_many

Draws = NDArray[np.int32]
Batches = list[tuple[int, int, int]]
"""(last usable day, day of arrival, units)."""

SEED = 20260601
KINDS = (
    # share of items, mean units on hand, cases a week, largest units a case, shelf days left
    (0.55, 4, 0.25, 1, (20, 900)),
    (0.30, 14, 1.5, 2, (20, 700)),
    (0.12, 60, 12.0, 3, (60, 700)),
    (0.03, 400, 60.0, 4, (60, 700)),
)
"""Invented mix: most items are slow, a few are opened in every case."""

ENOUGH = 25
"""Paths expected on the rarer side, from which a binomial error is near normal; usual rules ask 5 to 10."""

ROUNDING = 1e-12
"""Chance that a projection in double precision may hold for never, or lack for always."""

LONGER_DATED = 0.96
"""Share of receipts dated later than all stock before them; the rest are short-dated offers."""


def items(count: int, days: int) -> list[Demand]:
    """Return seeded demands of `count` items over `days` days."""
    random = np.random.default_rng(SEED)
    shares = np.array([kind[0] for kind in KINDS])
    chosen = random.choice(len(KINDS), size=count, p=shares / shares.sum())
    return [_item(random, days, *KINDS[kind][1:]) for kind in chosen]


def _item(
    random: np.random.Generator, days: int, stock: int, weekly: float, most: int, shelf: tuple[int, int]
) -> Demand:
    """Return one item: booked cases for five weeks, expected ones after, working days only."""
    each = pmf.checked(random.dirichlet(np.ones(most + 1)))
    rate = weekly / 5 * random.uniform(0.4, 1.6)
    size = int(rate * most * 2 + 12 * np.sqrt(rate * most) + 4)
    expected = pmf.compound_poisson(rate, each, size)
    use = np.zeros((days, size))
    for day in range(days):
        if day % 7 >= 5:
            use[day, 0] = 1
        elif day < 35:
            booked = pmf.convolve_all([each] * int(random.poisson(rate)))
            use[day] = pmf.cap(booked, size)
        else:
            use[day] = expected
    lots = [
        (int(random.integers(1, max(2, stock))), int(random.integers(*shelf)))
        for _ in range(random.integers(1, 5))
    ]
    newest = max(last for _, last in lots)
    receipts = []
    for arrives in sorted(random.integers(3, days, size=random.integers(0, 3)).tolist()):
        newest = max(newest, arrives + 30) + int(random.integers(1, 90))
        last = newest if random.random() < LONGER_DATED else arrives + int(random.integers(5, 60))
        receipts.append((arrives, int(random.integers(1, max(2, stock))), last))
    return Demand(use=use, lots=lots, receipts=receipts, must_have=random.integers(0, 3, days))


def monte_carlo(
    demand: Demand, paths: int, random: np.random.Generator
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the shares of paths that are short in use and short in reach on each day."""
    use = np.asarray(demand.use)
    draws = np.empty((len(use), paths), dtype=np.int32)
    for day, chances in enumerate(use):
        if chances[0] == 1:
            draws[day] = 0
        else:
            draws[day] = np.searchsorted(np.cumsum(chances)[:-1], random.random(paths), side="right")
    batches = [(last, 0, units) for units, last in demand.lots]
    batches += [(last, arrives, units) for arrives, units, last in demand.receipts]
    must_have = np.asarray(demand.must_have)[:, None]
    if ordered(demand):
        left, owed = by_sums(draws, batches)
    else:
        left, owed = unit_by_lot(draws, batches)
    return owed.mean(axis=1), (left < must_have).mean(axis=1)


def by_sums(draws: Draws, batches: Batches) -> tuple[Draws, NDArray[np.bool_]]:
    """Return units left when each day starts and whether use is owed when it ends, by cumulative sums."""
    days, paths = draws.shape
    supplied = np.array(
        [sum(units for _, arrives, units in batches if arrives <= day) for day in range(days)]
    )
    starts = sorted({0, *(last + 1 for last, _, _ in batches if last + 1 < days)})
    gone = np.zeros(paths, dtype=np.int32)
    outflow, before = np.empty_like(draws), np.empty_like(draws)
    for start, end in zip(starts, [*starts[1:], days], strict=True):
        gone = np.maximum(gone, sum(units for last, _, units in batches if last < start))
        np.cumsum(draws[start:end], axis=0, out=outflow[start:end])
        outflow[start:end] += gone
        before[start] = gone
        before[start + 1 : end] = outflow[start : end - 1]
        gone = outflow[end - 1]
    return np.maximum(supplied[:, None] - before, 0), outflow > supplied[:, None]


def unit_by_lot(draws: Draws, batches: Batches) -> tuple[Draws, NDArray[np.bool_]]:
    """Return the same where receipts come out of order, keeping every path's units of every lot."""
    days, paths = draws.shape
    lying = np.zeros((len(batches), paths), dtype=np.int32)
    owed = np.zeros(paths, dtype=np.int32)
    left, short = np.empty_like(draws), np.empty((days, paths), dtype=bool)
    by_expiry = sorted(range(len(batches)), key=lambda index: batches[index])
    for day in range(days):
        for index, (last, arrives, units) in enumerate(batches):
            if last < day:
                lying[index] = 0
            elif arrives == day:
                lying[index] = units
        owed = _issue(owed, lying, by_expiry)
        left[day] = lying.sum(axis=0)
        owed = _issue(owed + draws[day], lying, by_expiry)
        short[day] = owed > 0
    return left, short


def _issue(owed: NDArray[np.int32], lying: Draws, by_expiry: list[int]) -> NDArray[np.int32]:
    """Take what is owed from the lots in place, soonest to expire first, and return what is still owed."""
    for index in by_expiry:
        taken = np.minimum(owed, lying[index])
        lying[index] -= taken
        owed = owed - taken
    return owed


def ordered(demand: Demand) -> bool:
    """Say whether every receipt is dated no earlier than all that arrived before it."""
    newest = max(last for _, last in demand.lots)
    for _, _, last in demand.receipts:
        if last < newest:
            return False
        newest = last
    return True


def timed(demands: list[Demand], repeats: int = 3) -> tuple[float, list[Projection]]:
    """Return the best time in seconds of `repeats` projections of all items, and the projections."""
    best, found = float("inf"), []
    for _ in range(repeats):
        start = time.process_time()
        found = project_many(demands)
        best = min(best, time.process_time() - start)
    return best, found


@dataclass(frozen=True)
class Compared:
    """Chances of every sampled item and day: exact, and as two independent Monte Carlo runs found them."""

    exact: NDArray[np.float64]
    first: NDArray[np.float64]
    second: NDArray[np.float64]
    paths: int
    seconds: tuple[float, float]

    @property
    def error(self) -> NDArray[np.float64]:
        """Standard error of one run at each chance."""
        return np.sqrt(self.exact * (1 - self.exact) / self.paths)

    @property
    def open(self) -> NDArray[np.bool_]:
        """Where the errors are near normal: at least ENOUGH paths expected on either side."""
        return np.minimum(self.exact, 1 - self.exact) * self.paths >= ENOUGH

    @property
    def certain(self) -> NDArray[np.bool_]:
        """Where the projection says never or always: no path may say otherwise."""
        return np.minimum(self.exact, 1 - self.exact) <= ROUNDING


def compare(demands: list[Demand], projections: list[Projection], sample: list[int], paths: int) -> Compared:
    """Play the sampled items twice, with seeds of their own, beside their projections."""
    exact = [np.concatenate([projections[at].short, projections[at].short_in_reach]) for at in sample]
    runs, spent = [], []
    for seed in (SEED + 1, SEED + 2):
        random = np.random.default_rng(seed)
        start = time.process_time()
        runs.append([np.concatenate(monte_carlo(demands[at], paths, random)) for at in sample])
        spent.append(time.process_time() - start)
    first, second = (np.concatenate(run) for run in runs)
    return Compared(np.concatenate(exact), first, second, paths, (spent[0], spent[1]))


def gap_line(words: str, found: NDArray[np.float64], against: NDArray[np.float64], error: NDArray) -> str:
    """One line: the largest gap, the standard error of that very gap, and the share within 4 of them."""
    gap = np.abs(found - against)
    at = int(gap.argmax())
    within = float(np.mean(gap <= 4 * error))
    errors = gap[at] / error[at] if error[at] else np.inf
    return f"{words:<34}{gap[at]:>9.4f}{error[at]:>12.4f}{errors:>9.1f}{100 * within:>14.4f} %"


def say_gaps(found: Compared) -> None:
    """Print what the gaps are and what sampling alone would make of them."""
    near = found.open
    exact, first, second, error = (x[near] for x in (found.exact, found.first, found.second, found.error))
    print(f"\nchances of being short, in use or in reach: {found.exact.size:,} by item and day")
    print(f"gaps at the {near.sum():,} of them with {ENOUGH} paths or more expected on either side:")
    print(f"{'':<34}{'largest':>9}{'error there':>12}{'errors':>9}{'within 4 errors':>16}")
    print(gap_line("exact and first run", first, exact, error))
    print(gap_line("exact and second run", second, exact, error))
    print(gap_line("first and second run", second, first, error * np.sqrt(2)))
    print(gap_line("exact and both runs together", (first + second) / 2, exact, error / np.sqrt(2)))
    squares = float(np.mean(((first - exact) / error) ** 2))
    print(f"mean square of the gaps of the first run, in errors: {squares:.3f} (sampling alone: 1)")
    print("A normal error lies within 4 standard errors 99.9937 % of the time; days of one item go together.")
    sure = found.certain
    broken = int(np.count_nonzero(np.abs(found.first - found.exact)[sure] > ROUNDING))
    broken += int(np.count_nonzero(np.abs(found.second - found.exact)[sure] > ROUNDING))
    print(f"said never or always: {sure.sum():,}; contradicted by a path of either run: {broken}")


def main() -> None:
    """Run the comparison and print it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    for name, value in (("items", 600), ("days", 180), ("paths", 20_000), ("sample", 600)):
        parser.add_argument(f"--{name}", type=int, default=value)
    options = parser.parse_args()
    demands = items(options.items, options.days)
    odd = sum(not ordered(demand) for demand in demands)
    seconds, projections = timed(demands)
    tracemalloc.start()
    project_many(demands)
    memory = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    sampled = min(options.sample, len(demands))
    sample = sorted(np.random.default_rng(SEED).choice(len(demands), size=sampled, replace=False).tolist())
    found = compare(demands, projections, sample, options.paths)
    whole = found.seconds[0] * len(demands) / len(sample)
    scaled = "" if len(sample) == len(demands) else f", scaled from {len(sample)} items"
    print(f"{options.items} items x {options.days} days, seed {SEED}, {odd} with receipts out of order")
    print("times are processor seconds, so that other work on the machine does not count")
    print(f"exact projection      {seconds:8.3f} s for all items (best of 3), {memory:.0f} MB at its peak")
    print(f"Monte Carlo           {whole:8.1f} s for {options.paths:,} paths of every item{scaled}")
    print(f"ratio                 {whole / seconds:8.0f} times (aim: at least 100)")
    say_gaps(found)
    whole_process = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"\nmemory of the process {whole_process:8.0f} MB at its peak, both Monte Carlo runs included")


if __name__ == "__main__":
    main()
