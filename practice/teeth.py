"""Tooth numbers: FDI (ISO 3950) and Universal, permanent and primary. Pure: no Django, no clock.

Inside the program a tooth is always its FDI number as text ("11" to "48", "51" to "85").
What people type and what exports carry is turned into that once, here, and turned back only to be shown.
"""

import re

FDI = "fdi"
UNIVERSAL = "universal"

# Each jaw from the patient's right to the patient's left, as seen from the patient.
UPPER = ("18", "17", "16", "15", "14", "13", "12", "11", "21", "22", "23", "24", "25", "26", "27", "28")
LOWER = ("48", "47", "46", "45", "44", "43", "42", "41", "31", "32", "33", "34", "35", "36", "37", "38")
UPPER_PRIMARY = ("55", "54", "53", "52", "51", "61", "62", "63", "64", "65")
LOWER_PRIMARY = ("85", "84", "83", "82", "81", "71", "72", "73", "74", "75")
_JAWS = (UPPER, LOWER, UPPER_PRIMARY, LOWER_PRIMARY)

# Universal runs along the upper jaw from the right and comes back along the lower jaw from the left:
# 1 to 32 for permanent teeth, A to T for primary teeth (crosswalk of the HL7 dental data exchange guide).
_TO_UNIVERSAL = {
    **{fdi: str(number) for number, fdi in enumerate(UPPER + LOWER[::-1], start=1)},
    **dict(zip(UPPER_PRIMARY + LOWER_PRIMARY[::-1], "ABCDEFGHIJKLMNOPQRST", strict=True)),
}
_FROM_UNIVERSAL = {universal: fdi for fdi, universal in _TO_UNIVERSAL.items()}

_QUADRANTS = {1: "upper right", 2: "upper left", 3: "lower left", 4: "lower right"}
_PERMANENT = (
    "central incisor",
    "lateral incisor",
    "canine",
    "first premolar",
    "second premolar",
    "first molar",
    "second molar",
    "third molar",
)
_PRIMARY = ("central incisor", "lateral incisor", "canine", "first molar", "second molar")

_HASH = re.compile(r"#\s+")
_THROUGH = re.compile(r"\s*(?:[-\N{EN DASH}\N{EM DASH}]|\bto\b)\s*", re.IGNORECASE)
_SEPARATORS = re.compile(r"(?:[\s,;/&+]|\band\b)+", re.IGNORECASE)
_NUMBER = re.compile(r"#?\s*(?:([0-9]{1,2})(?:\.0+)?|([A-Za-z]))", re.ASCII)


class UnknownTooth(ValueError):
    """A text that names no tooth in the numbering it was said to be in.

    ``value`` is the part that could not be read, ``notation`` the numbering it was read in.
    """

    def __init__(self, value: str, notation: str, reason: str = "") -> None:
        self.value = value
        self.notation = notation
        self.reason = reason or f"there is no such tooth in {_NAMES[notation]} numbering"
        super().__init__(f"“{value}” cannot be read as a tooth: {self.reason}.")


class UnknownNotation(ValueError):
    """A tooth numbering that is neither FDI nor Universal."""

    def __init__(self, notation: str) -> None:
        self.notation = notation
        super().__init__(f"“{notation}” is not a tooth numbering; use “{FDI}” or “{UNIVERSAL}”.")


_NAMES = {FDI: "FDI", UNIVERSAL: "Universal"}


def is_tooth(fdi: str) -> bool:
    """Whether the text is the FDI number of a permanent or primary tooth (ISO 3950 digit ranges)."""
    return fdi in _TO_UNIVERSAL


def is_primary(fdi: str) -> bool:
    """Whether the tooth is a primary (milk) tooth. Raises UnknownTooth for anything but an FDI number."""
    return _known(fdi)[0] in "5678"


def is_upper(fdi: str) -> bool:
    """Whether the tooth stands in the upper jaw. Raises UnknownTooth for anything but an FDI number."""
    return _known(fdi)[0] in "1256"


def kind(fdi: str) -> str:
    """What sort of tooth it is, without its side: "first premolar", "primary first molar"."""
    position = int(_known(fdi)[1]) - 1
    return f"primary {_PRIMARY[position]}" if is_primary(fdi) else _PERMANENT[position]


def spoken(fdi: str) -> str:
    """The tooth in words, as it is said in the room: "upper right first premolar"."""
    quadrant = int(_known(fdi)[0])
    return f"{_QUADRANTS[(quadrant - 1) % 4 + 1]} {kind(fdi)}"


def read_tooth(text: str, notation: str) -> str:
    """One tooth as typed ("#4", "04", "4.0" from a spreadsheet, "k") as its FDI number.

    Raises UnknownTooth with the text as it was given, or UnknownNotation.
    """
    notation = _notation(notation)
    found = _NUMBER.fullmatch(text.strip())
    if found is None:
        raise UnknownTooth(text.strip(), notation)
    digits, letter = found.groups()
    if notation == FDI:
        fdi = digits or ""
    else:
        fdi = _FROM_UNIVERSAL.get(str(int(digits)) if digits else letter.upper(), "")
    if not is_tooth(fdi):
        raise UnknownTooth(text.strip(), notation)
    return fdi


def read_teeth(text: str, notation: str) -> tuple[str, ...]:
    """A list of teeth as exports have them ("#11, #20", "11; 21", "4 and 8", "#4-#7") as FDI numbers.

    Order is kept and a tooth named twice is kept once; an empty text gives no teeth. A range runs along one
    jaw in the order of that jaw. Raises UnknownTooth naming the first part that cannot be read.
    """
    notation = _notation(notation)
    teeth: dict[str, None] = {}
    for part in _SEPARATORS.split(_THROUGH.sub("-", _HASH.sub("#", text))):
        if part:
            teeth.update(dict.fromkeys(_read_part(part, notation)))
    return tuple(teeth)


def show(fdi: str, notation: str) -> str:
    """The tooth's number in the numbering a clinic reads: show("14", "universal") is "5"."""
    notation = _notation(notation)
    return _known(fdi) if notation == FDI else _TO_UNIVERSAL[_known(fdi)]


def show_teeth(teeth: tuple[str, ...] | list[str], notation: str) -> str:
    """Several teeth in one line, separated by commas, in the numbering a clinic reads."""
    return ", ".join(show(fdi, notation) for fdi in teeth)


def _read_part(part: str, notation: str) -> tuple[str, ...]:
    """One part between separators: a tooth, or a range of them."""
    start_text, dash, stop_text = part.partition("-")
    if not dash:
        return (read_tooth(part, notation),)
    if not (start_text and stop_text):
        raise UnknownTooth(part, notation, "a range needs a tooth at both ends")
    first, last = read_tooth(start_text, notation), read_tooth(stop_text, notation)
    for jaw in _JAWS:
        if first in jaw and last in jaw:
            start, stop = jaw.index(first), jaw.index(last)
            return jaw[start : stop + 1] if start <= stop else jaw[stop : start + 1][::-1]
    raise UnknownTooth(part, notation, "a range of teeth has to stay in one jaw")


def _known(fdi: str) -> str:
    if not is_tooth(fdi):
        raise UnknownTooth(fdi, FDI)
    return fdi


def _notation(notation: str) -> str:
    lowered = notation.lower()
    if lowered not in _NAMES:
        raise UnknownNotation(notation)
    return lowered
