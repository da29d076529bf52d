"""Which lot went into this patient, and which patients got this lot: each one look-up."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import QuerySet

from kits.models import TrayUnit
from practice.models import Clinic, Patient
from practice.teeth import LOWER, UPPER
from stock.models import Item, Lot

_ORDER = {tooth: place for place, tooth in enumerate(UPPER + LOWER)}
_LAST = len(_ORDER)
# Categories of what stays in a patient, in the words of the catalogue.
STAYS = ("Implant", "Bone graft", "Membrane", "Soft tissue matrix", "Fixation")


@dataclass(frozen=True)
class Given:
    """Units of one lot used in one case: who, when, at which tooth, by whom."""

    unit: TrayUnit

    @property
    def patient(self) -> Patient:
        """The patient it went into."""
        return self.unit.line.case.patient

    @property
    def case(self):
        """The case it was used in."""
        return self.unit.line.case

    @property
    def lot(self) -> Lot:
        """The lot or single unit."""
        return self.unit.lot

    @property
    def tooth(self) -> str:
        """FDI number of the site, or "" where it was used for the case as a whole."""
        return self.unit.site.tooth if self.unit.site else ""

    @property
    def on(self) -> dt.date:
        """The day of the case in its clinic's calendar."""
        return self.case.on

    @property
    def stays(self) -> bool:
        """Whether it is of a kind that stays in the patient."""
        return self.lot.item.category in STAYS

    def as_json(self) -> dict:
        """The row as commands print it."""
        return {
            "patient": self.patient.chart_number,
            "case": self.case.code,
            "on": self.on.isoformat(),
            "tooth_sites": [self.tooth] if self.tooth else [],
            "item": self.lot.item.code,
            "name": self.lot.item.name,
            "quantity": self.unit.quantity,
            "lot": self.lot.lot_number,
            "serial": self.lot.serial,
            "donor": self.lot.donor_id,
            "expiry": self.lot.expires_on.isoformat() if self.lot.expires_on else None,
            "clinician": str(self.case.clinician) if self.case.clinician else "",
        }


def _used() -> QuerySet[TrayUnit]:
    return (
        TrayUnit.objects.filter(outcome=TrayUnit.Outcome.USED)
        .select_related(
            "lot__item", "site", "line__case__patient", "line__case__clinician", "line__case__clinic"
        )
        .order_by("-line__case__starts_at", "pk")
    )


def patients_of(*, lots: Iterable[Lot], clinics: Iterable[Clinic] | None = None) -> list[Given]:
    """Every use of these lots in a patient, newest first; at these clinics only where they are given."""
    found = _used().filter(lot__in=list(lots))
    if clinics is not None:
        found = found.filter(line__case__clinic__in=list(clinics))
    return [Given(unit) for unit in found]


def uses_of_item(*, item: Item) -> QuerySet[TrayUnit]:
    """Units of every lot of an item used in patients, newest first; to be wrapped as Given."""
    return _used().filter(lot__item=item)


def materials_of(*, patient: Patient, everything: bool = False) -> list[Given]:
    """What was used in a patient, newest case first, by tooth site within it.

    Without ``everything`` only what stays in the patient and what is tracked unit by unit or as tissue.
    """
    found = [Given(unit) for unit in _used().filter(line__case__patient=patient)]
    if not everything:
        found = [
            given
            for given in found
            if given.stays or given.lot.item.is_unit_tracked or given.lot.item.human_tissue
        ]
    return sorted(
        found, key=lambda given: (-given.case.starts_at.timestamp(), _ORDER.get(given.tooth, _LAST))
    )


def by_tooth(given: Iterable[Given]) -> dict[str, list[Given]]:
    """Uses by tooth site (FDI; "" for the case as a whole), teeth in the order of the jaws, newest first."""
    found: dict[str, list[Given]] = {}
    for one in sorted(given, key=lambda one: _ORDER.get(one.tooth, _LAST)):
        found.setdefault(one.tooth, []).append(one)
    return found


def on_trays(*, lots: Iterable[Lot]) -> list[TrayUnit]:
    """Units of these lots that lie on a tray now, of cases not closed yet."""
    pending = TrayUnit.objects.filter(lot__in=list(lots), outcome=TrayUnit.Outcome.PENDING)
    return list(pending.select_related("lot__item", "tray", "line__case__clinic", "line__case__patient"))
