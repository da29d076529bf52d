"""Today at Skellowick Road: one case closed, one in surgery, one set out, one booked, all by the verbs."""

from kits.chairside import open_line, record_finding
from kits.closing import close, settle_rest
from kits.demo.bookings import Bookings
from kits.demo.days import ONE_DAY, DemoDays, moment
from kits.demo.drafting import Visit
from kits.models import Case, CaseFinding, Finding, TrayLine
from kits.picking import begin, pick_list, put_on_tray, tick
from kits.requirements import CHECKPOINT, STOCK

ASSISTANT = "pellister"
# Patients of the day, by their number.
CLOSED, IN_SURGERY, SET_OUT, BOOKED = 1009, 1012, 1015, 1018


class SurgeryDay:
    """Plays the morning of the day the demo is built for."""

    def __init__(self, bookings: Bookings, days: DemoDays):
        self.bookings, self.days = bookings, days
        self.by = bookings.found.people[ASSISTANT]

    def visits(self) -> list[Visit]:
        """The four surgeries of the day, in order of start."""
        closed = self._visit("DEL", CLOSED, "46", room="A2", start_minute=8 * 60 + 30)
        # Tuesdays and Thursdays the second surgeon works here.
        tuesday_or_thursday = self.days.surgery_day.weekday() in (1, 3)
        closed.clinician, closed.guided = "okwendale" if tuesday_or_thursday else "lindqvarn", True
        closed.implants = {"46": "IMP-CR-43-100"}
        closed.choices = [("group:DEL-SUT", "", "SUT-PG5", 1)]
        in_surgery = self._visit("SKG", IN_SURGERY, "12", room="A1", start_minute=9 * 60)
        set_out = self._visit("GBRX", SET_OUT, "24", room="A2", start_minute=11 * 60)
        set_out.choices = [(f"plan:{item}", "", item, 0) for item in ("PRF-TUB", "PRF-DRW")]
        booked = self._visit("XTR", BOOKED, "38", room="A3", start_minute=14 * 60)
        booked.clinician = "lindqvarn"
        return [closed, in_surgery, set_out, booked]

    def _visit(self, procedure: str, patient: int, tooth: str, **seat) -> Visit:
        return Visit(
            procedure=procedure,
            clinic="A",
            on=self.days.surgery_day,
            patient=self.bookings.found.accepting(patient),
            teeth=(tooth,),
            clinician="tessamore",
            assistant=ASSISTANT,
            booked_on=self.days.today - ONE_DAY * 18,
            minutes=self.bookings.procedures[procedure].minutes,
            **seat,
        )

    def play(self) -> list[Case]:
        """Book the day and bring its cases as far as they are; returns them in order of start."""
        cases = [self.bookings.take(visit) for visit in self.visits()]
        closed, in_surgery, set_out, _ = cases
        self._close(closed)
        self._find(in_surgery)
        self._lay(set_out, hour=8, minute=45, leave=4)
        return cases

    def _lay(self, case: Case, *, hour: int, minute: int, leave: int = 0) -> None:
        """Set out a tray from its pick list, but for the last few lines."""
        at = moment(self.days.today, hour, minute)
        begin(case=case, by=self.by, at=at)
        found = pick_list(case=case, today=case.on)
        lines = [line for line in found.lines if line.line is not None and line.is_wanted]
        for line in lines[: len(lines) - leave]:
            if line.kind != STOCK:
                tick(line=line.line, by=self.by, at=at)
            for part in line.parts:
                put_on_tray(
                    line=line.line,
                    lot=part.lot,
                    place=part.place,
                    quantity=part.quantity,
                    scanned=True,
                    by=self.by,
                    at=at,
                )

    def _open_sealed(self, case: Case, at) -> None:
        """Open what waited for a checkpoint and is needed whatever is found."""
        for line in TrayLine.objects.filter(case=case, certain=True, set_out=CHECKPOINT):
            open_line(line=line, by=self.by, at=at)

    def _close(self, case: Case) -> None:
        self._lay(case, hour=7, minute=30)
        at = moment(self.days.today, 9, 40)
        self._open_sealed(case, moment(self.days.today, 9, 5))
        settle_rest(case=case, by=self.by, at=at)
        close(case=case, by=self.by, at=at)

    def _find(self, case: Case) -> None:
        """In surgery: the facial plate turned out to be missing, so its pouch was opened."""
        self._lay(case, hour=8, minute=15)
        record_finding(
            case=case,
            finding=Finding.objects.get(code="F-FPM"),
            site=case.sites.get(),
            present=True,
            by=self.by,
            at=moment(self.days.today, 9, 25),
            source=CaseFinding.Source.SURGERY,
        )
        self._open_sealed(case, moment(self.days.today, 9, 30))
