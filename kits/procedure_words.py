"""What practices call procedures in their calendars, and what those words mean here.

The words are common usage of the trade, in English with its usual short forms
(common practice, from memory). What stands here is a first reading that an import shows to people; a clinic's
own remembered meanings and a mapping come first. Words that fit two procedures are left out on purpose.
"""

import re

WORDS: dict[str, tuple[str, ...]] = {
    "XTR": (
        *(
            "extraction",
            "simple extraction",
            "surgical extraction",
            "surg ext",
            "surg extraction",
            "simple xt",
        ),
        *("xt", "ext", "exo", "surgical xt", "tooth removal", "tooth extraction", "extractions"),
    ),
    "SKG": (
        *("socket preservation", "socket pres", "socket graft", "ridge preservation", "ext + socket graft"),
        *(
            "extraction + socket graft",
            "extraction with bone graft",
            "extraction w/ bone graft",
            "ext + graft",
        ),
        *("ext w/ graft", "extraction and graft", "arp", "alveolar ridge preservation"),
    ),
    "GBRX": ("extraction + gbr", "ext + gbr", "extraction with gbr", "extraction w/ gbr", "xt + gbr"),
    "IMM": (
        *("immediate implant", "ext + immediate impl.", "extraction + immediate implant", "imm impl", "imm"),
        *("xt/imm impl", "ext/immediate implant", "immediate implant placement", "immediate placement"),
    ),
    "DEL": (
        *("implant placement", "impl placement", "implant stage 1", "stage 1", "1st stage", "first stage"),
        *("implant", "implant surgery", "place implant", "delayed implant", "implant stage one"),
    ),
    "DELG": (
        *(
            "implant + gbr",
            "implant placement w/ bone graft & membrane",
            "implant with gbr",
            "implant w/ gbr",
        ),
        *("implant placement + gbr", "implant + bone graft", "implant placement w/ bone graft", "impl + gbr"),
    ),
    "SCR": (
        *(
            "crestal sinus lift",
            "crestal sinus lift + implant",
            "internal sinus lift",
            "osteotome sinus lift",
        ),
        *("sinus bump", "transcrestal sinus lift"),
    ),
    "SLT": (
        *("lateral sinus lift", "lateral window", "sinus lift lateral", "lateral window sinus lift"),
        *("sinus augmentation lateral", "open sinus lift"),
    ),
    "RDG": (
        *("ridge augmentation", "ridge aug", "staged ridge augmentation", "block graft", "bone augmentation"),
        *("staged gbr",),
    ),
    "CTG": (
        "ct graft",
        "ctg",
        "connective tissue graft",
        "connective-tissue graft",
        "soft tissue graft",
        "sctg",
    ),
    "FAR": (
        *(
            "full arch",
            "full arch implants",
            "full-arch implants",
            "full arch immediate",
            "full arch surgery",
        ),
        *("full arch conversion",),
    ),
    "PIR": ("peri-implantitis surgery", "peri-implantitis repair", "periimplantitis surgery", "pi surgery"),
    "IRM": ("implant removal", "remove implant", "explantation", "implant explant", "impl removal"),
    "2ND": (
        *("2nd stage uncover", "second stage", "2nd stage", "stage 2", "uncovering", "uncover"),
        *("implant uncovering", "second-stage uncovering", "implant stage 2", "stage two"),
    ),
    "V-SRM": (
        *(
            "suture removal",
            "sr",
            "post-op / sr",
            "post-op",
            "post op",
            "post-op check",
            "postop",
            "po check",
        ),
        *("suture removal / post-op check", "post-op visit", "stitches out", "remove sutures"),
    ),
    "V-MBR": ("membrane removal", "remove membrane", "ptfe removal", "non-resorbable membrane removal"),
    "V-IMP": (
        *(
            "scan for crown",
            "impl impression",
            "implant impression",
            "implant scan",
            "impression",
            "final scan",
        ),
        *("scan or impression", "intraoral scan implant", "impl scan"),
    ),
    "V-DLV": (
        *("seat implant crown", "crown seat", "implant crown delivery", "crown delivery", "deliver crown"),
        *("abutment + crown delivery", "insert implant crown", "implant crown seat", "crown insert"),
    ),
    "V-MNT": (
        "implant maintenance",
        "implant recall",
        "implant hygiene",
        "implant check",
        "maintenance implant",
    ),
}
# What stands in calendars and is no treatment.
NOT_TREATMENT = frozenset(
    (
        *(
            "team meeting",
            "meeting",
            "staff meeting",
            "lunch",
            "break",
            "blocked",
            "block",
            "admin",
            "training",
        ),
        *("holiday", "vacation", "closed", "out of office", "hold", "cpd", "huddle", "morning huddle"),
    )
)
CLOSED = re.compile(r"closed|closure|holiday|vacation|practice shut|no surgery", re.IGNORECASE)


def plain(words: str) -> str:
    """Words without case, full stops, doubled blanks and blanks round signs: "Ext + Impl." is "ext+impl"."""
    text = " ".join(words.casefold().replace(".", " ").split())
    text = text.replace(" with ", " w/ ").replace(" and ", " & ")
    return re.sub(r"\s*([+/&-])\s*", r"\1", text).strip()


_BY_WORDS = {plain(words): code for code, many in WORDS.items() for words in (*many, code)}
_NOT_TREATMENT = frozenset(map(plain, NOT_TREATMENT))


def code_of(words: str) -> str | None:
    """The code of the procedure those words name, or None; "w/" and "with", signs and case do not matter."""
    return _BY_WORDS.get(plain(words))


def is_no_treatment(words: str) -> bool:
    """Whether the words name something in a calendar that is no treatment (a meeting, a break)."""
    return plain(words) in _NOT_TREATMENT


def says_closed(words: str) -> bool:
    """Whether an all-day entry with those words means that the clinic is closed."""
    return CLOSED.search(words) is not None
