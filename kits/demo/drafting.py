"""Drawing the plan of one invented case: teeth, implants, materials and options that fit each other."""

import datetime as dt
import random
from dataclasses import dataclass, field

from kits.demo import mixes
from practice.teeth import LOWER, UPPER

MOLARS_WITH_WISDOM = ("18", "28", "38", "48", "36", "46", "16", "26")


@dataclass
class Visit:
    """One booked surgery or visit of the demo, before it becomes a case.

    ``implants``: tooth -> catalogue code; ``connections``: tooth -> connection of the implant in place.
    ``choices``: (subject, tooth or "", catalogue code or "", quantity). ``cancelled``: "", "early", or "late"
    when the tray already stood.
    """

    procedure: str
    clinic: str
    on: dt.date
    patient: int
    teeth: tuple[str, ...] = ()
    implants: dict[str, str] = field(default_factory=dict)
    connections: dict[str, str] = field(default_factory=dict)
    clinician: str = ""
    assistant: str = ""
    booked_on: dt.date | None = None
    guided: bool | None = None
    graft_material: str = ""
    membrane_class: str = ""
    healing_mm: int = 3
    choices: list[tuple[str, str, str, int]] = field(default_factory=list)
    room: str = ""
    start_minute: int = 0
    minutes: int = 60
    cancelled: str = ""
    note: str = ""
    # Findings (code -> present) that are told beforehand, and whether nobody books the removal of a membrane.
    forced: dict[str, bool] = field(default_factory=dict)
    forgets_removal: bool = False
    # Units (item code -> number of the lot's draft) that go to this visit and to no other.
    given: dict[str, int] = field(default_factory=dict)

    @property
    def is_visit(self) -> bool:
        """Whether this is a visit without surgery."""
        return self.procedure.startswith("V-")


def pick(rng: random.Random, options):
    """One of ((value, share), ...), by share."""
    values, shares = zip(*options, strict=True)
    return rng.choices(values, weights=shares)[0]


def neighbour(rng: random.Random, teeth: list[str]) -> str | None:
    """A tooth beside those given, in the same jaw, not a wisdom tooth; None where there is none."""
    beside = []
    for tooth in teeth:
        jaw = UPPER if tooth in UPPER else LOWER
        place = jaw.index(tooth)
        beside += [jaw[spot] for spot in (place - 1, place + 1) if 0 <= spot < len(jaw)]
    free = sorted({tooth for tooth in beside if tooth not in teeth and not tooth.endswith("8")})
    return rng.choice(free) if free else None


def teeth_from(rng: random.Random, mix, number: int) -> list[str]:
    """So many neighbouring teeth, the first by the mix."""
    group = pick(rng, [(name, share) for name, (share, _) in mix.items()])
    teeth = [rng.choice(mixes.TEETH[group])]
    while len(teeth) < number and (another := neighbour(rng, teeth)):
        teeth.append(another)
    return teeth


def how_many(rng: random.Random, procedure: str) -> int:
    """Teeth of a case: the mean of the procedure as one, two or three."""
    extra = mixes.SITES.get(procedure, 1.0) - 1
    number = 1
    while number < 3 and rng.random() < extra / (1 + extra):
        number += 1
    return number


def implant_for(rng: random.Random, procedure: str, tooth: str, clinician: str) -> str:
    """Catalogue code of the implant planned at a tooth."""
    if procedure == "DEL" and clinician == "lindqvarn" and rng.random() < 0.4:
        return pick(rng, mixes.LEGACY_SIZES)
    mix = mixes.PLACEMENT[procedure]
    for group, (_, sizes) in mix.items():
        if tooth in mixes.TEETH[group]:
            return mixes.implant_code(pick(rng, sizes))
    return "IMP-CR-43-100"


@dataclass(frozen=True)
class Origins:
    """Origins (human, porcine, bovine) of catalogue items by code, and the fixed items of each procedure."""

    of: dict[str, frozenset[str]]
    fixed: dict[str, frozenset[str]]


def draft_plan(rng: random.Random, visit: Visit, declines: frozenset[str], origins: Origins) -> None:
    """Fill in teeth (where none are set), implants, materials, options and choices of a visit."""
    code = visit.procedure
    if not visit.teeth:
        visit.teeth = tuple(_teeth(rng, code))
    if code in mixes.PLACING and not visit.implants and (code != "SLT" or rng.random() < 0.5):
        visit.implants = {tooth: _implant(rng, visit, tooth) for tooth in visit.teeth}
    if code in mixes.GUIDED:
        visit.guided = rng.random() < mixes.GUIDED[code]
    if code in mixes.USES_GRAFT:
        visit.graft_material = _accepted_graft(pick(rng, mixes.GRAFTS), declines)
    if code in mixes.USES_MEMBRANE:
        membrane = pick(rng, mixes.MEMBRANES)
        visit.membrane_class = "dense ptfe" if "porcine" in declines and "ptfe" not in membrane else membrane
    visit.healing_mm = 3 if rng.random() < 0.65 else 5
    _choose(rng, visit, declines, origins)
    _choose_accepted(visit, declines, origins)


def _choose_accepted(visit: Visit, declines: frozenset[str], origins: Origins) -> None:
    """Plan something else for what the patient declines, where there is something else."""
    for code in sorted(origins.fixed.get(visit.procedure, frozenset())):
        instead = mixes.INSTEAD.get(code)
        if origins.of[code] & declines and instead and not origins.of[instead] & declines:
            visit.choices.append((f"item:{code}", "", instead, 1))


def _teeth(rng: random.Random, code: str) -> list[str]:
    number = how_many(rng, code)
    if code == "FAR":
        return sorted(rng.choice(mixes.FULL_ARCHES)[: 4 + rng.choices((0, 1, 2), weights=(4, 4, 2))[0]])
    if code == "XTR":
        teeth = [rng.choice(MOLARS_WITH_WISDOM)]
        while len(teeth) < number:
            teeth.append(rng.choice([tooth for tooth in MOLARS_WITH_WISDOM if tooth not in teeth]))
        return teeth
    return teeth_from(rng, mixes.PLACEMENT.get(code, mixes.IMMEDIATE), number)


def _implant(rng: random.Random, visit: Visit, tooth: str) -> str:
    if visit.procedure == "FAR":
        return mixes.implant_code(pick(rng, mixes.FULL_ARCH_SIZES))
    return implant_for(rng, visit.procedure, tooth, visit.clinician)


def _accepted_graft(material: str, declines: frozenset[str]) -> str:
    """The material, or another that the patient accepts."""
    origins = {"": "human", "bovine": "bovine", "synthetic": "synthetic"}
    if origins[material] not in declines:
        return material
    return next(other for other, origin in origins.items() if origin not in declines)


def _choose(rng: random.Random, visit: Visit, declines: frozenset[str], origins: Origins) -> None:
    """Decide every option of the plan and every group that the plan settles."""
    code, said = visit.procedure, visit.choices
    for items, share in mixes.OPTIONS.get(code, ()):
        declined = any(origins.of[item] & declines for item in items)
        wanted = int(rng.random() < share and not declined)
        said += [(f"plan:{item}", "", item, wanted) for item in items]
    if code in mixes.CHOICES:
        group, options = mixes.CHOICES[code]
        accepted = [(item, share) for item, share in options if not origins.of[item] & declines]
        said.append((f"group:{group}", "", pick(rng, accepted), 1))
    if code == "FAR":
        said += [("group:FAR-MUA", tooth, pick(rng, mixes.ABUTMENT_ANGLES), 1) for tooth in visit.teeth]
    if code == "SLT":
        placing = int(bool(visit.implants))
        said += [(f"plan:{item}", "", item, placing) for item in ("SET-IMC", "SET-DRV")]
        if not placing:
            said.append(("plan:IMPLANT_PLANNED", "", "", 0))
