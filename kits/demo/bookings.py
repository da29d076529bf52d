"""The coming weeks: what the appointment book holds, booked through the verbs that people use."""

from kits.demo.days import ONE_DAY, moment
from kits.demo.diary import Diary
from kits.demo.drafting import Visit
from kits.demo.people import Cast
from kits.demo.supplies import Supplies
from kits.models import Case, Procedure
from kits.scheduling import book, choose, plan_case, plan_site


class Bookings:
    """Books visits of the diary as cases."""

    def __init__(self, found: Cast, supplies: Supplies):
        self.found, self.supplies = found, supplies
        self.taken = 0
        self.procedures = {procedure.code: procedure for procedure in Procedure.objects.all()}

    def ahead(self, diary: Diary) -> None:
        """Book everything the diary holds from today on."""
        day = diary.days.today
        while day <= diary.days.end:
            for visit in diary.visits_on(day):
                self.take(visit)
            day += ONE_DAY

    def take(self, visit: Visit) -> Case:
        """Book one visit with its whole plan."""
        self.taken += 1
        people, by, at = self.found.people, self.found.manager, moment(visit.booked_on, 11)
        case = book(
            clinic=self.found.clinics[visit.clinic],
            patient=self.found.patients[visit.patient - 1],
            procedures=[self.procedures[visit.procedure]],
            starts_at=moment(visit.on, 0, visit.start_minute),
            on=visit.on,
            minutes=visit.minutes,
            room=self.found.rooms[visit.room],
            clinician=people.get(visit.clinician),
            assistant=people.get(visit.assistant),
            teeth=visit.teeth,
            by=by,
            at=at,
            note=visit.note,
        )
        self._plan(case, visit, by=people.get(visit.clinician) or by, at=at)
        return case

    def _plan(self, case: Case, visit: Visit, *, by, at) -> None:
        items = self.supplies.items
        for tooth in visit.teeth:
            implant, connection = visit.implants.get(tooth), visit.connections.get(tooth)
            known = {
                "implant": items.get(implant),
                "connection_in_place": connection,
                "healing_height_mm": visit.healing_mm,
            }
            if implant or connection:
                given = {name: value for name, value in known.items() if value is not None}
                plan_site(case=case, tooth=tooth, by=by, at=at, **given)
        given = {name: getattr(visit, name) for name in ("graft_material", "membrane_class", "guided")}
        given = {name: value for name, value in given.items() if value not in ("", None)}
        if given:
            plan_case(case=case, by=by, at=at, **given)
        sites = {site.tooth: site for site in case.sites.all()}
        for subject, tooth, item, quantity in visit.choices:
            choose(
                case=case,
                subject=subject,
                item=items.get(item),
                site=sites.get(tooth),
                quantity=quantity,
                by=by,
                at=at,
            )
