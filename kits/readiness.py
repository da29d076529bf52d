"""Will this case be able to start? ready, thin or cannot start, with the sentence and the line. Values only.

By the item's criticality. Short of an item that a case cannot start without, also when only a finding would
need it: thin while an ordinary order still comes before surgery, with the day to order by; it cannot start
once that day has passed. Short of one with a substitute: thin. Short of a convenience: ready. What an order
on its way brings counts, and is thin only if it leaves no day to spare. A reserve shared with an earlier case
is thin where the chance of being covered is below the practice's target. Questions of the plan are thin until
the plan is locked, and stop the case after that.
"""

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from kits.pick_values import CANNOT_START, READY, THIN, PickLine, Readiness
from kits.proposing import CAUTIOUS
from kits.ready_terms import Terms

_CANNOT, _SUBSTITUTE, _CONVENIENCE = "A", "B", "C"
# The plan of a case is locked a week before (trade reference 3.1, common practice): what is open then leaves
# no time to order against it. Unit: days before surgery.
PLAN_LOCKED_DAYS = 7
# From here on a chance is not said as "100 times in 100", which would promise it (no unit).
NEARLY_ALWAYS = 0.995
# Worst first, within one word.
_UNFIT, _PLAN, _STOPPING, _REPLACEABLE, _ON_ITS_WAY, _SHARED = range(6)


@dataclass(frozen=True)
class _Cause:
    """One thing that keeps a case from being ready."""

    word: str
    rank: tuple
    sentence: str
    line: PickLine
    probability: float = 1.0


def readiness(lines: Sequence[PickLine], *, on: dt.date, terms: Terms) -> Readiness:
    """Readiness of a case of a day from its lines with what is promised to them."""
    wanted = [line for line in lines if line.is_wanted]
    causes = [*_unfit(lines), *_questions(lines, on, terms)]
    causes += [cause for line in wanted if line.short and (cause := _short(line, on, terms))]
    causes += [cause for line in wanted if line.coming and (cause := _late(line, on, terms))]
    shared = [line for line in wanted if line.shared]
    causes += [_shared(line) for line in shared if _covered(line) < terms.targets[line.item.criticality]]
    if not causes:
        return _ready(wanted, shared)
    causes.sort(key=lambda cause: (cause.word != CANNOT_START, cause.rank))
    first = causes[0]
    chances = [cause.probability for cause in causes] + [_covered(line) for line in shared]
    probability = 0.0 if first.word == CANNOT_START else min(chances)
    others = tuple(dict.fromkeys(cause.sentence for cause in causes[1:] if cause.sentence != first.sentence))
    return Readiness(first.word, first.sentence, first.line, probability, others)


def _unfit(lines: Sequence[PickLine]) -> Iterator[_Cause]:
    """What lies on the tray and was held, went out of date or is declined since it was put there."""
    for line in lines:
        for place, sentence in enumerate(line.unfit):
            yield _Cause(CANNOT_START, (_UNFIT, place), f"{_named(line)}: {sentence}", line, 0.0)


def _questions(lines: Sequence[PickLine], on: dt.date, terms: Terms) -> Iterator[_Cause]:
    """What somebody has to decide: no item yet, the patient declines it, one of a group of the plan."""
    locked_on = on - dt.timedelta(days=PLAN_LOCKED_DAYS)
    locked = terms.today >= locked_on
    asked: dict[str, PickLine] = {}
    for line in lines:
        if line.blocking and line.unresolved:
            asked.setdefault(line.unresolved, line)
    for line in lines:
        if line.undecided and line.choose_one_group:
            asked.setdefault(_which(line, lines), line)
    for place, (sentence, line) in enumerate(asked.items()):
        if locked:
            yield _Cause(CANNOT_START, (_PLAN, place), sentence, line, 0.0)
        else:
            words = f"To be decided before {_day(locked_on)}: {sentence}"
            yield _Cause(THIN, (_PLAN, place), words, line)


def _which(line: PickLine, lines: Sequence[PickLine]) -> str:
    names = [
        other.description
        for other in lines
        if other.choose_one_group == line.choose_one_group and other.site_id == line.site_id
    ]
    place = f" for {line.tooth}" if line.tooth else ""
    return f"Choose one{place}: {'; '.join(names)}."


def _short(line: PickLine, on: dt.date, terms: Terms) -> _Cause | None:
    """Units that neither a shelf nor an order gives."""
    if line.item.criticality == _CONVENIENCE:
        return None
    order_by = terms.order_by(line.item.pk, on=on)
    in_time = order_by is not None and order_by >= terms.today
    likeliest = (not line.certain, -line.chance)
    said = f"{_named(line)}: {line.short} of {line.left} {'is' if line.short == 1 else 'are'}"
    if line.item.criticality == _SUBSTITUTE:
        rule = line.item.substitution_rule.split(". ")[0].rstrip(".")
        order = f" Order by {_day(order_by)}." if in_time else ""
        do = f" Rule for a substitute: {rule}." if rule else " Take a substitute, or ask another clinic."
        return _Cause(THIN, (_REPLACEABLE, *likeliest), f"{said} missing.{order}{do}", line)
    if in_time:
        sentence = f"{said} short for this case: order by {_day(order_by)}."
        return _Cause(THIN, (_STOPPING, order_by, *likeliest), sentence, line, CAUTIOUS)
    sentence = f"{said} missing, and {_no_order(line, on, terms)}"
    return _Cause(CANNOT_START, (_STOPPING, *likeliest), sentence, line, 0.0)


def _no_order(line: PickLine, on: dt.date, terms: Terms) -> str:
    """Why an order cannot be counted on, and what is left to do."""
    do = "borrow, ask another clinic or move the case."
    if not terms.is_sold(line.item.pk):
        return f"no supplier is known: {do}"
    if terms.may_still_come(line.item.pk, on=on):
        return f"an order may come too late: order at once, and {do}"
    return f"it is too late to order: {do}"


def _late(line: PickLine, on: dt.date, terms: Terms) -> _Cause | None:
    """Units of an order that leaves no day to spare."""
    if line.item.criticality == _CONVENIENCE:
        return None
    late = [one for one in line.coming if terms.has_no_day_to_spare(due=one.available_on, on=on)]
    if not late:
        return None
    count = sum(one.quantity for one in late)
    numbers = ", ".join(dict.fromkeys(one.receipt.order_number for one in late))
    last = max(one.available_on for one in late)
    when = "overdue" if any(one.receipt.overdue for one in late) else f"due {_day(last)}"
    sentence = (
        f"{_named(line)}: {count} of {line.left} on order, {when} ({numbers}), no day to spare: "
        "ask the supplier."
    )
    return _Cause(THIN, (_ON_ITS_WAY, line.item.criticality, not line.certain, -line.chance), sentence, line)


def _covered(line: PickLine) -> float:
    """Chance that a shared reserve is there if it is needed: missing only if both cases need it."""
    return 1 - line.chance * (1 - line.chance_free)


def _shared(line: PickLine) -> _Cause:
    covered = _covered(line)
    return _Cause(THIN, (_SHARED, covered), _shared_sentence(line), line, covered)


def _shared_sentence(line: PickLine) -> str:
    return f"{line.description}: shared with an earlier case, covered {times(_covered(line))}."


def times(chance: float) -> str:
    """A chance in words: "91 times in 100", never as a promise."""
    if chance >= NEARLY_ALWAYS:
        return "more than 99 times in 100"
    return f"{round(chance * 100)} times in 100"


def _ready(wanted: Iterable[PickLine], shared: Sequence[PickLine]) -> Readiness:
    comes = any(line.coming for line in wanted)
    sentence = f"Everything it needs is in reach{' or on order in time' if comes else ''}."
    if not shared:
        return Readiness(READY, sentence)
    first = min(shared, key=_covered)
    return Readiness(READY, f"{sentence} {_shared_sentence(first)}", probability=_covered(first))


def _named(line: PickLine) -> str:
    why = f" ({line.finding.condition.lower()})" if line.finding is not None and not line.certain else ""
    return f"{line.description}{why}"


def _day(day: dt.date) -> str:
    return f"{day.day} {day:%B}"
