"""Trace a lot, serial, donor or patient in both directions."""

import datetime as dt
import json

from django.core.management.base import BaseCommand, CommandError

from kits.trace import Given, materials_of, patients_of
from practice.models import Patient
from stock.models import Balance, Entry, Lot
from stock.tracing import Trace, find_lots, trace

_LATER = {"set": "instrument sets", "load": "steriliser loads"}


class Command(BaseCommand):
    """``trace --lot L | --serial S | --donor D | --patient P``."""

    help = (
        "Where a lot is, everything that happened to it and which patients got it; or a patient's materials."
    )

    def add_arguments(self, parser):
        """Options of the command: exactly one thing to trace."""
        one = parser.add_mutually_exclusive_group(required=True)
        one.add_argument("--lot", help="lot number, as on the label")
        one.add_argument("--serial", help="serial number or tissue unit code")
        one.add_argument("--donor", help="donor or donation number")
        one.add_argument("--patient", help="chart number")
        one.add_argument("--set", help="instrument set (not recorded yet)")
        one.add_argument("--load", help="steriliser load (not recorded yet)")
        # A trace tells what has been recorded, so no day changes it; scripts may pass one all the same.
        parser.add_argument("--today", type=dt.date.fromisoformat, help="taken for uniformity")
        parser.add_argument("--format", choices=("text", "json"), default="text")

    def handle(self, *args, **options):
        """Print what was found; exit 1 when nothing is known by that name."""
        for name, words in _LATER.items():
            if options[name]:
                raise CommandError(
                    f"This version keeps no record of {words}, so --{name} cannot be answered. "
                    "Look it up in the steriliser log.",
                    returncode=1,
                )
        if options["patient"]:
            found, given = self._patient(options["patient"])
        else:
            found, given = self._lots(options)
        shape = _shape(found, given)
        if options["format"] == "json":
            self.stdout.write(json.dumps(shape, ensure_ascii=False))
        else:
            self._write_text(shape)

    def _patient(self, chart_number: str) -> tuple[Trace, list[Given]]:
        patients = Patient.objects.filter(chart_number__iexact=chart_number.strip())
        if not patients:
            raise CommandError(f"There is no patient “{chart_number}”. Give the chart number.", returncode=1)
        given = [one for patient in patients for one in materials_of(patient=patient, everything=True)]
        return trace(lots={one.lot.pk: one.lot for one in given}.values()), given

    def _lots(self, options) -> tuple[Trace, list[Given]]:
        asked = {name: options[name] or "" for name in ("lot", "serial", "donor")}
        lots = list(find_lots(**asked))
        if not lots:
            text = next(value for value in asked.values() if value)
            raise CommandError(f"Nothing with the number “{text}” was ever recorded here.", returncode=1)
        return trace(lots=lots), patients_of(lots=lots)

    def _write_text(self, shape: dict) -> None:
        for title, key in (
            ("Lots", "lots"),
            ("Where", "where"),
            ("Patients", "patients"),
            ("Movements", "movements"),
            ("Same donor", "siblings"),
        ):
            self.stdout.write(f"{title} ({len(shape[key])})")
            for row in shape[key]:
                self.stdout.write("  " + "  ".join(_plain(value) for value in row.values() if value))


def _plain(value) -> str:
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value)


def _shape(found: Trace, given: list[Given]) -> dict:
    return {
        "lots": [_lot(lot) for lot in found.lots],
        "where": [_balance(row) for row in found.where],
        "movements": [_entry(entry) for entry in found.movements],
        "patients": [one.as_json() for one in given],
        "siblings": [_lot(lot) for lot in found.siblings],
    }


def _lot(lot: Lot) -> dict:
    return {
        "item": lot.item.code,
        "name": lot.item.name,
        "lot": lot.lot_number,
        "serial": lot.serial,
        "donor": lot.donor_id,
        "expiry": lot.expires_on.isoformat() if lot.expires_on else None,
        "decision": lot.decision,
    }


def _balance(row: Balance) -> dict:
    return {
        "place": f"{row.place} ({row.place.clinic})",
        "quantity": row.quantity,
        "item": row.lot.item.code,
        "unit": row.lot.shown,
    }


def _entry(entry: Entry) -> dict:
    return {
        "at": entry.at.isoformat(),
        "kind": entry.kind,
        "quantity": entry.quantity,
        "unit": f"{entry.lot.item.code} {entry.lot.shown}",
        "place": f"{entry.place} ({entry.clinic})",
        "source": entry.source,
        "reason": entry.reason,
        "by": str(entry.by) if entry.by else "",
    }
