"""Models of the kits layer. Inside: procedures ← boms ← cases ← trays."""

from kits.models.boms import BomLine, BomVersion
from kits.models.cases import Case, CaseFinding, CaseProcedure, CaseSite, FileBooking, PlanChoice
from kits.models.procedures import Finding, Preference, Procedure, ProcedureFinding
from kits.models.trays import TrayLine, TrayUnit

__all__ = [
    "BomLine",
    "BomVersion",
    "Case",
    "CaseFinding",
    "CaseProcedure",
    "CaseSite",
    "FileBooking",
    "Finding",
    "PlanChoice",
    "Preference",
    "Procedure",
    "ProcedureFinding",
    "TrayLine",
    "TrayUnit",
]
