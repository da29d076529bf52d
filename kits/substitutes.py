"""May this stand in for that? The rules a practice signs, as far as an assistant may use them. Pure.

Only three swaps are an assistant's own: a larger sheet of the same membrane class, trimmed; vials of the same
graft material that hold at least as much; and the same irrigant in other bottles. Everything else names who
has to decide. A human, animal or synthetic material never replaces another kind silently.
"""

import re
from dataclasses import dataclass
from math import ceil
from typing import Any

_MILLILITRES = re.compile(r"(\d+(?:\.\d+)?) ?mL\b", re.IGNORECASE)
_APPROVERS = {"clinician": "the clinician decides", "never": "it is never allowed"}


@dataclass(frozen=True)
class Verdict:
    """Whether one item may stand in for another.

    ``quantity``: units of the offered item for one unit of the wanted one. ``sentence``: the rule that allows
    it, or why not and who decides.
    """

    allowed: bool
    quantity: int
    sentence: str


def verdict(wanted: Any, offered: Any) -> Verdict:
    """Judge one item offered in place of another."""
    group = wanted.substitution_group
    if not group or group != offered.substitution_group:
        return Verdict(False, 0, f"{offered.name} is no substitute for {wanted.name}.")
    if group.startswith("MEM-"):
        return _sheet(wanted, offered)
    if group.startswith("GRAFT-") and wanted.volume_cc and offered.volume_cc:
        return _by_volume(wanted, offered, float(wanted.volume_cc), float(offered.volume_cc), "vial")
    if group == "SALINE" and _millilitres(wanted) and _millilitres(offered):
        return _by_volume(wanted, offered, _millilitres(wanted), _millilitres(offered), "bottle")
    return Verdict(False, 0, _who(wanted, offered))


def _sheet(wanted: Any, offered: Any) -> Verdict:
    if not (wanted.width_mm and offered.width_mm):
        return Verdict(False, 0, _who(wanted, offered))
    need = sorted((wanted.width_mm, wanted.height_mm))
    have = sorted((offered.width_mm, offered.height_mm))
    if have[0] < need[0] or have[1] < need[1]:
        return Verdict(False, 0, f"{offered.name} is smaller than the sheet that is needed; never allowed.")
    if wanted.substitution_approver != "assistant":
        return Verdict(False, 0, _who(wanted, offered))
    return Verdict(True, 1, "A larger sheet of the same class, to be trimmed; the rest is discarded.")


def _by_volume(wanted: Any, offered: Any, need: float, have: float, pack: str) -> Verdict:
    if wanted.substitution_approver != "assistant":
        return Verdict(False, 0, _who(wanted, offered))
    quantity = ceil(need / have - 1e-9)
    if quantity == 1:
        return Verdict(True, 1, f"A larger {pack} of the same; what is left over is discarded.")
    return Verdict(True, quantity, f"{quantity} {pack}s of the same hold at least as much.")


def _millilitres(item: Any) -> float:
    found = _MILLILITRES.search(f"{item.spec} {item.name}")
    return float(found[1]) if found else 0.0


def _who(wanted: Any, offered: Any) -> str:
    rule = wanted.substitution_rule.strip().rstrip(".")
    said = f" The rule says: {rule}." if rule else ""
    who = _APPROVERS.get(wanted.substitution_approver, "ask the clinician, or the wearer for gloves")
    return f"Whether {offered.name} may replace {wanted.name}: {who}.{said}"
