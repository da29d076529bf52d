"""A slow twin of the explosion: the sampling rule of common practice, played out draw by draw.

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


def alone(line, drawn, instances, opposites):
    """Return the options of a line outside any group, given all draws."""
    if line.finding is None:
        return [(line.chance, [line]), (1 - line.chance, [])]
    source = opposites.get(line.finding, line.finding)
    places = [line.instance] if line.instance in instances[source] else instances[source]
    points = [drawn[source, at] for at in places]
    points = [1 - point for point in points] if line.finding in opposites else points
    return [(1.0, [line] if any(point < line.chance for point in points) else [])]


def one_of(members, at, drawn, chances, opposites):
    """Return the options of a choose-one group at an instance, given all draws."""
    bound = [line for line in members if line.finding]
    options = []
    for line in bound:
        if there(line.finding, at, drawn, chances, opposites):
            opposite = line.finding in opposites
            planned = 1 - chances[opposites[line.finding]] if opposite else chances[line.finding]
            options.append((line.chance / planned, [line]))
    left = 1 - sum(share for share, _ in options)
    never = 1 - sum(line.chance for line in bound)
    options += [(left * line.chance / never, [line]) for line in members if not line.finding]
    return [*options, (1 - sum(share for share, _ in options), [])]


def use_by_enumeration(lines, chances, instances, opposites):
    """Return item -> {units: chance}.

    chances: finding -> its chance (the planned one). instances: finding -> where it is judged.
    Nested lines open where the draw is below their own chance; lines of an opposite where 1 - draw is.
    """
    keys = [(code, at) for code in chances for at in instances[code]]
    total = defaultdict(lambda: defaultdict(float))
    groups = defaultdict(list)
    for line in lines:
        if line.choose_one:
            groups[line.choose_one, line.instance].append(line)
    for values in product(TENTHS, repeat=len(keys)):
        drawn = dict(zip(keys, values, strict=True))
        decisions = [alone(line, drawn, instances, opposites) for line in lines if not line.choose_one]
        decisions += [one_of(members, at, drawn, chances, opposites) for (_, at), members in groups.items()]
        for chance, opened in choices(decisions):
            spread = choices(
                [[(share, [(line.item, units)]) for share, units in amounts(line)] for line in opened]
            )
            for part, used in spread:
                for item in {line.item for line in lines}:
                    units = sum(more for name, more in used if name == item)
                    total[item][units] += chance * part / 10 ** len(keys)
    return total
