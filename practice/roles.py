"""What each role may do. Words, not code names: a view asks for one of these needs."""

from practice.models import Role

Kind = Role.Kind

NEEDS: dict[str, frozenset[str]] = {
    "see": frozenset(Kind.values),
    "plan_case": frozenset({Kind.ASSISTANT, Kind.MANAGER, Kind.CLINICIAN}),
    "set_out": frozenset({Kind.ASSISTANT, Kind.CLINICIAN}),
    "record_surgery": frozenset({Kind.ASSISTANT, Kind.CLINICIAN}),
    "handle_stock": frozenset({Kind.ASSISTANT, Kind.MANAGER}),
    "approve_orders": frozenset({Kind.MANAGER}),
    "decide_holds": frozenset({Kind.MANAGER, Kind.CLINICIAN}),
    "edit_procedures": frozenset({Kind.CLINICIAN}),
    "bring_files": frozenset({Kind.ADMINISTRATOR, Kind.MANAGER, Kind.ASSISTANT}),
    "set_up": frozenset({Kind.ADMINISTRATOR}),
}


def allows(kind: str, need: str) -> bool:
    """Whether a role of this kind may do what the need names; raises KeyError for an unknown need."""
    return kind in NEEDS[need]
