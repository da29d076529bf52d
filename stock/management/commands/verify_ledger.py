"""Re-derive every balance and check the ledger's chain and triggers."""

import json
from dataclasses import asdict

from django.core.management.base import BaseCommand, CommandError

from stock.verification import Report, verify_ledger


class Command(BaseCommand):
    """``verify_ledger [--format text|json]``: exit 1 on any difference."""

    help = "Re-derive every balance from the ledger and check its chain and triggers. Changes nothing."

    def add_arguments(self, parser):
        """Options of the command."""
        parser.add_argument("--format", choices=("text", "json"), default="text")

    def handle(self, *args, **options):
        """Verify and print the report; raises CommandError (exit 1) when anything differs."""
        report = verify_ledger(progress=self._tell)
        if options["format"] == "json":
            self.stdout.write(json.dumps(asdict(report), ensure_ascii=False))
        else:
            self._write_text(report)
        if not report.is_sound:
            count = len(report.differences)
            raise CommandError(
                f"The ledger is not sound: {count} difference{'' if count == 1 else 's'}. Stop "
                "entering stock, keep a copy of the database as it is, and find out who changed it.",
                returncode=1,
            )

    def _tell(self, entries: int) -> None:
        self.stderr.write(f"{entries:,} entries read")

    def _write_text(self, report: Report) -> None:
        for sentence in report.differences:
            self.stdout.write(sentence)
        self.stdout.write(f"entries      {report.entries:>10,}")
        self.stdout.write(f"balances     {report.balances:>10,}")
        self.stdout.write(f"differences  {len(report.differences):>10,}")
        self.stdout.write(f"triggers     {'in place' if report.triggers else 'MISSING':>10}")
