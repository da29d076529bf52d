"""Stories that begin in the past: visits with a finding told beforehand, goods with a fate of their own."""

import datetime as dt
from dataclasses import dataclass

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
RECALL_DAYS_AGO, CONSIGNED_EXPIRES_IN = 24, 40
# Patients of the stories, by their number; nobody else is chosen for these roles.
PLATE_MISSING, SPUN, FORGOTTEN = 1000, 1003, 1006


@dataclass(frozen=True)
class Planted:
    """Days on which the stories of the past happened."""

    plate_missing_on: dt.date
    spun_on: dt.date
    forgotten_on: dt.date
    recalled_received_on: dt.date


def plant(past: Past, diary: Diary) -> Planted:
    """Put the stories into the appointment book and the deliveries, before the past is played."""
    days = past.days

    def ago(number: int) -> dt.date:
        return days.open_from("A", days.today - ONE_DAY * number)

    planted = Planted(ago(14), ago(9), ago(11), ago(RECALL_DAYS_AGO))
    diary.plant(
        Visit(
            "SKG",
            "A",
            planted.plate_missing_on,
            past.found.accepting(PLATE_MISSING),
            ("21",),
            clinician="tessamore",
            forced={"F-FPM": True, "F-FPM2": False, "F-VOL": False},
            note="Facial plate missing: 20 x 30 sheet and one more vial used.",
        )
    )
    diary.plant(
        Visit(
            "IMM",
            "A",
            planted.spun_on,
            past.found.accepting(SPUN),
            ("14",),
            implants={"14": "IMP-CR-43-130"},
            clinician="tessamore",
            guided=True,
            forced={"F-PST": True, "F-NST": False, "F-SHORT": False},
            note="4.3 x 13 was not firm, 5.0 x 13 placed: platform CW now, restorative plan to change.",
        )
    )
    diary.plant(
        Visit(
            "SKG",
            "A",
            planted.forgotten_on,
            past.found.accepting(FORGOTTEN),
            ("15",),
            clinician="okwendale",
            membrane_class="dense ptfe",
            forced={"F-FPM": True, "F-FPM2": False},
            forgets_removal=True,
            note="Dense PTFE sheet placed; nobody has booked its removal yet.",
        )
    )
    past.planted[planted.recalled_received_on].append(lambda: _deliver_recalled(past, planted))
    past.planted[ago(20)].append(lambda: _deliver_consigned(past, ago(20)))
    return planted


def _deliver_recalled(past: Past, planted: Planted) -> None:
    """Seven vials of one donor: three where the next cases take them, four with other fates.

    Two more vials of the same donor come in another lot.
    """
    day = planted.recalled_received_on
    at, soon = moment(day, 7, 12), past.days.today + ONE_DAY * 60
    shelf = ("A", cast.STOCKROOM)
    moves = []
    for number in range(1, 8):
        lot = past.buyer.tissue_unit(
            RECALLED_ITEM, lot=RECALLED_LOT, donor=RECALLED_DONOR, unit=number, expires_on=soon, at=at
        )
        place = ("B", cast.STOCKROOM) if number == 7 else shelf
        moves.append(Move(Kind.RECEIVE, lot, place, 1))
        if number <= 3:
            past.shelves.put(lot, place, 1)
    for number in (11, 12):
        lot = past.buyer.tissue_unit(
            SIBLING_ITEM, lot=SIBLING_LOT, donor=RECALLED_DONOR, unit=number, expires_on=soon, at=at
        )
        moves.append(Move(Kind.RECEIVE, lot, shelf, 1))
    for move in moves:
        past.steps.append(Step((move,), "saldovane", at, "demo"))


def _deliver_consigned(past: Past, day: dt.date) -> None:
    """Two consigned rescue implants with little time left, kept for whoever needs them."""
    at = moment(day, 7, 14)
    expires = past.days.today + ONE_DAY * CONSIGNED_EXPIRES_IN
    for lot, piece in past.buyer.new_lots(RESCUE_IMPLANT, 2, day, at=at, expires_on=expires):
        move = Move(Kind.RECEIVE, lot, ("A", cast.STOCKROOM), piece, note="consigned by the supplier")
        past.steps.append(Step((move,), "saldovane", at, "demo"))
