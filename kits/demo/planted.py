"""Stories that begin in the past: visits with a finding told beforehand, goods with a fate of their own."""

import datetime as dt

from kits.demo import cast
from kits.demo.days import ONE_DAY, moment
from kits.demo.diary import Diary
from kits.demo.drafting import Visit
from kits.demo.history import Move, Past, Step
from stock.models import Entry

Kind = Entry.Kind
RECALLED_DONOR, RECALLED_LOT, SIBLING_LOT = "HM-DON-9001", "HM-90417", "HM-90418"
RESCUE_IMPLANT = "IMP-CW-60-080"
RECALLED_ITEM, SIBLING_ITEM = "GRF-AL-050", "GRF-AL-025"
RECALL_DAYS_AGO, RECALLED_EXPIRES_IN, CONSIGNED_EXPIRES_IN = 24, 1400, 40
# Patients of the stories, by their number; nobody else is chosen for these roles.
PLATE_MISSING, SPUN, FORGOTTEN = 1000, 1003, 1006
RECALLED_IN = (1060, 1070, 1080)


def plant(past: Past, diary: Diary) -> None:
    """Put the stories into the appointment book and the deliveries, before the past is played."""
    days = past.days

    def ago(number: int) -> dt.date:
        return days.open_from("A", days.today - ONE_DAY * number)

    for visit in (_plate_missing(ago(14)), _spun(ago(9)), _forgotten(ago(11))):
        visit.patient = past.found.accepting(visit.patient)
        diary.plant(visit)
    received_on = ago(RECALL_DAYS_AGO)
    lots = _recalled_lots(past, moment(received_on, 7, 12))
    for place, patient in enumerate(RECALLED_IN):
        visit = _grafted(ago(RECALL_DAYS_AGO - 3 - 2 * place), past.found.accepting(patient))
        visit.given = {RECALLED_ITEM: lots[place]}
        diary.plant(visit)
    past.planted[received_on].append(lambda: _deliver_recalled(past, lots, moment(received_on, 7, 12)))
    past.planted[ago(20)].append(lambda: _deliver_consigned(past, ago(20)))


def _plate_missing(on: dt.date) -> Visit:
    return Visit(
        *("SKG", "A", on, PLATE_MISSING, ("21",)),
        clinician="tessamore",
        forced={"F-FPM": True, "F-FPM2": False, "F-VOL": False},
        note="Facial plate missing: 20 x 30 sheet and one more vial used.",
    )


def _spun(on: dt.date) -> Visit:
    return Visit(
        *("IMM", "A", on, SPUN, ("14",)),
        implants={"14": "IMP-CR-43-130"},
        clinician="tessamore",
        forced={"F-PST": True, "F-NST": False, "F-SHORT": False},
        note="4.3 x 13 was not firm, 5.0 x 13 placed: platform CW now, restorative plan to change.",
    )


def _forgotten(on: dt.date) -> Visit:
    return Visit(
        *("SKG", "A", on, FORGOTTEN, ("15",)),
        clinician="okwendale",
        membrane_class="dense ptfe",
        forced={"F-FPM": True, "F-FPM2": False},
        forgets_removal=True,
        note="Dense PTFE sheet placed; nobody has booked its removal yet.",
    )


def _grafted(on: dt.date, patient: int) -> Visit:
    """A socket graft that one vial of the recalled lot goes into."""
    return Visit(
        *("SKG", "A", on, patient, ("25",)),
        choices=[("GRAFT_SIZED", "", RECALLED_ITEM, 1)],
        forced={"F-VOL": False},
    )


def _recalled_lots(past: Past, at: dt.datetime) -> list[int]:
    """Drafts of seven vials of one lot, and of two of another lot of the same donor."""
    kinds = [(RECALLED_ITEM, RECALLED_LOT, number) for number in range(1, 8)]
    kinds += [(SIBLING_ITEM, SIBLING_LOT, number) for number in (11, 12)]
    expires_on = past.days.today + ONE_DAY * RECALLED_EXPIRES_IN
    return [
        past.buyer.tissue_unit(item, lot=lot, donor=RECALLED_DONOR, unit=number, expires_on=expires_on, at=at)
        for item, lot, number in kinds
    ]


def _deliver_recalled(past: Past, lots: list[int], at: dt.datetime) -> None:
    """All but one vial go onto the shelf at Skellowick Road; nobody but the stories takes them."""
    for number, lot in enumerate(lots, start=1):
        clinic = "B" if number == 7 else "A"
        move = Move(Kind.RECEIVE, lot, (clinic, cast.STOCKROOM), 1)
        past.steps.append(Step((move,), "saldovane", at, "demo"))


def _deliver_consigned(past: Past, day: dt.date) -> None:
    """Two consigned rescue implants with little time left, kept for whoever needs them."""
    at = moment(day, 7, 14)
    expires = past.days.today + ONE_DAY * CONSIGNED_EXPIRES_IN
    for lot, piece in past.buyer.new_lots(RESCUE_IMPLANT, 2, day, at=at, expires_on=expires):
        move = Move(Kind.RECEIVE, lot, ("A", cast.STOCKROOM), piece, note="consigned by the supplier")
        past.steps.append(Step((move,), "saldovane", at, "demo"))
