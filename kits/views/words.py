"""Rows of a case in the words of its pages: names and sizes, states, teeth as the clinic numbers them."""

import re
from collections.abc import Iterable, Sequence
from typing import Any

from kits.models import Case
from kits.pick_values import DECIDE, DONE, ON_ORDER, ON_USE, SHORT, TODO, PickLine
from practice.models import Clinic
from practice.teeth import show, spoken

# A name longer than this is shortened; what is cut off stands beneath it. Unit: characters.
LONGEST_NAME = 58
_BRACKETS = re.compile(r" \(([^()]*)\)$")
# Notes of a bill that name findings by code, or sections of a file, say nothing to the person at the tray.
_CODED = re.compile(
    r"\bF-[A-Z0-9]+\b|\bPLAN\b|\bsection \d|\bshare \d|\bprobability\b|\bone of the group\b"
    r"|\b0\.\d|\b(?:SKG|GBRX|IMM|DELG?|SCR|SLT|RDG|CTG|FAR)\b"
)
_SMALL_WORDS = re.compile(r"\b(?:the|than|and|for|are|was|has|had|been|that|with|when|once|after)\b")
_SHAPES = {DONE: "done", SHORT: "stop", DECIDE: "waiting", ON_USE: "", ON_ORDER: "waiting"}


def name_and_rest(name: str) -> tuple[str, str]:
    """A long catalogue name as what it is and the rest of its description; a short one as it stands.

    Where only the first words fit, the size at the end of the name stays with them.
    """
    bracket = ""
    if len(name) > LONGEST_NAME and (found := _BRACKETS.search(name)):
        name, bracket = name[: found.start()], found[1]
    parts = name.split(", ")
    kept = 1
    while kept < len(parts) and len(", ".join(parts[: kept + 1])) <= LONGEST_NAME:
        kept += 1
    head, rest = parts[:kept], parts[kept:]
    if kept == 1 and len(rest) > 1 and any(sign.isdigit() for sign in rest[-1]):
        head.append(rest.pop())
    return ", ".join(head), ", ".join([*rest, bracket] if bracket else rest)


def plain_note(note: str) -> str:
    """The parts of a note that are words for people."""
    parts = [part.strip() for part in note.split(";")]
    return "; ".join(part for part in parts if part and not _CODED.search(part))


def without_echo(note: str, heading: str) -> str:
    """A note without the parts that only say again what the heading above it says."""
    told = _said_by(heading)
    kept = []
    for part in note.split("; "):
        lead, colon, rest = part.partition(": ")
        if colon and _is_echo(lead, told):
            kept.append(rest)
        elif not _is_echo(part, told):
            kept.append(part)
    return "; ".join(kept)


def _said_by(text: str) -> set[str]:
    """The words of a text that carry its meaning."""
    return set(re.findall(r"[a-z]{3,}", _SMALL_WORDS.sub("", text.lower())))


def _is_echo(part: str, told: set[str]) -> bool:
    words = _said_by(part)
    return bool(words) and words <= told


def teeth_shown(case: Case) -> list[dict[str, str]]:
    """The tooth sites of a case as the clinic numbers them, with their words."""
    return [tooth_shown(site.tooth, case.clinic) for site in case.sites.all()]


def tooth_shown(tooth: str, clinic: Clinic) -> dict[str, str]:
    """One tooth (FDI) as the clinic numbers it, and in words."""
    return {"number": show(tooth, clinic.tooth_notation), "spoken": spoken(tooth)}


def heading_of(text: str, tooth: str, clinic: Clinic) -> str:
    """A pouch heading with its tooth as the clinic numbers it."""
    return text.replace(f" at {tooth}", f" at {show(tooth, clinic.tooth_notation)}") if tooth else text


def line_words(line: PickLine, clinic: Clinic, *, with_tooth: bool = True) -> dict[str, Any]:
    """One tray line as templates/ui/line.html takes it, without its addresses."""
    name, rest = name_and_rest(line.description)
    lots, place, expiry = _where(line)
    tooth = f"at {show(line.tooth, clinic.tooth_notation)}" if line.tooth and with_tooth else ""
    note = "; ".join(part for part in (rest, tooth, plain_note(line.note), line.unresolved) if part)
    return {
        "key": line.key,
        "id": f"line-{re.sub(r'[^A-Za-z0-9]+', '-', line.key)}",
        "name": name,
        "quantity": None if line.item is not None and line.item.is_set else line.quantity,
        "note": note,
        "state": "thin" if line.shared and line.state == TODO else _SHAPES.get(line.state, ""),
        "word": _word(line),
        "lot": lots,
        "place": place,
        "expiry": expiry,
        "done": line.state == DONE,
    }


def _word(line: PickLine) -> str:
    if line.shared and line.state != DONE:
        return "shared reserve"
    return line.word if line.state in (SHORT, DECIDE) or line.coming else ""


def _where(line: PickLine) -> tuple[str, str, Any]:
    """Lot, place and expiry: of what lies on the tray, else of what to fetch."""
    lots = [unit.lot for unit in line.units] or [part.lot for part in line.parts]
    if not lots:
        return "", "", None
    named = _several([lot.shown for lot in lots if lot.shown != "no lot"])
    places = [] if line.units else [str(part.place) for part in line.parts]
    dates = [lot.expires_on for lot in lots if lot.expires_on is not None]
    return named, _several(places), min(dates, default=None)


def _several(words: Sequence[str]) -> str:
    different = list(dict.fromkeys(words))
    if len(different) <= 2:
        return ", ".join(different)
    return f"{different[0]} and {len(different) - 1} more"


def count_of(lines: Iterable[PickLine]) -> str:
    """How many of some lines lie ready: "14 of 19"."""
    lines = list(lines)
    return f"{sum(line.state == DONE for line in lines)} of {len(lines)}"
