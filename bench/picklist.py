"""Time the pick lists of a day of 12 cases against the bare SQL they need, in the same run.

Run: python -m bench.picklist [--weeks 8] [--cases 12]

The demo practice is built first; the next full day of surgery is then booked up to so many cases. The
baseline sends the very statements of one run to the database again and fetches every row: no planning, no
promises, no objects. The ratio tells what the thinking costs on top of the reading. Times are processor time.
"""

import argparse
import datetime as dt
from itertools import cycle

from django.db.models import Count

from bench._practice import bare, build_demo, listening, seconds
from kits.models import Case, Procedure
from kits.pick_lists import day_pick_lists
from kits.scheduling import book
from practice import clock
from practice.models import Clinic, Patient

# Surgery that needs no implant to be chosen, so that a case of it can be booked in one step.
SURGERY = ("SKG", "XTR", "GBRX", "CTG")
TEETH = ("11", "14", "24", "36", "46", "21")


def full_day(*, clinic: Clinic, cases: int) -> dt.date:
    """The first day ahead with some surgery and no more cases than that, booked up to so many."""
    today = clock.today(clinic=clinic)
    ahead = Case.objects.open().filter(clinic=clinic, on__gt=today)
    by_day = ahead.values_list("on").annotate(number=Count("id")).order_by("on")
    day, there = next((day, number) for day, number in by_day if number <= cases)
    like = Case.objects.filter(clinic=clinic, on=day).first()
    rooms, kinds, teeth = cycle(clinic.rooms.all()), cycle(SURGERY), cycle(TEETH)
    patients = Patient.objects.filter(declines_human=False, declines_porcine=False, declines_bovine=False)
    for number, patient in enumerate(patients[: max(cases - there, 0)]):
        starts_at = like.starts_at.replace(hour=8 + number % 8, minute=15 * (number % 4))
        book(
            clinic=clinic,
            patient=patient,
            procedures=[Procedure.objects.get(code=next(kinds))],
            starts_at=starts_at,
            on=day,
            room=next(rooms),
            clinician=like.clinician,
            assistant=like.assistant,
            teeth=[next(teeth)],
            by=None,
            at=clock.now(),
        )
    return day


def main() -> None:
    """Build, book, time and print."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--weeks", type=int, default=8, help="weeks of history in the demo practice")
    options.add_argument("--cases", type=int, default=12)
    chosen = options.parse_args()
    build_demo(weeks=chosen.weeks)
    clinic = Clinic.objects.first()
    today = clock.today(clinic=clinic)
    day = full_day(clinic=clinic, cases=chosen.cases)

    def lists():
        return day_pick_lists(clinic=clinic, on=day, today=today)

    with listening() as statements:
        made = lists()
    lines = sum(len(found.lines) for found in made)
    ahead = Case.objects.open().filter(clinic=clinic, on__lte=day).count()
    whole, least = seconds(lists), seconds(bare(list(statements)))
    print(f"{len(made)} cases on {day} at {clinic}, {lines} lines, {len(statements)} statements")
    print(f"promised after the needs of {ahead - len(made)} earlier cases that are not closed")
    print(f"pick lists of the day  {whole * 1000:8.1f} ms   {whole / len(made) * 1000:6.1f} ms a case")
    print(f"the bare SQL of it     {least * 1000:8.1f} ms")
    print(f"ratio                  {whole / least:8.1f}")


if __name__ == "__main__":
    main()
