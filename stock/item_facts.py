"""What a catalogue row says about an item in words, as facts: sizes, volumes, origin of the rule's approver.

Text in, facts out; the database is not asked. Only what stands in the text is taken; what does not fit
stays empty.
"""

import re
from decimal import Decimal

SIZE = re.compile(r"(\d+(?:\.\d+)?) ?[x×] ?(\d+(?:\.\d+)?)(?: ?[x×] ?\d+(?:\.\d+)?)? ?mm", re.IGNORECASE)
CONNECTION = re.compile(r"\(([A-Z]{2})\)")
HEIGHT = re.compile(r"\bh ?(\d+(?:\.\d+)?)\b|\b(\d+(?:\.\d+)?) ?mm tall\b", re.IGNORECASE)
CC = re.compile(r"(\d+(?:\.\d+)?) ?cc\b", re.IGNORECASE)
GRAMS = re.compile(r"(\d+(?:\.\d+)?) ?(m?g)\b(?! ?per)", re.IGNORECASE)
# "planning figure 0.5 g per cc" is a density, neither the mass nor the volume of this item.
DENSITY = re.compile(r"\d+(?:\.\d+)? ?g per ?(?:\d+(?:\.\d+)? ?)?cc", re.IGNORECASE)
THREAD = re.compile(r"\b(\d{1,2}-0)\b")
OWNED = re.compile(r"\bowns (\d+)\b", re.IGNORECASE)

LASTING = re.compile(r"non-?resorbable|non-?absorbable|ptfe|polypropylene|nylon|silk|titanium", re.IGNORECASE)
RESORBING = re.compile(
    r"resorbable|absorbable|collagen|amnion|pericardium|gut\b|polygly|cross-linked", re.IGNORECASE
)

ASSISTANT, CLINICIAN, NEVER = "assistant", "clinician", "never"
# The same material in another size that covers the need; practices let the assistant decide and log it.
SAME_MATERIAL = re.compile(
    r"same material: two smaller|may be trimmed down|two \d[\d.]* for one|same type", re.IGNORECASE
)
CLINICIAN_WORDS = re.compile(r"clinician|sign-?off|consent|judgement|prescription", re.IGNORECASE)
CLINICIAN_CONFIRMS = re.compile(r"clinician confirms", re.IGNORECASE)
NOTHING = re.compile(r"\s*(none\b|other platform never\s*$|never\b)", re.IGNORECASE)

OUTSIDE_THE_PATIENT = frozenset(
    {"ppe", "disposable", "sterilisation", "irrigation", "instrument set (reusable)", "sharp"}
)
WITH_SIZE = frozenset({"membrane", "soft tissue matrix", "collagen dressing"})
WITH_PLATFORM = frozenset({"implant", "healing and cover", "prosthetic"})
# The widest implants are kept to rescue a case and hardly ever planned (common practice).
RESCUE_DIAMETER_MM = Decimal("6.0")
RESCUE_SHEET_MM = (Decimal(30), Decimal(40))


def size_facts(*, name: str, spec: str, category: str, group: str = "") -> dict:
    """Facts of size by kind, under the names of the Item model; millimetres, cc and grams.

    Implants: diameter_mm, length_mm, connection. Parts on an implant: connection, height_mm. Sheets: width_mm
    and height_mm. Grafts: volume_cc and mass_g, separate facts of the label that are never worked out from
    each other. Gloves and threads: size_label. Membranes and threads: resorbable. Sets: sets_owned.
    """
    kind = category.casefold()
    text = f"{spec}; {name}"
    facts: dict = {}
    if kind in WITH_PLATFORM:
        facts |= _platform(text, kind)
    if kind in WITH_SIZE:
        found = SIZE.search(text)
        if found:
            facts |= {"width_mm": Decimal(found[1]), "height_mm": Decimal(found[2])}
    if kind == "bone graft" and group.upper().startswith("GRAFT"):
        facts |= _amounts(text)
    if kind == "suture":
        thread = THREAD.search(text)
        facts |= {"size_label": thread[1]} if thread else {}
    if group.upper().startswith("GLOVE"):
        facts["size_label"] = spec.strip()
    if kind in {"membrane", "suture"}:
        facts["resorbable"] = _resorbs(text)
    owned = OWNED.search(spec)
    return facts | ({"sets_owned": int(owned[1])} if owned else {})


def _platform(text: str, kind: str) -> dict:
    facts: dict = {}
    connection = CONNECTION.search(text)
    if connection:
        facts["connection"] = connection[1]
    size, height = SIZE.search(text), HEIGHT.search(text)
    if kind == "implant" and size:
        facts |= {"diameter_mm": Decimal(size[1]), "length_mm": Decimal(size[2])}
    elif kind == "healing and cover" and height:
        facts["height_mm"] = Decimal(height[1] or height[2])
    return facts


def _amounts(text: str) -> dict:
    text = DENSITY.sub("", text)
    facts = {}
    volume, mass = CC.search(text), GRAMS.search(text)
    if volume:
        facts["volume_cc"] = Decimal(volume[1])
    if mass:
        facts["mass_g"] = Decimal(mass[1]) / (1000 if mass[2].casefold() == "mg" else 1)
    return facts


def _resorbs(text: str) -> bool | None:
    if LASTING.search(text):
        return False
    return True if RESORBING.search(text) else None


def approver_of(rule: str, *, category: str) -> str:
    """Who a substitution rule needs: "assistant" (logged), "clinician" or "never"; a guess from its words.

    Another size of the same material is the assistant's; whatever names a clinician, consent or a
    prescription is the clinician's; a rule that allows nothing is "never". Else the assistant decides about
    what stays outside the patient, and the clinician about everything that does not.
    """
    if CLINICIAN_CONFIRMS.search(rule):
        return CLINICIAN
    if SAME_MATERIAL.search(rule):
        return ASSISTANT
    if CLINICIAN_WORDS.search(rule):
        return CLINICIAN
    if NOTHING.match(rule) or not rule.strip():
        return NEVER
    return ASSISTANT if category.casefold() in OUTSIDE_THE_PATIENT else CLINICIAN


def is_rescue(*, category: str, facts: dict) -> bool:
    """Whether one piece should always lie ready although it is hardly ever planned.

    Implants of 6 mm and wider, and the largest resorbable sheet (30 x 40 mm): common practice.
    """
    kind = category.casefold()
    if kind == "implant":
        return facts.get("diameter_mm", Decimal(0)) >= RESCUE_DIAMETER_MM
    sheet = (facts.get("width_mm"), facts.get("height_mm"))
    return kind == "membrane" and facts.get("resorbable") is True and sheet == RESCUE_SHEET_MM
