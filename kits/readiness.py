"""Will this case be able to start? ready, thin or cannot start, with the sentence and the line. Values only.

By the item's criticality: short of an item that a case cannot start without stops it, also when only a
finding would need it; short of one with a substitute, or sharing a reserve with an earlier case, leaves it
thin; short of a convenience leaves it ready.
"""

from collections.abc import Sequence

from kits.pick_values import CANNOT_START, READY, THIN, PickLine, Readiness

_CANNOT, _SUBSTITUTE = "A", "B"


def readiness(lines: Sequence[PickLine]) -> Readiness:
    """Readiness of a case from its lines with what is promised to them."""
    undecided = next((line for line in lines if line.blocking and line.unresolved), None)
    if undecided is not None:
        return Readiness(CANNOT_START, undecided.unresolved, undecided, 0.0)
    open_group = next((line for line in lines if line.undecided and line.choose_one_group), None)
    if open_group is not None:
        return Readiness(CANNOT_START, _which(open_group, lines), open_group, 0.0)
    short = [line for line in lines if line.short and line.is_wanted]
    stopping = [line for line in short if line.item.criticality == _CANNOT]
    if stopping:
        return Readiness(CANNOT_START, _short_sentence(stopping[0]), stopping[0], 0.0)
    thin = [line for line in short if line.item.criticality == _SUBSTITUTE]
    if thin:
        first = max(thin, key=lambda line: (line.certain, line.chance))
        rule = first.item.substitution_rule.split(". ")[0].rstrip(".")
        hint = f" Rule for a substitute: {rule}." if rule else ""
        return Readiness(THIN, _short_sentence(first) + hint, first)
    shared = [line for line in lines if line.shared and line.is_wanted]
    if shared:
        first = min(shared, key=lambda line: line.chance_free)
        covered = 1 - first.chance * (1 - first.chance_free)
        sentence = (
            f"{first.description}: shared with an earlier case, covered {round(covered * 100)} times in 100."
        )
        return Readiness(THIN, sentence, first, covered)
    return Readiness(READY, "Everything it needs is in reach.")


def _which(line: PickLine, lines: Sequence[PickLine]) -> str:
    names = [
        other.description
        for other in lines
        if other.choose_one_group == line.choose_one_group and other.site_id == line.site_id
    ]
    place = f" for {line.tooth}" if line.tooth else ""
    return f"Choose one{place}: {'; '.join(names)}."


def _short_sentence(line: PickLine) -> str:
    count = "None is free" if line.short >= line.left else f"{line.short} of {line.left} are missing"
    why = "" if line.certain else f" ({line.finding.condition.lower()})" if line.finding else ""
    return f"{line.description}{why}: {count}, in date on the day."
