"""What every import of a practice's own files shares: options, meanings, the report, all-or-nothing.

A file is read whole and turned into *steps*. ``settle`` takes all steps inside one transaction and then
keeps them or takes every one back, so that a check shows exactly what a run would do, and a run with
problems changes nothing unless good rows alone were asked for.
"""

import datetime as dt
import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, field

from django.db import transaction

from practice import audit
from practice.encryption import fold
from practice.models import RememberedMeaning
from practice.refusals import Refusal
from practice.spreadsheets import Problem, is_blank, shown

SKIP = "skip"
IMPORTED = audit.action("file.import", "took in {subject}: {accepted} rows new or changed of {read}")
REMEMBERED = audit.action("meaning.remember", "set what {subject} means: {meaning}")


class BadMapping(Refusal):
    """A mapping file that says something an import cannot use."""


@dataclass(frozen=True)
class Meanings:
    """What a file's columns and values mean, as people declared it.

    columns: header as written -> our column name. values: header or our column name -> {value: meaning},
    where the meaning is a code of ours or "skip". day_first, decimal, notation and encoding settle what a
    file leaves open; None lets the file show it.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    day_first: bool | None = None
    decimal: str | None = None
    notation: str | None = None
    encoding: str | None = None

    def of(self, value: str, *names: str) -> str | None:
        """The declared meaning of a value under any of the column's names, or None."""
        wanted = {fold(name) for name in names}
        for column, meanings in self.values.items():
            if fold(column) in wanted:
                for known, meaning in meanings.items():
                    if fold(known) == fold(value):
                        return meaning
        return None


_SETTINGS = {"day_first": bool, "decimal": str, "notation": str, "encoding": str}


def read_mapping(text: str) -> Meanings:
    """A mapping file (JSON) as meanings.

    ``{"columns": {"Art.": "item_code"}, "values": {"Procedure": {"Botox": "skip"}}, "day_first": true}``; any
    other key with an object under it is taken as a column of ``values``. Raises BadMapping.
    """
    try:
        said = json.loads(text)
    except ValueError as fault:
        raise BadMapping(f"The mapping is not JSON: {fault}. Mend it and try again.") from fault
    if not isinstance(said, dict):
        raise BadMapping("The mapping must be an object with “columns” and “values”.")
    settings = {}
    for key, kind in _SETTINGS.items():
        if said.get(key) is not None:
            if not isinstance(said[key], kind):
                raise BadMapping(f"In the mapping, “{key}” cannot be {said[key]!r}.")
            settings[key] = said[key]
    columns = _texts(said.get("columns", {}), "columns")
    values = {
        column: _texts(meanings, column)
        for column, meanings in [
            *dict(said.get("values", {})).items(),
            *((key, value) for key, value in said.items() if key not in {*_SETTINGS, "columns", "values"}),
        ]
    }
    return Meanings(columns=columns, values=values, **settings)


def _texts(value: object, where: str) -> dict[str, str]:
    if not isinstance(value, dict) or not all(isinstance(meaning, str) for meaning in value.values()):
        raise BadMapping(f"In the mapping, “{where}” must be an object of texts.")
    return dict(value)


def with_remembered(meanings: Meanings, *, clinic, file_kind: str) -> Meanings:
    """Add what this clinic's files of that kind were once said to mean; what was declared now wins."""
    values: dict[str, dict[str, str]] = {}
    for kept in RememberedMeaning.objects.filter(clinic=clinic, file_kind=file_kind):
        values.setdefault(kept.column, {})[kept.value] = kept.meaning
    for column, said in meanings.values.items():
        values.setdefault(column, {}).update(said)
    return Meanings(
        columns=meanings.columns,
        values=values,
        day_first=meanings.day_first,
        decimal=meanings.decimal,
        notation=meanings.notation,
        encoding=meanings.encoding,
    )


@transaction.atomic
def remember(*, clinic, file_kind: str, column: str, value: str, meaning: str, by, at: dt.datetime) -> None:
    """Keep what a value in a column of this clinic's files means, until someone says otherwise."""
    if len(value) > RememberedMeaning._meta.get_field("value").max_length:
        raise BadMapping(f"“{value[:40]}…” is too long to be remembered. Shorten it in the file.")
    kept, made = RememberedMeaning.objects.get_or_create(
        clinic=clinic, file_kind=file_kind, column=column, value=value, defaults={"meaning": meaning}
    )
    if made or kept.meaning != meaning:
        RememberedMeaning.objects.filter(pk=kept.pk).update(meaning=meaning)
        audit.record(REMEMBERED, by=by, at=at, subject=f"“{value}”"[:80], clinic=clinic, meaning=meaning)


@dataclass(frozen=True)
class Options:
    """How an import is run: the day it believes it is, who runs it, and how far it may go."""

    today: dt.date
    at: dt.datetime
    by: object = None
    check: bool = False
    accept_good: bool = False
    meanings: Meanings = field(default_factory=Meanings)
    tell: Callable[[str], None] = lambda words: None


@dataclass(frozen=True)
class Change:
    """One thing that an import adds or alters, in words. ``row`` is the row of the file."""

    row: int
    what: str
    subject: str
    detail: str = ""


@dataclass(frozen=True)
class Step:
    """One change to make: where it came from in the file, and the verb call that makes it."""

    row: int
    column: str
    value: str
    take: Callable[[], object]


@dataclass
class Report:
    """What was found in a file and what came, or would come, of it.

    read counts rows of data; each is accepted (new or changed), unchanged, skipped on purpose, or has
    problems or an unmapped value. ``understood`` says how words were read, by column; ``to_do`` what people
    have to do with their hands once the file is taken in.
    """

    filename: str
    read: int = 0
    accepted: int = 0
    unchanged: int = 0
    skipped: int = 0
    problems: list[Problem] = field(default_factory=list)
    unmapped: dict[str, list[str]] = field(default_factory=dict)
    notices: list[Problem] = field(default_factory=list)
    understood: dict[str, dict[str, str]] = field(default_factory=dict)
    changes: list[Change] = field(default_factory=list)
    to_do: list[Change] = field(default_factory=list)
    applied: bool = False

    @property
    def is_refused(self) -> bool:
        """Whether something stands in the way of taking the whole file."""
        return bool(self.problems or self.unmapped)

    def leave_unmapped(self, column: str, value: str) -> None:
        """Note a value that nobody has given a meaning."""
        values = self.unmapped.setdefault(column, [])
        if value not in values:
            values.append(value)

    def understand(self, column: str, value: str, meaning: str) -> None:
        """Note how a value was read, for people to check."""
        self.understood.setdefault(column, {})[value] = meaning

    def as_json(self) -> dict:
        """The report in the shape scripts rely on; keys beyond the fixed ones only add."""
        return {
            "read": self.read,
            "accepted": self.accepted,
            "unchanged": self.unchanged,
            "skipped": self.skipped,
            "problems": [asdict(problem) for problem in self.problems],
            "unmapped": self.unmapped,
            "applied": self.applied,
            "notices": [asdict(notice) for notice in self.notices],
            "understood": self.understood,
            "changes": [asdict(change) for change in self.changes],
            "to_do": [asdict(change) for change in self.to_do],
        }

    def verdict(self, *, check: bool, accept_good: bool = False) -> str:
        """One sentence on what happened to the file."""
        done = f"{self.accepted} of {self.read} rows"
        if self.applied and self.is_refused:
            return f"Taken in: {done}; the rows with problems were left out."
        if self.applied:
            return f"Taken in: {done} new or changed, {self.unchanged} already known."
        if self.is_refused and not accept_good:
            return f"Nothing was changed: {self._in_the_way()} to settle first, or take the good rows only."
        if check:
            return f"Nothing is changed yet: {done} would be new or changed, {self.unchanged} known already."
        if self.is_refused:
            return f"Nothing to do: the {self.unchanged} good rows were already known."
        return f"Nothing to do: {self.unchanged} rows were already known."

    def _in_the_way(self) -> str:
        values = sum(map(len, self.unmapped.values()))
        parts = [(len(self.problems), "problem"), (values, "value without a meaning")]
        said = [f"{n} {words if n == 1 else _many(words)}" for n, words in parts if n]
        return " and ".join(said)


def _many(words: str) -> str:
    return words.replace("problem", "problems").replace("value ", "values ")


class _TakeBack(Exception):
    """Ends the transaction of a check, or of a run that must change nothing."""


def settle(
    report: Report, steps: Iterable[Step], *, options: Options, clinic=None, subject: str = ""
) -> Report:
    """Take every step in one transaction; keep them all, or none when this is a check or rows are faulty.

    A step that a verb refuses becomes a problem of its row and takes nothing with it. Writes one audit entry
    when something was changed. Other exceptions pass through and undo everything.
    """
    steps = list(steps)
    try:
        with transaction.atomic():
            for done, step in enumerate(steps, start=1):
                _take(step, report)
                if done % 50 == 0:
                    options.tell(f"{done} of {len(steps)}")
            report.problems.sort(key=lambda problem: problem.row)
            if options.check or (report.is_refused and not options.accept_good):
                raise _TakeBack
            if steps and report.accepted:
                audit.record(
                    IMPORTED,
                    by=options.by,
                    at=options.at,
                    subject=(subject or report.filename)[:80],
                    clinic=clinic,
                    accepted=report.accepted,
                    read=report.read,
                )
            report.applied = bool(report.accepted)
    except _TakeBack:
        report.applied = False
    return report


def _take(step: Step, report: Report) -> None:
    try:
        with transaction.atomic():
            step.take()
    except Refusal as refusal:
        report.problems.append(Problem(step.row, step.column, step.value, str(refusal)))
        report.accepted -= 1
        report.changes = [change for change in report.changes if change.row != step.row]
        report.to_do = [change for change in report.to_do if change.row != step.row]


def text_of(row, name: str) -> str:
    """A cell as plain text for messages; empty for a blank one."""
    return "" if is_blank(row[name]) else shown(row[name])
