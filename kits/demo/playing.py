"""Playing one case of the past: its requirements, its tray, and what was used, wasted or put back."""

import datetime as dt
import random
from dataclasses import dataclass, field

from kits.demo.cast import PREFERENCES
from kits.demo.days import moment
from kits.demo.drafting import Visit
from kits.demo.mixes import LASTING_SHEETS
from kits.demo.outcomes import Outcome, play
from kits.demo.shelves import Shelves
from kits.demo.supplies import Supplies
from kits.families import Families
from kits.models import BomLine, BomVersion, TrayUnit
from kits.plans import Plan, SitePlan
from kits.requirements import ROOM, STOCK, Requirement, of_case
from stock.models import Entry

USED, WASTED, PUT_BACK = TrayUnit.Outcome.USED, TrayUnit.Outcome.WASTED, TrayUnit.Outcome.PUT_BACK
# Shares of sheets laid ready that are opened too early and wasted: one clinician does it thrice as often.
OPENED_EARLY = {"okwendale": 0.09}
OPENED_EARLY_ELSE = 0.03
NOT_FIRM, WRONG_SIZE, NOT_USED = Entry.Reason.NOT_FIRM, Entry.Reason.WRONG_SIZE, Entry.Reason.NOT_USED
# A planned line that the finding of another line makes useless: slot, finding, why it is wasted.
SPOILT = (("IMPLANT_PLANNED", "F-PST", NOT_FIRM), ("IMPLANT_PLANNED", "F-NST", NOT_FIRM))
SPOILT += (("HEALING_PLANNED", "F-HT", WRONG_SIZE),)


@dataclass(frozen=True)
class UnitDraft:
    """Units on a line of the tray: which lot, from where, and what became of them."""

    key: str
    lot: int
    place: tuple[str, str]
    tray: tuple[str, str]
    quantity: int
    outcome: str
    reason: str
    site: int | None
    scanned: bool


@dataclass
class Played:
    """A case of the past with everything that its rows and entries are made of."""

    visit: Visit
    code: str
    lines: list[Requirement]
    units: list[UnitDraft] = field(default_factory=list)
    outcome: Outcome = field(default_factory=Outcome)
    turned_into: str = ""

    @property
    def starts_at(self) -> dt.datetime:
        """When it began."""
        return moment(self.visit.on, 0, self.visit.start_minute)

    @property
    def ends_at(self) -> dt.datetime:
        """When it was closed."""
        return self.starts_at + dt.timedelta(minutes=self.visit.minutes)

    @property
    def lasting_membrane(self) -> bool:
        """Whether a membrane that has to come out again was placed."""
        codes = {line.key: line.item_code for line in self.lines}
        return any(unit.outcome == USED and codes[unit.key].startswith(LASTING_SHEETS) for unit in self.units)


class Stage:
    """What cases are played against: bills, catalogue, preference cards, and the stock of the shelves."""

    def __init__(self, supplies: Supplies, shelves: Shelves, seed: int):
        self.supplies, self.shelves = supplies, shelves
        self.rng = random.Random(f"{seed}:playing")
        self.families = Families(item for item in supplies.items.values() if item.is_active)
        self.versions = {
            version.procedure.code: version
            for version in BomVersion.objects.filter(state=BomVersion.State.PUBLISHED).select_related(
                "procedure"
            )
        }
        self.bills: dict[str, list[BomLine]] = {code: [] for code in self.versions}
        rows = BomLine.objects.filter(version__in=self.versions.values())
        for line in rows.select_related("item", "finding__complement_of", "version__procedure"):
            self.bills[line.version.procedure.code].append(line)
        self.cards = {
            person: {slot: supplies.items[code] for slot, code in card.items()}
            for person, card in PREFERENCES.items()
        }

    def plan(self, visit: Visit, code: str, chart: str, declined: frozenset[str]) -> Plan:
        """The plan of a visit; sites are known by their number, starting at 1."""
        items, numbers = self.supplies.items, {tooth: n for n, tooth in enumerate(visit.teeth, start=1)}
        choices: dict = {}
        for subject, tooth, item, quantity in visit.choices:
            choices.setdefault((subject, numbers.get(tooth)), []).append((items.get(item), quantity))
        return Plan(
            case_code=code,
            patient=chart,
            sites=tuple(
                SitePlan(
                    id=number,
                    tooth=tooth,
                    implant=items.get(visit.implants.get(tooth, "")),
                    healing_height_mm=visit.healing_mm,
                    connection_in_place=visit.connections.get(tooth, ""),
                )
                for tooth, number in numbers.items()
            ),
            declined=declined,
            graft_material=visit.graft_material,
            membrane_class=visit.membrane_class,
            guided=visit.guided,
            choices={key: tuple(value) for key, value in choices.items()},
            clinician=visit.clinician,
            assistant=visit.assistant,
            clinician_prefers=self.cards.get(visit.clinician, {}),
            assistant_prefers=self.cards.get(visit.assistant, {}),
        )

    def begin(self, visit: Visit, code: str, chart: str, declined: frozenset[str]) -> Played:
        """Work out the lines of a case and what its surgery will find; nothing is taken yet."""
        plan = self.plan(visit, code, chart, declined)
        lines = of_case(plan, [(visit.procedure, self.bills[visit.procedure])], self.families)
        played = Played(visit, code, lines)
        if not visit.cancelled:
            playable = [line for line in lines if line.item is not None and not line.undecided]
            played.outcome = play(self.rng, playable, visit.forced)
        return played

    def wanted(self, played: Played) -> list[tuple[Requirement, int]]:
        """Lines that stock is fetched for, with units; room stock and shared containers only where used."""
        opened, found = played.outcome.opened, []
        for line in played.lines:
            if line.item is None or line.undecided or line.kind != STOCK:
                continue
            straight = line.set_out == ROOM or played.visit.is_visit or line.use_quantity < 1
            if straight and line.key not in opened:
                continue
            if line.use_quantity < 1 and self.rng.random() > line.use_quantity:
                # A cartridge that serves several cases is opened in some of them.
                continue
            found.append((line, line.quantity))
        return found

    def lay(self, played: Played, line: Requirement, taken: list[tuple[int, tuple[str, str], int]]) -> None:
        """Put what was taken on the tray and decide what becomes of it; sealed units go back to the shelf."""
        outcome, reason = self._fate(played, line)
        straight = line.set_out == ROOM or played.visit.is_visit
        visit = played.visit
        if straight and outcome == PUT_BACK:
            outcome = USED if line.item.single_patient_use else PUT_BACK
        for lot, place, units in taken:
            tray = place if straight and outcome == USED else (visit.clinic, f"Tray {visit.room}")
            site = line.site_id or (1 if len(visit.teeth) == 1 else None)
            played.units.append(
                UnitDraft(
                    *(line.key, lot, place, tray, units, outcome, reason),
                    site if outcome != PUT_BACK else None,
                    line.must_scan or self.rng.random() < 0.8,
                )
            )

    def _fate(self, played: Played, line: Requirement) -> tuple[str, str]:
        visit, found = played.visit, played.outcome.found
        if visit.cancelled or not line.item.single_patient_use:
            return PUT_BACK, ""
        for slot, finding, reason in SPOILT:
            if line.slot == slot and found.get((finding, line.site_id)):
                return WASTED, reason
        if line.slot == "IMPLANT_PLANNED" and found.get(("F-SHORT", line.site_id)):
            return PUT_BACK, ""
        if line.key in played.outcome.opened:
            return USED, ""
        early = OPENED_EARLY.get(visit.clinician, OPENED_EARLY_ELSE)
        if line.item.category == "Membrane" and self.rng.random() < early:
            return WASTED, NOT_USED
        return PUT_BACK, ""

    def settle(self, played: Played) -> None:
        """Let the visit know what was really done: implants placed, a procedure that became another."""
        visit, found = played.visit, played.outcome.found
        if visit.cancelled:
            return
        if visit.procedure == "IMM" and any(v for (code, _), v in found.items() if code == "F-NST"):
            played.turned_into, visit.implants = "SKG", {}
        elif visit.procedure == "PIR" and any(v for (code, _), v in found.items() if code == "F-HOPELESS"):
            played.turned_into = "IRM"
        if visit.implants:
            placed = {}
            for unit in played.units:
                line = next(line for line in played.lines if line.key == unit.key)
                if unit.outcome == USED and line.item.category == "Implant" and unit.site:
                    placed[visit.teeth[unit.site - 1]] = line.item.code
            visit.implants = placed
