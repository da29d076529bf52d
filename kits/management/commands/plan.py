"""Forecast, alerts and proposals for one clinic or all of them."""

import json

from django.core.management.base import BaseCommand

from kits.plan_report import plan_report
from kits.replanning import replan
from practice import clock
from practice.management.commands._import_command import CalledWrongly, Refused, day, find_clinic
from practice.models import Clinic, Policy
from practice.workdays import NeverOpen

LONGEST_DAYS = 730
ROW = "{item:<16}{usable:>8}{use:>9}{must:>7}  {covered:<12}{order_by:<12}{order}"


class Command(BaseCommand):
    """``plan [--clinic C] [--days 180] [--today DATE] [--format text|json]``."""

    help = (
        "Work out the plan of a clinic (of all without --clinic), keep it for the pages, and print it. "
        "JSON is one object for one clinic, a list of them for several. The forecast covers booked cases, "
        "cases not booked yet at the usual rate, and use that no case explains; later stages of past "
        "surgery count once they are booked."
    )

    def add_arguments(self, parser):
        """Options of the command."""
        parser.add_argument("--clinic", metavar="C", help="code or name; all clinics if left out")
        parser.add_argument(
            "--days", type=int, metavar="N", help="days to show (default: the clinic's policy)"
        )
        parser.add_argument("--today", type=day, metavar="DATE", help="the day to plan from (ISO 8601)")
        parser.add_argument("--format", choices=("text", "json"), default="text")

    def handle(self, *args, **options):
        """Plan and print; exit 1 when a clinic cannot be planned, 2 when called wrongly."""
        if options["days"] is not None and not 1 <= options["days"] <= LONGEST_DAYS:
            raise CalledWrongly(f"--days takes 1 to {LONGEST_DAYS}, not {options['days']}.")
        chosen = [find_clinic(options["clinic"])] if options["clinic"] else list(Clinic.objects.all())
        if not chosen:
            raise Refused("There is no clinic yet. Add one in Set-up, or run the demo.")
        reports = []
        for number, clinic in enumerate(chosen, start=1):
            self.stderr.write(f"Planning {clinic} ({number} of {len(chosen)})")
            reports.append(self._plan(clinic, options))
        if options["format"] == "json":
            shown = reports[0] if len(reports) == 1 else reports
            self.stdout.write(json.dumps(shown, ensure_ascii=False))
        else:
            for clinic, report in zip(chosen, reports, strict=True):
                self._write_text(clinic, report)

    def _plan(self, clinic: Clinic, options) -> dict:
        today = options["today"] or clock.today(clinic=clinic)
        policy = Policy.objects.filter(clinic=clinic).first() or Policy(clinic=clinic)
        days = options["days"] or policy.plan_days
        try:
            # Never shorter than the policy: the pages show the same plan.
            replan(clinic=clinic, today=today, at=clock.now(), days=max(days, policy.plan_days))
        except NeverOpen as never:
            raise Refused(f"{clinic} cannot be planned: {never}")
        return plan_report(clinic=clinic, today=today, days=days)

    def _write_text(self, clinic: Clinic, report: dict) -> None:
        out = self.stdout.write
        out(f"{clinic}, from {report['today']}")
        out("")
        heads = {
            "item": "Item",
            "usable": "In date",
            "use": "Use 30 d",
            "must": "Reach",
            "covered": "Covered to",
        }
        out(ROW.format(**heads, order_by="Order by", order="Order now"))
        shown = [
            row for row in report["items"] if row["expected_use_30d"] or row["usable"] or row["proposal"]
        ]
        for row in sorted(shown, key=lambda row: (row["order_by"] or "9999", row["item"])):
            out(ROW.format(**_cells(row)))
        out(f"{len(report['items']) - len(shown)} more items have no stock and no use in sight.")
        for row in shown:
            if row["proposal"]:
                out(f"\n{row['item']}: {row['proposal']['reason']}")
        out("")
        for case in report["cases"]:
            why = " ".join(case["blocking"][:1])
            out(f"{case['case']}  {case['on']}  {case['readiness']:<13}{why}".rstrip())


def _cells(row: dict) -> dict:
    proposal = row["proposal"]
    order = f"{proposal['units']} for {proposal['price']} from {proposal['supplier']}" if proposal else ""
    return {
        "item": row["item"],
        "usable": row["usable"],
        "use": f"{row['expected_use_30d']:.1f}",
        "must": row["must_have_peak"],
        "covered": row["covered_until"] or "",
        "order_by": row["order_by"] or "",
        "order": order,
    }
