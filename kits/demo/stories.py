"""Stories of the present: what tomorrow brings, a recall, a count, a loan, orders, bookings to mend."""

import datetime as dt

from kits.demo import cast
from kits.demo.bookings import Bookings
from kits.demo.days import ONE_DAY, DemoDays, moment
from kits.demo.drafting import Visit
from kits.demo.planted import PLATE_MISSING, RECALLED_ITEM, RECALLED_LOT
from kits.models import TrayLine
from kits.picking import begin, put_on_tray
from practice.models import Patient
from stock.consuming import borrow, lend, return_to_supplier
from stock.correcting import correct_count
from stock.holds import recall
from stock.models import Balance, Lot, Place
from stock.moving import move
from stock.ordering import cancel, make_orders
from stock.receiving import ensure_lot

STORE = ("A", cast.STOCKROOM)
# Patients of the stories, by their number.
TOMORROW = {"SKG": 1021, "IMM": 1024, "DEL": 1027, "DEL-2": 1030, "SLT": 1033}
FULL_ARCH, REMOVALS, CROWN = 1036, (1039, 1040), 1042
SHARED_IMPLANT, ABSENT_IMPLANT, ABSENT_COVER = "IMP-CW-50-100", "IMP-CR-43-150", "MEM-PT-1224"
ON_SHELF = 3
FULL_ARCH_IN, DECLINES_IN, REMOVALS_IN, LOAN_DAYS = 16, 6, 8, 6
STEEP = "PRO-MU-30"


class Stories:
    """Plants the stories of the present, each by the verbs that people use."""

    def __init__(self, bookings: Bookings, days: DemoDays):
        self.bookings, self.days = bookings, days
        self.found, self.items = bookings.found, bookings.supplies.items
        self.assistant = self.found.people["saldovane"]

    def tell(self) -> None:
        """All of them, in the order in which they would have happened."""
        self.orders_typed_wrongly()
        self.borrowed_sheet()
        self.miscounted_vial()
        self.tomorrow()
        self.recalled_lot()
        self.coming()

    def _on(self, number: int) -> dt.date:
        """An open day at Skellowick Road at least so many days ahead, after tomorrow's surgery."""
        ahead = max(self.days.today + ONE_DAY * number, self.days.next_surgery_day + ONE_DAY)
        return self.days.open_from("A", ahead)

    def _before(self, number: int, hour: int) -> dt.datetime:
        return moment(self.days.today - ONE_DAY * number, hour)

    def _visit(self, procedure: str, patient: int, on: dt.date, **plan) -> Visit:
        plan = {"clinic": "A", "clinician": "tessamore", "assistant": "pellister"} | plan
        plan.setdefault("booked_on", self.days.today - ONE_DAY * 12)
        return Visit(procedure=procedure, patient=patient, on=on, **plan)

    def _balances(self, code: str, clinic: str = "A") -> list[Balance]:
        rows = Balance.objects.filter(
            lot__item=self.items[code],
            place__clinic=self.found.clinics[clinic],
            place__kind__in=Place.PICKABLE,
            quantity__gt=0,
        )
        return list(rows.select_related("lot__item", "place").order_by("lot__expires_on", "pk"))

    def _leave(self, code: str, units: int, note: str) -> None:
        """Send what lies at Skellowick Road beyond so many units to the other clinic."""
        rows = self._balances(code)
        beyond = sum(row.quantity for row in rows) - units
        for row in reversed(rows):
            piece = min(beyond, row.quantity)
            if piece > 0:
                move(
                    lot=row.lot,
                    from_place=row.place,
                    to_place=self.found.place("B", cast.STOCKROOM),
                    quantity=piece,
                    by=self.assistant,
                    at=self._before(1, 16),
                    source="demo",
                    note=note,
                )
                beyond -= piece

    def tomorrow(self) -> None:
        """Story 1: five surgeries; two share the last wide implants, one lacks its implant, one a cover."""
        day, sent = self.days.next_surgery_day, "sent by courier for a case there"
        self._leave(SHARED_IMPLANT, ON_SHELF, sent)
        self._leave(ABSENT_IMPLANT, 0, sent)
        self._leave(ABSENT_COVER, 0, sent)
        plans = [
            ("SKG", {"teeth": ("11",), "room": "A1", "start_minute": 8 * 60 + 30, "minutes": 75}),
            ("IMM", {"teeth": ("13",), "implants": {"13": ABSENT_IMPLANT}, "room": "A2"}),
            ("DEL", {"teeth": ("46",), "implants": {"46": SHARED_IMPLANT}, "room": "A3"}),
            ("DEL-2", {"teeth": ("36",), "implants": {"36": SHARED_IMPLANT}, "room": "A2"}),
            ("SLT", {"teeth": ("26",), "implants": {"26": SHARED_IMPLANT}, "room": "A1"}),
        ]
        starts = {"IMM": 10 * 60, "DEL": 9 * 60, "DEL-2": 14 * 60, "SLT": 12 * 60}
        for name, plan in plans:
            code = name.split("-")[0]
            plan.setdefault("start_minute", starts.get(name))
            plan["minutes"] = self.bookings.procedures[code].minutes
            if name == "DEL":
                plan["clinician"] = "lindqvarn"
            self.bookings.take(
                self._visit(code, self.found.accepting(TOMORROW[name]), day, **self._settled(code, plan))
            )

    def _settled(self, code: str, plan: dict) -> dict:
        """The plan with its options decided."""
        choices = {
            "DEL": [("group:DEL-SUT", "", "SUT-PT5", 1)],
            "SLT": [("plan:SET-IMC", "", "SET-IMC", 1), ("plan:SET-DRV", "", "SET-DRV", 1)],
        }
        guided = {"IMM": True, "DEL": False}
        return plan | {"choices": choices.get(code, []), "guided": guided.get(code)}

    def orders_typed_wrongly(self) -> None:
        """Story 16: fifty boxes of anaesthetic where fifty cartridges were meant, caught at approval."""
        sold = self.bookings.supplies.sold["DRG-ART"]
        reason = "Fifty typed; meant were fifty cartridges, one box."
        [order] = make_orders(
            clinic=self.found.clinics["A"],
            choices=[(sold, 50, reason)],
            by=self.assistant,
            at=self._before(1, 14),
        )
        cancel(order=order, by=self.found.manager, at=self._before(1, 15))

    def borrowed_sheet(self) -> None:
        """Story 10: a reinforced sheet borrowed from the partner, to be given back in six days."""
        item = self.items["MEM-TR-2530"]
        back = self.days.today + ONE_DAY * LOAN_DAYS
        lot = ensure_lot(
            item=item,
            lot_number="WEN-2207",
            expires_on=self.days.today + ONE_DAY * 700,
        )
        borrow(
            lot=lot,
            place=self.found.places[STORE],
            quantity=1,
            partner=cast.PARTNER,
            by=self.assistant,
            at=self._before(8, 11),
            source="demo",
            note=f"from {cast.PARTNER}, to be given back by {back.day} {back:%B}",
        )

    def miscounted_vial(self) -> None:
        """Story 6: one vial fewer than recorded; its use was found on a paper tray card."""
        rows = [row for row in self._balances(RECALLED_ITEM) if row.lot.lot_number != RECALLED_LOT]
        if rows:
            note = "Used on a tray card kept on paper while the scanner was down; manager told."
            correct_count(
                lot=rows[-1].lot,
                place=rows[-1].place,
                counted=0,
                note=note,
                by=self.assistant,
                at=self._before(2, 17),
            )

    def recalled_lot(self) -> None:
        """Story 4: a recalled lot on the shelf, on a tray, lent and in patients; its donor in another lot."""
        self._lend_one()
        self._lay_one_at_b()
        reason = "Bank's notice: donor screening incomplete; keep apart, name the patients."
        for lot in Lot.objects.filter(item=self.items[RECALLED_ITEM], lot_number=RECALLED_LOT):
            recall(lot=lot, reason=reason, by=self.found.manager, at=moment(self.days.today, 8, 5))

    def _lend_one(self) -> None:
        rows = [row for row in self._balances(RECALLED_ITEM) if row.lot.lot_number == RECALLED_LOT]
        lend(
            lot=rows[-1].lot,
            place=rows[-1].place,
            loan_place=self.found.place("A", cast.LOAN),
            quantity=1,
            partner=cast.PARTNER,
            by=self.assistant,
            at=self._before(5, 10),
            source="demo",
        )

    def _lay_one_at_b(self) -> None:
        """A socket graft at Eddlestoke Green whose tray already holds a vial of the lot."""
        day, numbrecht = self.days.open_from("B", self.days.today), self.found.people["numbrecht"]
        visit = self._visit(
            "SKG", self.found.accepting(1045), day, clinic="B", clinician="okwendale", assistant="numbrecht"
        )
        visit.teeth, visit.room, visit.start_minute, visit.minutes = ("45",), "B1", 13 * 60, 75
        visit.choices = [("GRAFT_SIZED", "45", RECALLED_ITEM, 1)]
        case = self.bookings.take(visit)
        at = moment(self.days.today, 7, 50)
        begin(case=case, by=numbrecht, at=at)
        line = TrayLine.objects.filter(case=case, item=self.items[RECALLED_ITEM]).first()
        rows = [row for row in self._balances(RECALLED_ITEM, "B") if row.lot.lot_number == RECALLED_LOT]
        put_on_tray(
            line=line, lot=rows[0].lot, place=rows[0].place, quantity=1, scanned=True, by=numbrecht, at=at
        )

    def coming(self) -> None:
        """Stories 2, 11, 12, 14 and 17: bookings of the coming weeks that somebody has to mend."""
        self._sutures_out_today()
        self._declines_porcine()
        self._full_arch()
        self._removals_at_once()
        self._crown_with_the_wrong_screw()

    def _sutures_out_today(self) -> None:
        visit = self._visit(
            "V-SRM", self.found.accepting(PLATE_MISSING), self.days.surgery_day, clinician="", teeth=("21",)
        )
        visit.room, visit.start_minute, visit.minutes = "A4", 12 * 60, 20
        self.bookings.take(visit)

    def _declines_porcine(self) -> None:
        """Collagen was planned before anybody looked at the consent: blocked; PTFE is what is accepted."""
        patient = Patient.objects.filter(
            declines_porcine=True, declines_human=False, declines_bovine=False
        ).first()
        visit = self._visit("GBRX", int(patient.chart_number[2:]), self._on(DECLINES_IN), teeth=("22",))
        visit.membrane_class, visit.room, visit.start_minute, visit.minutes = "collagen", "A3", 13 * 60, 90
        self.bookings.take(visit)

    def _full_arch(self) -> None:
        """Six implants, three of them steep; the supplier took the steep abutments back for a fault."""
        for row in self._balances(STEEP):
            return_to_supplier(
                lot=row.lot,
                place=row.place,
                quantity=row.quantity,
                by=self.assistant,
                at=self._before(3, 12),
                source="demo",
                note="supplier's notice: thread out of tolerance",
            )
        teeth = ("15", "13", "11", "21", "23", "25")
        visit = self._visit(
            "FAR", self.found.accepting(FULL_ARCH), self._on(FULL_ARCH_IN), teeth=teeth, guided=True
        )
        visit.implants = dict.fromkeys(teeth, "IMP-CR-43-130")
        visit.choices = [
            ("group:FAR-MUA", tooth, STEEP if place % 2 else "PRO-MU-00", 1)
            for place, tooth in enumerate(teeth)
        ]
        visit.choices.append(("plan:SET-XTR", "", "SET-XTR", 1))
        visit.room, visit.start_minute, visit.minutes = "A1", 9 * 60, 300
        self.bookings.take(visit)

    def _removals_at_once(self) -> None:
        """The one removal set is wanted at both clinics on the same morning."""
        day = self._on(REMOVALS_IN)
        while not self.days.is_open("B", day):
            day = self.days.open_from("A", day + ONE_DAY)
        for patient, clinic, room, clinician in (
            (REMOVALS[0], "A", "A2", "tessamore"),
            (REMOVALS[1], "B", "B1", "okwendale"),
        ):
            visit = self._visit(
                "IRM", self.found.accepting(patient), day, clinic=clinic, clinician=clinician, teeth=("36",)
            )
            visit.connections, visit.room = {"36": "CW"}, room
            visit.start_minute, visit.minutes = 9 * 60, 75
            self.bookings.take(visit)

    def _crown_with_the_wrong_screw(self) -> None:
        visit = self._visit("V-DLV", CROWN, self._on(1), clinician="lindqvarn", teeth=("12",))
        visit.connections, visit.room = {"12": "CN"}, "A4"
        visit.start_minute, visit.minutes = 15 * 60 + 30, 60
        visit.note = (
            "Crown is here; the lab's screw is for platform CR, the chart says CN. New screw from stock."
        )
        self.bookings.take(visit)
