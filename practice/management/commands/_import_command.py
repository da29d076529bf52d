"""The shape of every ``import_…`` command: options in, a report out, exit codes that scripts can rely on."""

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from practice import clock
from practice.importing import BadMapping, Meanings, Options, Report, read_mapping
from practice.models import Clinic
from practice.refusals import Refusal
from practice.spreadsheets import NoHeaderRow, UnreadableFile

REFUSED, CALLED_WRONGLY = 1, 2


class Refused(CommandError):
    """The input was refused; the reasons are in the report (exit 1)."""

    def __init__(self, sentence: str):
        super().__init__(sentence, returncode=REFUSED)


class CalledWrongly(CommandError):
    """The command was called with something it cannot use (exit 2)."""

    def __init__(self, sentence: str):
        super().__init__(sentence, returncode=CALLED_WRONGLY)


def day(text: str) -> dt.date:
    """An ISO date of the command line; raises ValueError."""
    return dt.date.fromisoformat(text)


def find_clinic(name: str) -> Clinic:
    """A clinic by code, name or the beginning of its name; raises CalledWrongly naming those there are."""
    clinics = list(Clinic.objects.all())
    for matches in (
        [c for c in clinics if name.casefold() in (c.code.casefold(), c.name.casefold())],
        [c for c in clinics if c.name.casefold().startswith(name.casefold())],
    ):
        if len(matches) == 1:
            return matches[0]
    known = ", ".join(f"{c.code} ({c.name})" for c in clinics) or "none yet"
    raise CalledWrongly(f"There is no clinic “{name}”. Clinics: {known}.")


class ImportCommand(BaseCommand):
    """Base of the import commands. A subclass adds its own arguments and says how to ``run``."""

    def add_arguments(self, parser):
        """Arguments that every import takes."""
        parser.add_argument("file", metavar="FILE", help="the file as it came out of the other program")
        parser.add_argument("--mapping", metavar="M.json", help="what columns and values mean")
        parser.add_argument("--check", action="store_true", help="say what would happen and change nothing")
        parser.add_argument(
            "--accept-good", action="store_true", help="take the good rows and leave out the rest"
        )
        parser.add_argument("--today", type=day, help="the day to believe it is (YYYY-MM-DD)")
        parser.add_argument("--format", choices=("text", "json"), default="text")

    def run(self, data: bytes, *, filename: str, options: Options, arguments: dict) -> Report:
        """Do the import; subclasses must say how."""
        raise NotImplementedError

    def adjust(self, meanings: Meanings, arguments: dict) -> Meanings:
        """Add what the command line itself declares about the file."""
        given = {
            key: arguments[key]
            for key in ("day_first", "decimal", "notation", "encoding")
            if arguments.get(key) is not None
        }
        return replace(meanings, **given)

    def handle(self, **arguments):
        """Run and report; raises Refused (exit 1) or CalledWrongly (exit 2)."""
        path = Path(arguments["file"])
        clinic = find_clinic(arguments["clinic"]) if arguments.get("clinic") else None
        try:
            data = path.read_bytes()
            mapping = Path(arguments["mapping"]).read_text("utf-8") if arguments["mapping"] else "{}"
            meanings = self.adjust(read_mapping(mapping), arguments)
        except (OSError, UnicodeDecodeError, BadMapping) as fault:
            raise CalledWrongly(str(fault)) from fault
        options = Options(
            today=arguments["today"] or clock.today(clinic=clinic),
            at=clock.now(),
            check=arguments["check"],
            accept_good=arguments["accept_good"],
            meanings=meanings,
            tell=lambda words: self.stderr.write(words),
        )
        try:
            report = self.run(
                data, filename=path.name, options=options, arguments={**arguments, "clinic": clinic}
            )
        except (UnreadableFile, NoHeaderRow, Refusal) as fault:
            self._write_refusal(path.name, fault, arguments)
            raise Refused(str(fault)) from fault
        self._write(report, arguments)
        if report.is_refused and not options.accept_good:
            raise Refused(report.verdict(check=options.check))

    def _write_refusal(self, filename: str, fault: Exception, arguments: dict) -> None:
        if arguments["format"] == "json":
            empty = Report(filename).as_json()
            empty["problems"] = [{"row": 0, "column": "", "value": filename, "reason": str(fault)}]
            self.stdout.write(json.dumps(empty, ensure_ascii=False, indent=2))

    def _write(self, report: Report, arguments: dict) -> None:
        if arguments["format"] == "json":
            self.stdout.write(json.dumps(report.as_json(), ensure_ascii=False, indent=2))
            return
        self.stdout.write("\n".join(as_text(report, arguments["check"], arguments["accept_good"])))


def as_text(report: Report, check: bool, accept_good: bool) -> list[str]:
    """The report as lines a person reads in a terminal."""
    lines = [
        f"{report.filename}: {report.read} read, {report.accepted} accepted, {report.unchanged} unchanged, "
        f"{report.skipped} skipped, {len(report.problems)} problems."
    ]
    lines += [f"  row {c.row}: {c.what} {c.subject} {c.detail}".rstrip() for c in report.changes]
    lines += [f"  to do, {c.subject}: {c.detail}" for c in report.to_do]
    for title, found in (("Problems", report.problems), ("Notices", report.notices)):
        lines += [f"{title}:"] if found else []
        lines += [f"  row {p.row}, {p.column} “{p.value}”: {p.reason}" for p in found]
    if report.unmapped:
        lines.append("Say what these mean (a code of ours, or “skip”) in a mapping:")
        lines += [f"  {column}: {', '.join(values)}" for column, values in report.unmapped.items()]
    for column, words in report.understood.items():
        lines.append(f"Understood, {column}:")
        lines += [f"  {value} → {meaning}" for value, meaning in words.items()]
    return [*lines, report.verdict(check=check, accept_good=accept_good)]
