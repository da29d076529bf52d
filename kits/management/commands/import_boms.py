"""Read a file of bills of materials into procedures, findings and versioned bills."""

import datetime as dt
import json
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from kits.importing_boms import BadBills, BomReport, import_boms
from practice import clock
from practice.spreadsheets import NoHeaderRow, UnreadableFile


class Command(BaseCommand):
    """``import_boms FILE [--check] [--accept-good] [--report]``."""

    help = "Read a file of bills of materials. Reading it again changes nothing."

    def add_arguments(self, parser):
        """Options of the command."""
        parser.add_argument("file")
        parser.add_argument("--check", action="store_true", help="say what would change and change nothing")
        parser.add_argument(
            "--accept-good",
            action="store_true",
            help="take the complete procedures although others have problems",
        )
        parser.add_argument("--report", action="store_true", help="say how each line was understood")
        parser.add_argument("--today", type=dt.date.fromisoformat, help="the day to record it under")
        parser.add_argument("--format", choices=("text", "json"), default="text")

    def handle(self, *args, **options):
        """Import and print the report; exit 1 when the file was refused, 2 when there is no such file."""
        path = Path(options["file"])
        if not path.is_file():
            raise CommandError(f"There is no file “{path}”. Check the path.", returncode=2)
        refused = ""
        try:
            report = import_boms(
                path.read_bytes(),
                filename=path.name,
                by=None,
                at=_moment(options["today"]),
                check=options["check"],
                accept_good=options["accept_good"],
            )
        except BadBills as refusal:
            report, refused = refusal.report, str(refusal)
        except (NoHeaderRow, UnreadableFile) as refusal:
            raise CommandError(str(refusal), returncode=1)
        if options["format"] == "json":
            self.stdout.write(
                json.dumps(report.as_json(lines=options["report"]), default=str, ensure_ascii=False)
            )
        else:
            self._write_text(report, options)
        if refused or (report.problems and not options["accept_good"]):
            raise CommandError(refused or "The file has problems; see the rows listed.", returncode=1)

    def _write_text(self, report: BomReport, options) -> None:
        if options["report"]:
            for row, text in report.understood:
                self.stdout.write(f"row {row}: {text}")
        for problem in report.problems:
            self.stdout.write(f"row {problem.row}, {problem.column} “{problem.value}”: {problem.reason}")
        for code in report.new_words:
            self.stdout.write(f"{code}: no words are known for this finding; it was named from its code.")
        verb = "would be published" if options["check"] else "published"
        for code in report.published:
            self.stdout.write(f"{code}: a new version {verb}.")
        self.stdout.write(
            f"{report.read} lines read: {report.accepted} taken, {report.unchanged} unchanged, "
            f"{report.skipped} skipped, {len(report.problems)} problems."
        )


def _moment(today: dt.date | None) -> dt.datetime:
    """Now, or the same time of the day that was given."""
    now = clock.now()
    return now if today is None else now.replace(year=today.year, month=today.month, day=today.day)
