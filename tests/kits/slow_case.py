"""A slow twin of the explosion: the sampling rule of the trade reference, played out draw by draw.

All chances are tenths, so one uniform draw per finding and instance is one of ten equally likely
values 0.05, 0.15 ... 0.95, and every outcome of all draws together is visited.
"""

from collections import defaultdict
from itertools import product

TENTHS = [tenth / 10 + 0.05 for tenth in range(10)]


def choices(lines):
    """Yield (chance, opened lines) for lines whose groups and own shares are still to be decided."""
    outcomes = [(1.0, [])]
    for options in lines:
        outcomes = [
            (chance * share, [*opened, *more]) for chance, opened in outcomes for share, more in options
        ]
    return outcomes


def amounts(line):
    """Yield (chance, units) of an opened line."""
    whole = int(line.quantity + 1e-9)
    part = line.quantity - whole
    return [(1 - part, whole), (part, whole + 1)] if part > 1e-9 else [(1.0, whole)]


def there(code, at, drawn, chances, opposites):
    """Say whether a finding is there at an instance, and at which draw."""
    if code in opposites:
        return drawn[opposites[code], at] > chances[opposites[code]]
    return drawn[code, at] < chances[code]


def use_by_enumeration(lines, chances, instances, opposites):
    """Return item -> {units: chance}.

    chances: finding -> its chance (the planned one). instances: finding -> where it is judged.
    Nested lines open where the draw is below their own chance; lines of an opposite where 1 - draw is.
    """
    keys = [(code, at) for code in chances for at in instances[code]]
    total = defaultdict(lambda: defaultdict(float))
    items = {line.item for line in lines}
    for values in product(TENTHS, repeat=len(keys)):
        drawn = dict(zip(keys, values, strict=True))
        decisions = []
        groups = defaultdict(list)
        for line in lines:
            if line.choose_one:
                groups[line.choose_one, line.instance].append(line)
            elif line.finding is None:
                decisions.append([(line.chance, [line]), (1 - line.chance, [])])
            else:
                source = opposites.get(line.finding, line.finding)
                places = [line.instance] if line.instance in instances[source] else instances[source]
                points = [drawn[source, at] for at in places]
                points = [1 - point for point in points] if line.finding in opposites else points
                opened = any(point < line.chance for point in points)
                decisions.append([(1.0, [line] if opened else [])])
        for (_, at), members in groups.items():
            bound = [line for line in members if line.finding]
            open_now = [line for line in bound if there(line.finding, at, drawn, chances, opposites)]
            planned = {
                line: 1 - chances[opposites[line.finding]]
                if line.finding in opposites
                else chances[line.finding]
                for line in open_now
            }
            options = [(line.chance / planned[line], [line]) for line in open_now]
            left = 1 - sum(share for share, _ in options)
            free = [line for line in members if not line.finding]
            never = 1 - sum(line.chance for line in bound)
            options += [(left * line.chance / never, [line]) for line in free]
            options.append((1 - sum(share for share, _ in options), []))
            decisions.append(options)
        for chance, opened in choices(decisions):
            spread = choices(
                [[(share, [(line.item, units)]) for share, units in amounts(line)] for line in opened]
            )
            for part, used in spread:
                for item in items:
                    units = sum(more for name, more in used if name == item)
                    total[item][units] += chance * part / 10 ** len(keys)
    return total
