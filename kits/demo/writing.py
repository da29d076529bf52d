"""Writing the past: rows in bulk, and every movement through the ledger's own path for many postings."""

import datetime as dt
from collections.abc import Iterator

from kits.case_lines import tray_drafts
from kits.closing import CLOSE
from kits.demo.days import moment
from kits.demo.history import Past, Step
from kits.demo.people import Cast
from kits.demo.playing import PUT_BACK, USED, Played
from kits.models import Case, CaseFinding, CaseProcedure, CaseSite, Finding, PlanChoice, TrayLine, TrayUnit
from kits.requirements import OPEN
from kits.scheduling import BOOK, CANCEL
from practice.models import AuditEntry
from stock.bulk import make_lots, make_past_orders
from stock.models import Lot
from stock.posting import Movement, Posting, post_many

CHUNK = 2000
LATE_REASON, EARLY_REASON = "patient did not come", "patient cancelled"


class Writer:
    """Writes what a ``Past`` has played since the last time; the order of its steps is kept."""

    def __init__(self, past: Past):
        self.past, self.found = past, past.found
        self.lots: list[Lot] = []
        self.findings = {finding.code: finding for finding in Finding.objects.all()}
        self.entries = 0

    def write(self) -> None:
        """Write lots, cases with their trays, and movements played so far."""
        past = self.past
        self.lots += make_lots(drafts=past.shelves.drafts[len(self.lots) :])
        self._write_cases(past.played)
        self.entries += post_many(postings=self._postings(past.steps))
        past.played, past.steps = [], []

    def write_orders(self) -> None:
        """Write every order of the past, once, at its end."""
        orders = make_past_orders(drafts=self.past.buyer.orders)
        AuditEntry.objects.bulk_create(
            [
                AuditEntry(
                    clinic=order.clinic,
                    by=order.approved_by,
                    at=order.sent_at,
                    action="order.send",
                    subject=order.number,
                    facts={"supplier": str(order.supplier)},
                )
                for order in orders
            ],
            batch_size=CHUNK,
        )

    def _postings(self, steps: list[Step]) -> Iterator[Posting]:
        for step in steps:
            movements = [
                Movement(
                    move.kind,
                    self.lots[move.lot],
                    self.found.places[move.place],
                    move.quantity,
                    reason=move.reason,
                    note=move.note,
                )
                for move in step.moves
            ]
            yield Posting(movements, self.found.people[step.by], step.at, source=step.source)

    def _write_cases(self, played: list[Played]) -> None:
        cases = Case.objects.bulk_create([_case(self.found, each) for each in played], batch_size=CHUNK)
        sites = _sites(self.past, played, cases)
        _procedures(self.past, played, cases)
        self._write_choices(played, cases, sites)
        self._write_findings(played, cases, sites)
        self._write_trays(played, cases, sites)
        AuditEntry.objects.bulk_create(_told(self.found, played, cases), batch_size=CHUNK)

    def _write_choices(self, played, cases, sites) -> None:
        items = self.past.supplies.items
        PlanChoice.objects.bulk_create(
            [
                PlanChoice(
                    case=case,
                    site=sites.get((case.pk, tooth)),
                    subject=subject,
                    item=items.get(item),
                    quantity=quantity,
                    by=case.clinician,
                )
                for each, case in zip(played, cases, strict=True)
                for subject, tooth, item, quantity in each.visit.choices
            ],
            batch_size=CHUNK,
        )

    def _write_findings(self, played, cases, sites) -> None:
        rows = []
        for each, case in zip(played, cases, strict=True):
            for (code, number), present in each.outcome.found.items():
                # What was looked for and absent is worth a line only where a prepared pouch hung on it.
                if present or code == "F-FPM":
                    rows.append(
                        CaseFinding(
                            case=case,
                            site=_site(each, case, sites, number),
                            finding=self.findings[code],
                            present=present,
                            by=case.clinician,
                            at=each.starts_at,
                        )
                    )
        CaseFinding.objects.bulk_create(rows, batch_size=CHUNK)

    def _write_trays(self, played, cases, sites) -> None:
        lines: list[TrayLine] = []
        for each, case in zip(played, cases, strict=True):
            if each.visit.cancelled == "early":
                continue
            for line in tray_drafts(case, each.lines):
                site = _site(each, case, sites, line.site_id)
                line.site_id = site.pk if site else None
                if line.item is not None and (line.item.is_set or line.item.tracking == "case-id"):
                    line.ready_at, line.ready_by = each.starts_at - dt.timedelta(minutes=40), case.assistant
                lines.append(line)
        TrayLine.objects.bulk_create(lines, batch_size=CHUNK)
        by_key = {(line.case_id, line.key): line for line in lines}
        units = [
            self._unit(each, case, by_key[case.pk, unit.key], unit, sites)
            for each, case in zip(played, cases, strict=True)
            for unit in each.units
        ]
        TrayUnit.objects.bulk_create(units, batch_size=CHUNK)

    def _unit(self, each: Played, case: Case, line: TrayLine, unit, sites) -> TrayUnit:
        opened = unit.outcome != PUT_BACK
        return TrayUnit(
            line=line,
            lot=self.lots[unit.lot],
            place=self.found.places[unit.place],
            tray=self.found.places[unit.tray],
            quantity=unit.quantity,
            scanned=unit.scanned,
            opened_at=(each.starts_at if line.set_out == OPEN else each.ends_at) if opened else None,
            outcome=unit.outcome,
            site=_site(each, case, sites, unit.site) if unit.outcome == USED else None,
            reason=unit.reason,
            put_on_at=each.starts_at - dt.timedelta(minutes=40),
            put_on_by=case.assistant,
            decided_at=each.ends_at,
            decided_by=case.assistant,
        )


def _case(found: Cast, each: Played) -> Case:
    visit = each.visit
    state = Case.State.CANCELLED if visit.cancelled else Case.State.CLOSED
    return Case(
        code=each.code,
        clinic=found.clinics[visit.clinic],
        room=found.rooms[visit.room],
        patient=found.patients[visit.patient - 1],
        clinician=found.people.get(visit.clinician),
        assistant=found.people.get(visit.assistant),
        on=visit.on,
        starts_at=each.starts_at,
        minutes=visit.minutes,
        state=state,
        booked_at=moment(visit.booked_on, 11),
        changed_at=each.ends_at,
        closed_at=None if visit.cancelled else each.ends_at,
        closed_by=None if visit.cancelled else found.people.get(visit.assistant),
        cancelled_at=_cancelled_at(each),
        note=visit.note,
        graft_material=visit.graft_material,
        membrane_class=visit.membrane_class,
        guided=visit.guided,
    )


def _cancelled_at(each: Played) -> dt.datetime | None:
    if not each.visit.cancelled:
        return None
    early = dt.timedelta(days=3 if each.visit.cancelled == "early" else 0)
    return each.starts_at - early


def _sites(past: Past, played, cases) -> dict[tuple[int, str], CaseSite]:
    """Sites by case id and tooth."""
    items = past.supplies.items
    rows = CaseSite.objects.bulk_create(
        [
            CaseSite(
                case=case,
                tooth=tooth,
                implant=items.get(_planned(each, tooth)),
                healing_height_mm=each.visit.healing_mm,
                connection_in_place=each.visit.connections.get(tooth, ""),
            )
            for each, case in zip(played, cases, strict=True)
            for tooth in each.visit.teeth
        ],
        batch_size=CHUNK,
    )
    return {(row.case_id, row.tooth): row for row in rows}


def _planned(each: Played, tooth: str) -> str:
    """Code of the implant that was planned at a tooth, whatever went in."""
    number = each.visit.teeth.index(tooth) + 1
    planned = (line for line in each.lines if line.slot == "IMPLANT_PLANNED" and line.site_id == number)
    return next((line.item_code for line in planned), "")


def _site(each: Played, case: Case, sites, number: int | None) -> CaseSite | None:
    return sites[case.pk, each.visit.teeth[number - 1]] if number else None


def _procedures(past: Past, played, cases) -> None:
    rows = []
    for each, case in zip(played, cases, strict=True):
        code, turned = each.visit.procedure, each.turned_into
        for procedure, planned, done in [(code, True, not turned), (turned, False, True)]:
            if procedure:
                version = past.stage.versions[procedure]
                rows.append(
                    CaseProcedure(
                        case=case, procedure=version.procedure, version=version, planned=planned, done=done
                    )
                )
    CaseProcedure.objects.bulk_create(rows, batch_size=CHUNK)


def _told(found: Cast, played, cases) -> Iterator[AuditEntry]:
    """What the audit says of each case: booked, and closed or cancelled."""
    for each, case in zip(played, cases, strict=True):
        words = {"clinic": case.clinic, "subject": case.code}
        facts = {"patient": case.patient.chart_number, "on": case.on.isoformat()}
        facts["procedures"] = each.visit.procedure
        by = found.manager
        yield AuditEntry(action=BOOK, by=by, at=case.booked_at, facts=facts, **words)
        if each.visit.cancelled:
            reason = LATE_REASON if each.visit.cancelled == "late" else EARLY_REASON
            yield AuditEntry(
                action=CANCEL, by=found.manager, at=case.cancelled_at, facts={"reason": reason}, **words
            )
        else:
            done = each.turned_into or each.visit.procedure
            yield AuditEntry(
                action=CLOSE, by=case.closed_by, at=case.closed_at, facts={"procedures": done}, **words
            )
