"""A slow twin of the outflow sums: every course of events, unit by unit, with no formula.

Each unit is a token with its own expiry; a day is played out as the outflow module's docstring says.
"""

from itertools import product

import numpy as np


def play(*, uses, lots, receipts, must_have):
    """Play one course of use (units per day) and return what happened, day by day."""
    days = len(uses)
    far = 10**9
    tokens = [
        (far if last is None else last, 0, index)
        for index, (units, last) in enumerate(lots)
        for _ in range(units)
    ]
    due = [
        (arrives, far if last is None else last, len(lots) + index)
        for index, (arrives, units, last) in enumerate(receipts)
        for _ in range(units)
    ]
    expired = [0] * (len(lots) + len(receipts))
    owed, used = 0, 0
    end, short, reach = [], [], []
    for day in range(days):
        tokens += [(last, arrives, index) for arrives, last, index in due if arrives == day]
        for token in [token for token in tokens if token[0] < day]:
            tokens.remove(token)
            expired[token[2]] += 1
        tokens.sort()
        while owed and tokens:
            tokens.pop(0)
            owed, used = owed - 1, used + 1
        reach.append(must_have is not None and len(tokens) < must_have[day])
        for _ in range(uses[day]):
            if tokens:
                tokens.pop(0)
                used += 1
            else:
                owed += 1
        end.append(len(tokens))
        short.append(owed > 0)
    return {"end": end, "short": short, "reach": reach, "expired": expired, "used": used, "owed": owed}


def enumerate_paths(*, use, lots, receipts=(), must_have=None, quantiles=(0.05, 0.5, 0.95)):
    """Return the projection and the chance of having been short, by summing over all courses of use."""
    use = np.asarray(use, dtype=float)
    days, units = use.shape
    total = sum(units for units, _ in lots) + sum(units for _, units, _ in receipts)
    short, reach, ever = np.zeros(days), np.zeros(days), np.zeros(days)
    hold = np.zeros((days, total + 1))
    expired = np.zeros(len(lots) + len(receipts))
    used = 0.0
    for uses in product(range(units), repeat=days):
        chance = float(np.prod(use[np.arange(days), uses]))
        if chance == 0:
            continue
        seen = play(uses=uses, lots=lots, receipts=receipts, must_have=must_have)
        short += chance * np.array(seen["short"])
        reach += chance * np.array(seen["reach"])
        ever += chance * np.maximum.accumulate(np.array(seen["short"]) | np.array(seen["reach"]))
        hold[np.arange(days), seen["end"]] += chance
        expired += chance * np.array(seen["expired"])
        used += chance * seen["used"]
    below = np.cumsum(hold, axis=1)
    on_hand = np.array([[int(np.argmax(row >= level - 1e-12)) for level in quantiles] for row in below])
    mean = hold @ np.arange(total + 1)
    return {
        "short": short,
        "reach": reach,
        "ever": ever,
        "mean": mean,
        "on_hand": on_hand,
        "expired": expired,
        "used": used,
    }
