"""Print what to set out for a day or a case."""

import datetime as dt
import json
from pathlib import Path

from django.core.management.base import BaseCommand

from kits.models import Case
from kits.pick_pdf import to_pdf
from kits.pick_sheets import as_json, to_csv, to_text, to_xlsx
from kits.pick_values import PickList
from kits.picking import day_pick_lists, pick_list
from practice import clock
from practice.management.commands._import_command import CalledWrongly, Refused, find_clinic
from practice.models import Clinic
from practice.refusals import Refusal

_WRITERS = {".csv": to_csv, ".xlsx": to_xlsx, ".pdf": to_pdf}


class Command(BaseCommand):
    """``pick_list [--clinic C] [--on DATE] [--case ID] [--out F.xlsx|F.pdf|F.csv]``."""

    help = "What to set out: of the next day with surgery at the first clinic, unless told otherwise."

    def add_arguments(self, parser):
        """Options of the command."""
        parser.add_argument("--clinic", help="code or name")
        parser.add_argument("--on", type=dt.date.fromisoformat, help="day, ISO 8601")
        parser.add_argument("--case", help="code of one case")
        parser.add_argument("--out", help="write a file: .csv, .xlsx or .pdf")
        parser.add_argument("--today", type=dt.date.fromisoformat, help="the day to take for today")
        parser.add_argument("--format", choices=("text", "json"), default="text")

    def handle(self, *args, **options):
        """Find the lists and print or write them; exit 1 when there is nothing to set out."""
        writer = self._writer(options["out"])
        clinic, on, lists = self._case(options) if options["case"] else self._day(options)
        if writer is not None:
            Path(options["out"]).write_bytes(writer(lists))
            self.stderr.write(f"{len(lists)} cases of {on.isoformat()} written to {options['out']}.")
        if options["format"] == "json":
            shape = {
                "clinic": clinic.name,
                "on": on.isoformat(),
                "cases": [as_json(found) for found in lists],
            }
            self.stdout.write(json.dumps(shape, ensure_ascii=False))
        elif writer is None:
            self.stdout.write(f"{clinic}, {on.isoformat()}")
            self.stdout.write(to_text(lists) or "No surgery on this day.")

    def _writer(self, out: str | None):
        if out is None:
            return None
        ending = Path(out).suffix.lower()
        if ending not in _WRITERS:
            raise CalledWrongly(f"“{out}” cannot be written. End the name in {', '.join(_WRITERS)}.")
        return _WRITERS[ending]

    def _case(self, options) -> tuple[Clinic, dt.date, list[PickList]]:
        case = Case.objects.select_related("clinic").filter(code__iexact=options["case"].strip()).first()
        if case is None:
            raise Refused(f"There is no case “{options['case']}”. Give its code, such as C-00001.")
        try:
            found = pick_list(case=case, today=options["today"] or clock.today(clinic=case.clinic))
        except Refusal as refusal:
            raise Refused(str(refusal))
        return case.clinic, case.on, [found]

    def _day(self, options) -> tuple[Clinic, dt.date, list[PickList]]:
        clinic = find_clinic(options["clinic"]) if options["clinic"] else Clinic.objects.first()
        if clinic is None:
            raise Refused("There is no clinic yet. Set up the practice first.")
        today = options["today"] or clock.today(clinic=clinic)
        on = options["on"]
        if on is None:
            coming = Case.objects.filter(clinic=clinic, on__gte=today).open().order_by("on").first()
            if coming is None:
                raise Refused(f"No surgery is booked at {clinic} from {today.isoformat()} on.")
            on = coming.on
        return clinic, on, day_pick_lists(clinic=clinic, on=on, today=today)
