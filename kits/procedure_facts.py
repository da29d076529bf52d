"""What each procedure is called for short, how long it takes, and how its plan starts. Pure data.

Minutes are the upper end of the chair times of common practice, numbing included. Graft volumes are
starting points for what to have in the room until somebody measures; the clinician decides.
"""

from dataclasses import dataclass
from decimal import Decimal

SURGERY, VISIT = "surgery", "visit"

# What one "site" of the bill means for a procedure.
TOOTH, SINUS = "tooth", "sinus"

# Ways to work out the graft of a site nobody has measured.
SOCKET, SOCKET_AND_PLATE, GAP = "socket", "socket and facial plate", "gap around an implant"

_SOCKET_SEEN = "When the socket has been inspected"
_DEFECT_MEASURED = "When the defect has been measured"
_BED_CHECKED = "When the implant bed has been checked"
_IMPLANT_FIRM = "When the implant sits firmly"
_LIFT_TESTED = "When the sinus membrane has been tested"


@dataclass(frozen=True)
class ProcedureFacts:
    """Facts of one procedure code.

    ``graft``: one of the ways above, or a volume in cc. ``checkpoints``: what must be seen before a sealed
    line is opened, by kind of material ("implant", "graft", "membrane", "part", "" for anything else).
    """

    short_name: str
    minutes: int
    kind: str = SURGERY
    site_is: str = TOOTH
    graft: str | Decimal = Decimal("0.5")
    checkpoints: tuple[tuple[str, str], ...] = ()


_IMPLANT_CHECKS = (
    ("implant", _BED_CHECKED),
    ("graft", _IMPLANT_FIRM),
    ("membrane", _DEFECT_MEASURED),
    ("part", _IMPLANT_FIRM),
)

PROCEDURES: dict[str, ProcedureFacts] = {
    "XTR": ProcedureFacts("Extraction", 45, graft=SOCKET),
    "SKG": ProcedureFacts(
        "Extraction + socket graft",
        75,
        graft=SOCKET,
        checkpoints=(("graft", _SOCKET_SEEN), ("membrane", _DEFECT_MEASURED)),
    ),
    "GBRX": ProcedureFacts(
        "Extraction + planned bone regeneration",
        90,
        graft=SOCKET_AND_PLATE,
        checkpoints=(("graft", _SOCKET_SEEN), ("membrane", _DEFECT_MEASURED)),
    ),
    "IMM": ProcedureFacts("Extraction + immediate implant", 105, graft=GAP, checkpoints=_IMPLANT_CHECKS),
    "DEL": ProcedureFacts("Implant placement", 60, graft=Decimal("0.25"), checkpoints=_IMPLANT_CHECKS),
    "DELG": ProcedureFacts("Implant placement + bone regeneration", 90, checkpoints=_IMPLANT_CHECKS),
    # Published means: 0.2 mL lifts the floor by 5 mm, 0.3 mL by 6 mm (trade reference 4.5).
    "SCR": ProcedureFacts(
        "Crestal sinus lift + implant", 90, graft=Decimal("0.25"), checkpoints=_IMPLANT_CHECKS
    ),
    "SLT": ProcedureFacts(
        "Lateral sinus lift",
        135,
        site_is=SINUS,
        graft=Decimal("2.0"),
        checkpoints=(("implant", _BED_CHECKED), ("graft", _LIFT_TESTED), ("membrane", _LIFT_TESTED)),
    ),
    "RDG": ProcedureFacts(
        "Ridge augmentation",
        150,
        graft=Decimal("1.0"),
        checkpoints=(("", _DEFECT_MEASURED),),
    ),
    "CTG": ProcedureFacts("Connective-tissue graft", 90),
    "FAR": ProcedureFacts("Full arch", 300, graft=Decimal("1.0"), checkpoints=_IMPLANT_CHECKS),
    "PIR": ProcedureFacts("Peri-implantitis repair", 90),
    "IRM": ProcedureFacts("Implant removal", 75, graft=SOCKET),
    "2ND": ProcedureFacts("Uncovering", 40),
    "V-SRM": ProcedureFacts("Suture removal", 20, VISIT),
    "V-MBR": ProcedureFacts("Membrane removal", 30, VISIT),
    "V-IMP": ProcedureFacts("Scan or impression", 45, VISIT),
    "V-DLV": ProcedureFacts("Crown delivery", 60, VISIT),
    "V-MNT": ProcedureFacts("Implant maintenance", 45, VISIT),
}

DEFAULT = ProcedureFacts("", 60)


def facts_of(code: str) -> ProcedureFacts:
    """Facts of a procedure code; an unknown code gets the defaults."""
    return PROCEDURES.get(code, DEFAULT)


def checkpoint_for(procedure_code: str, material: str) -> str:
    """What must be seen before a sealed line of this kind of material is opened, as a heading."""
    checks = dict(facts_of(procedure_code).checkpoints)
    return checks.get(material) or checks.get("") or "On the clinician's word"


# Procedures in which an implant may be placed: their parts follow from the implant that is planned.
_PLACING = frozenset({"IMM", "DEL", "DELG", "SCR", "SLT", "FAR"})


def places_implants(code: str) -> bool:
    """Whether the procedure places implants, so that an unknown platform means an implant to choose."""
    return code in _PLACING
