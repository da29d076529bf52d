"""The plan of a case as plain values: what slots and requirements are worked out from. Pure: no Django.

Items are whatever the catalogue holds; only their facts are read (``code``, ``connection`` and so on).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import pairwise
from typing import Any

from practice.teeth import LOWER, UPPER, is_tooth

# Words people may write for a material, and the code of its family in the catalogue.
GRAFT_WORDS = {
    "allograft": "AL",
    "human": "AL",
    "bovine": "XB",
    "xenograft": "XB",
    "synthetic": "SY",
    "putty": "PT",
    "demineralised": "DM",
}
MEMBRANE_WORDS = {
    "collagen": "RC",
    "long-lasting collagen": "RX",
    "dense ptfe": "PT",
    "reinforced ptfe": "TR",
    "amnion": "AM",
    "pericardium": "PC",
}


@dataclass(frozen=True)
class SitePlan:
    """One tooth site (FDI) of a case: its implant, planned or in place, and its measures (mm, cc)."""

    id: int | None
    tooth: str
    implant: Any = None
    longest_safe_mm: Decimal | None = None
    widest_safe_mm: Decimal | None = None
    healing_height_mm: int = 3
    connection_in_place: str = ""
    defect_width_mm: Decimal | None = None
    defect_height_mm: Decimal | None = None
    graft_cc: Decimal | None = None

    @property
    def connection(self) -> str:
        """Connection that decides every part: of the planned implant, else of the one in place."""
        return self.implant.connection if self.implant is not None else self.connection_in_place


@dataclass(frozen=True)
class Plan:
    """Everything the requirements of a case depend on, but the bill itself.

    ``choices``: (subject, site id or None) -> ((item or None, quantity), ...), decided by a person.
    ``known``: (finding code, site id or None) -> present, from imaging, plan or surgery.
    ``clinician_prefers`` / ``assistant_prefers``: slot -> item of their preference cards.
    """

    case_code: str
    patient: str
    sites: tuple[SitePlan, ...] = ()
    declined: frozenset[str] = frozenset()
    graft_material: str = ""
    membrane_class: str = ""
    guided: bool | None = None
    choices: Mapping[tuple[str, int | None], tuple[tuple[Any, int], ...]] = field(default_factory=dict)
    known: Mapping[tuple[str, int | None], bool] = field(default_factory=dict)
    clinician: str = ""
    assistant: str = ""
    clinician_prefers: Mapping[str, Any] = field(default_factory=dict)
    assistant_prefers: Mapping[str, Any] = field(default_factory=dict)

    def chosen(self, subject: str, site_id: int | None) -> tuple[tuple[Any, int], ...]:
        """What a person chose for a subject at a site, else for the whole case, else nothing."""
        return self.choices.get((subject, site_id)) or self.choices.get((subject, None)) or ()

    def declines(self, item: Any) -> frozenset[str]:
        """Origins of the item that the patient declines."""
        return item.origins & self.declined


def neighbours(first: str, second: str) -> bool:
    """Whether two teeth (FDI) stand side by side in one jaw."""
    for jaw in (UPPER, LOWER):
        if first in jaw and second in jaw:
            return abs(jaw.index(first) - jaw.index(second)) == 1
    return False


def segments(sites: tuple[SitePlan, ...]) -> list[tuple[SitePlan, ...]]:
    """Sites grouped into runs of neighbouring teeth: one ridge segment each."""
    jaw_order = {tooth: place for place, tooth in enumerate(UPPER + LOWER)}
    ordered = sorted(sites, key=lambda site: jaw_order.get(site.tooth, 99))
    runs: list[list[SitePlan]] = [[site] for site in ordered[:1]]
    for before, after in pairwise(ordered):
        if neighbours(before.tooth, after.tooth):
            runs[-1].append(after)
        else:
            runs.append([after])
    return [tuple(run) for run in runs]


def sinuses(sites: tuple[SitePlan, ...]) -> list[tuple[SitePlan, ...]]:
    """Sites grouped by side: the teeth of one side share one sinus."""
    right = tuple(site for site in sites if site.tooth[:1] in "1458")
    left = tuple(site for site in sites if site not in right)
    return [group for group in (right, left) if group]


def arches(sites: tuple[SitePlan, ...]) -> list[tuple[SitePlan, ...]]:
    """Sites grouped by jaw."""
    upper = tuple(site for site in sites if is_tooth(site.tooth) and site.tooth[0] in "1256")
    lower = tuple(site for site in sites if site not in upper)
    return [group for group in (upper, lower) if group]
