"""Which unopened vials cover a need with least waste. Pure."""

import math
from collections.abc import Sequence
from fractions import Fraction

from kits.sizing.measures import ImpossibleMeasure, checked

# Sizes are told apart to a thousandth of a cc (a microlitre), which is finer than any label.
_STEPS_PER_CC = 1000
# No jaw takes a tenth of this; a larger need is a mistyped number, and the search stays small.
_LARGEST_NEED_CC = 100


class NoVial(LookupError):
    """A need for graft with no vial size to cover it."""

    def __init__(self, need_cc: float) -> None:
        self.need_cc = need_cc
        super().__init__(f"{need_cc:.2f} cc of graft is needed and no vial size is in the catalogue.")


def vials(need_cc: float, sizes_cc: Sequence[float]) -> list[float]:
    """The vial sizes, largest first, that cover a need with least waste, then with fewest vials.

    Where that leaves a choice, the one with the largest vial is taken.

    ``sizes_cc`` are the contents of the sizes in the catalogue; each may be taken several times. A vial is
    for one patient, so whatever is left over is waste. Exact: every reachable total is weighed, on the grid
    of the sizes' greatest common step. Raises ImpossibleMeasure, or NoVial for a need without any size.
    """
    if checked("need for graft", need_cc) > _LARGEST_NEED_CC:
        raise ImpossibleMeasure("need for graft", need_cc, f"more than {_LARGEST_NEED_CC} cc is not planned")
    # Sums of measures end in digits like 0.7500000000000001, which must not cost another vial.
    need = Fraction(round(need_cc * _STEPS_PER_CC, 6)).limit_denominator(10**6)
    if need == 0:
        return []
    by_steps = {_steps(size): size for size in sizes_cc}
    if not by_steps:
        raise NoVial(need_cc)
    grid = math.gcd(*by_steps)
    sizes = {steps // grid: size for steps, size in sorted(by_steps.items(), reverse=True)}
    fewest, last = _fewest(math.ceil(need / grid) + min(sizes), list(sizes))
    total = next(total for total in range(math.ceil(need / grid), len(fewest)) if fewest[total] is not None)
    taken: list[float] = []
    while total:
        taken.append(sizes[last[total]])
        total -= last[total]
    return sorted(taken, reverse=True)


def _fewest(largest_total: int, sizes: list[int]) -> tuple[list[int | None], list[int]]:
    """For every total up to the largest: the fewest vials that make it (None: none do), and one of them."""
    fewest: list[int | None] = [0] + [None] * largest_total
    last = [0] * (largest_total + 1)
    for total in range(1, largest_total + 1):
        for size in sizes:
            before = fewest[total - size] if size <= total else None
            known = fewest[total]
            if before is not None and (known is None or before + 1 < known):
                fewest[total], last[total] = before + 1, size
    return fewest, last


def _steps(size_cc: float) -> int:
    """A vial's contents in whole steps. Raises ImpossibleMeasure for zero or a size finer than a step."""
    steps = round(checked("vial size", size_cc, positive=True) * _STEPS_PER_CC)
    if steps == 0 or abs(steps - size_cc * _STEPS_PER_CC) > 1e-6:
        raise ImpossibleMeasure("vial size", size_cc, "sizes are given to a thousandth of a cc")
    return steps
