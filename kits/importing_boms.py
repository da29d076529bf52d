"""Bringing in a file of bills of materials: procedures, findings, versions and lines, nothing dropped.

A file is applied whole or not at all. Reading the same file again changes nothing; a changed bill becomes
a new published version, and cases keep the version they were booked with.
"""

import datetime as dt
from dataclasses import dataclass, field

from django.db import transaction

from kits.authoring import LineDraft, publish
from kits.finding_words import words_for
from kits.models import BomVersion, Finding, Procedure
from kits.procedure_facts import facts_of
from kits.reading_boms import BomFile, ReadLine, digest, read_boms
from practice import audit
from practice.refusals import Refusal
from practice.spreadsheets import Problem
from stock.models import Item

IMPORT = audit.action(
    "bills.import", "imported the bills of {procedures} procedures from {subject}: {lines} lines"
)


@dataclass
class BomReport:
    """What came of an import. ``accepted`` and ``unchanged`` count lines of the file, as ``read`` does."""

    read: int
    accepted: int = 0
    unchanged: int = 0
    skipped: int = 0
    problems: list[Problem] = field(default_factory=list)
    published: list[str] = field(default_factory=list)
    new_words: list[str] = field(default_factory=list)
    understood: list[tuple[int, str]] = field(default_factory=list)

    def as_json(self, *, lines: bool = False) -> dict:
        """The report in the shape commands print; ``lines`` adds how each line was understood."""
        shape = {
            "read": self.read,
            "accepted": self.accepted,
            "unchanged": self.unchanged,
            "skipped": self.skipped,
            "problems": [vars(problem) for problem in self.problems],
            "unmapped": {},
            "published": self.published,
            "findings_without_words": self.new_words,
        }
        if lines:
            shape["lines"] = [{"row": row, "understood": text} for row, text in self.understood]
        return shape


class BadBills(Refusal):
    """The file has problems; nothing was changed. ``report`` lists them."""

    def __init__(self, filename: str, report: BomReport) -> None:
        self.report = report
        count = len(report.problems)
        super().__init__(
            f"“{filename}” has {count} {'problem' if count == 1 else 'problems'}, so nothing was changed. "
            "Mend the rows listed, or apply the good rows on purpose."
        )


def import_boms(
    data: bytes, *, filename: str, by, at: dt.datetime, check: bool = False, accept_good: bool = False
) -> BomReport:
    """Import a file of bills; with ``check`` nothing is written.

    A procedure with a problem row is skipped whole when ``accept_good`` is given, since half a bill is worse
    than the old one. Raises BadBills, UnreadableFile or NoHeaderRow.
    """
    known = frozenset(Item.objects.values_list("code", flat=True))
    found = read_boms(data, filename=filename, known_items=known)
    report = BomReport(
        found.read,
        problems=list(found.problems),
        understood=[(line.row, line.understood) for line in found.lines],
    )
    skipped = _incomplete(found)
    codes = {line.finding for line in found.lines if line.finding}
    report.new_words = sorted(code for code in codes if not words_for(code)[1])
    with transaction.atomic():
        _apply(found, skipped, report, by=by, at=at)
        if report.problems and not (accept_good or check):
            raise BadBills(filename, report)
        if report.accepted and not check:
            audit.record(
                IMPORT,
                by=by,
                at=at,
                subject=filename,
                procedures=len(report.published),
                lines=report.accepted,
            )
        if check:
            transaction.set_rollback(True)
    return report


def _incomplete(found: BomFile) -> set[str]:
    """Codes of procedures of which at least one row could not be read."""
    rows_with_problems = {problem.row for problem in found.problems}
    if not rows_with_problems:
        return set()
    nearest = sorted(found.lines, key=lambda line: line.row)
    codes = set()
    for row in rows_with_problems:
        before = [line.procedure_code for line in nearest if line.row <= row][-1:]
        after = [line.procedure_code for line in nearest if line.row >= row][:1]
        codes.update(before + after)
    return codes


def _apply(found: BomFile, skipped: set[str], report: BomReport, *, by, at: dt.datetime) -> None:
    bills = {code: lines for code, lines in found.by_procedure().items() if code not in skipped}
    findings = _findings({line.finding for lines in bills.values() for line in lines if line.finding})
    items = Item.objects.in_bulk(
        {line.item_code for lines in bills.values() for line in lines if line.item_code}, field_name="code"
    )
    newest = dict(
        BomVersion.objects.filter(state=BomVersion.State.PUBLISHED).values_list("procedure__code", "digest")
    )
    for code, lines in bills.items():
        mark = digest(lines)
        if newest.get(code) == mark:
            report.unchanged += len(lines)
            continue
        drafts = [_draft(line, items, findings) for line in lines]
        publish(procedure=_procedure(lines[0]), lines=drafts, digest=mark, by=by, at=at)
        report.published.append(code)
        report.accepted += len(lines)
    report.skipped = report.read - report.accepted - report.unchanged


def _findings(codes: set[str]) -> dict[str, Finding]:
    """Findings by code, created with our words where they are new; a complement comes with its finding."""
    wanted = codes | {words_for(code)[0].complement_of for code in codes} - {""}
    present = Finding.objects.in_bulk(wanted, field_name="code")
    for code in sorted(wanted - set(present), key=lambda code: bool(words_for(code)[0].complement_of)):
        words, _ = words_for(code)
        present[code] = Finding.objects.create(
            code=code,
            name=words.name,
            condition=words.condition,
            scope=words.scope,
            complement_of=present.get(words.complement_of),
            is_planned=words.is_planned,
        )
    return present


def _procedure(line: ReadLine) -> Procedure:
    facts = facts_of(line.procedure_code)
    procedure, _ = Procedure.objects.get_or_create(
        code=line.procedure_code,
        defaults={
            "name": line.procedure,
            "short_name": facts.short_name or line.procedure[:60],
            "minutes": facts.minutes,
            "kind": facts.kind,
        },
    )
    return procedure


def _draft(line: ReadLine, items: dict[str, Item], findings: dict[str, Finding]) -> LineDraft:
    return LineDraft(
        item=items.get(line.item_code),
        slot=line.slot,
        description=line.description[:200],
        basis=line.basis,
        quantity=line.quantity,
        unit=line.unit,
        certain=line.certain,
        probability=line.probability,
        finding=findings.get(line.finding),
        choose_one_group=line.choose_one_group,
        set_out=line.set_out,
        module=line.module,
        notes=line.notes[:255],
    )
