"""Every constraint of the kits tables bites, also where rows are written in bulk."""

import pytest

from kits.models import (
    BomLine,
    BomVersion,
    Case,
    CaseFinding,
    CaseProcedure,
    CaseSite,
    FileBooking,
    Finding,
    PlanChoice,
    Preference,
    Procedure,
    ProcedureFinding,
    TrayLine,
    TrayUnit,
)
from tests import builders
from tests.builders import NOW, TODAY
from tests.bulk_writing import accepts, refuses

pytestmark = pytest.mark.django_db


@pytest.fixture
def rows(cast):
    """The values of one more good row of each table, by model, and a few things to tell apart by."""
    procedure = Procedure.objects.create(code="SKG", name="Socket graft", short_name="Socket graft")
    finding = Finding.objects.create(code="F-FPM", name="Plate missing", condition="If it is missing")
    version = BomVersion.objects.create(procedure=procedure, number=1, state="published", created_at=NOW)
    facts = {"clinic": cast.clinic, "patient": cast.patient, "on": TODAY, "starts_at": NOW}
    facts |= {"booked_at": NOW, "changed_at": NOW}
    case = Case.objects.create(code="C-1", external_id="X1", **facts)
    return {
        "another_finding": Finding.objects.create(code="F-CYST", name="Cyst", condition="If there is one"),
        "another_case": Case.objects.create(code="C-9", **facts),
        "another_clinic": cast.other_clinic,
        Procedure: {"code": "NEW", "name": "New", "short_name": "New"},
        Finding: {"code": "F-NEW", "name": "New", "condition": "If new"},
        ProcedureFinding: {"procedure": procedure, "finding": finding, "chance": 0.5},
        Preference: {"user": cast.clinician, "slot": "GLOVE", "item": cast.gloves},
        BomVersion: {"procedure": procedure, "number": 2, "state": "draft", "created_at": NOW},
        BomLine: _bill_line(version, cast.gauze),
        Case: {"code": "C-2", **facts},
        CaseProcedure: {"case": case, "procedure": procedure, "version": version},
        CaseSite: {"case": case, "tooth": "12"},
        **_of_case(case, finding, cast),
    }


def _bill_line(version, item) -> dict:
    line = {"version": version, "position": 1, "item": item, "slot": "", "description": "Gauze"}
    rest = {"basis": "case", "quantity": 1, "unit": "each", "certain": True, "probability": 1}
    return line | rest | {"set_out": "open"}


def _of_case(case, finding, cast) -> dict:
    site = CaseSite.objects.create(case=case, tooth="11")
    facts = {"case": case, "item": cast.gauze, "description": "Gauze", "quantity": 1, "certain": True}
    facts["set_out"] = "open"
    line = TrayLine.objects.create(position=1, key="a", **facts)
    unit = {"line": line, "lot": builders.lot(cast.gauze), "place": cast.stockroom, "tray": cast.tray}
    return {
        CaseFinding: {"case": case, "site": site, "finding": finding, "present": True, "at": NOW},
        PlanChoice: {"case": case, "site": site, "subject": "GRAFT_SIZED", "item": cast.graft},
        TrayLine: {"position": 2, "key": "b", **facts},
        FileBooking: {"case": case, "clinic": cast.clinic, "identity": "bk-1", "read_at": NOW},
        TrayUnit: unit | {"quantity": 1, "put_on_at": NOW},
    }


# Constraint, table, and what is wrong with an otherwise good row.
WRONG_VALUES = [
    ("procedure_kind_known", Procedure, {"kind": "party"}),
    ("finding_scope_known", Finding, {"scope": "moon"}),
    ("finding_chance_between_0_and_1", ProcedureFinding, {"chance": 1.2}),
    ("bom_state_known", BomVersion, {"state": "lost"}),
    ("bom_line_basis_known", BomLine, {"basis": "mouth"}),
    ("bom_line_set_out_known", BomLine, {"set_out": "floor"}),
    ("bom_line_item_or_slot", BomLine, {"slot": "GRAFT_SIZED"}),
    ("bom_line_item_or_slot", BomLine, {"item": None}),
    ("bom_line_quantity_positive", BomLine, {"quantity": 0}),
    ("bom_line_probability_above_0", BomLine, {"probability": 0}),
    ("bom_line_probability_above_0", BomLine, {"probability": "1.1"}),
    ("bom_line_reserve_has_finding", BomLine, {"certain": False}),
    ("case_state_known", Case, {"state": "asleep"}),
    ("case_lasts_five_minutes", Case, {"minutes": 4}),
    ("case_closed_has_moment", Case, {"state": "closed"}),
    ("case_procedure_planned_or_done", CaseProcedure, {"planned": False, "done": False}),
    ("site_tooth_is_fdi", CaseSite, {"tooth": "19"}),
    ("site_tooth_is_fdi", CaseSite, {"tooth": "86"}),
    ("file_booking_has_identity", FileBooking, {"identity": ""}),
    ("case_finding_source_known", CaseFinding, {"source": "rumour"}),
    ("tray_line_set_out_known", TrayLine, {"set_out": "floor"}),
    ("tray_line_quantity_not_zero", TrayLine, {"quantity": 0}),
    ("tray_unit_outcome_known", TrayUnit, {"outcome": "eaten"}),
    ("tray_unit_reason_known", TrayUnit, {"reason": "whim"}),
    ("tray_unit_quantity_not_zero", TrayUnit, {"quantity": 0}),
    ("tray_unit_waste_has_reason", TrayUnit, {"outcome": "wasted"}),
    ("tray_unit_opened_never_put_back", TrayUnit, {"outcome": "put-back", "opened_at": NOW}),
]


@pytest.mark.parametrize(("name", "model", "wrong"), WRONG_VALUES)
def test_a_wrong_value_is_refused(rows, name, model, wrong):
    refuses(name, model(**rows[model] | wrong))
    accepts(model(**rows[model]))


# Constraint, table, what may differ in a second row that is still the same thing, and what makes it another.
ONLY_ONCE = [
    ("finding_once_per_procedure", ProcedureFinding, {"chance": 0.1}, {"finding": "another_finding"}),
    ("preference_once_per_slot", Preference, {}, {"slot": "MASK"}),
    ("bom_number_once_per_procedure", BomVersion, {"digest": "d"}, {"number": 3}),
    (
        "bom_one_published_per_procedure",
        BomVersion,
        {"number": 3, "state": "published"},
        {"number": 3, "state": "retired"},
    ),
    ("bom_line_position_once", BomLine, {"quantity": 2}, {"position": 2}),
    ("procedure_once_per_case", CaseProcedure, {"done": False}, {"case": "another_case"}),
    ("site_once_per_case", CaseSite, {"healing_height_mm": 5}, {"tooth": "13"}),
    ("case_finding_once_per_site", CaseFinding, {"present": False}, {"site": None}),
    ("case_finding_once_per_case", CaseFinding, {"site": None}, {"finding": "another_finding", "site": None}),
    ("choice_once_per_site", PlanChoice, {"quantity": 2}, {"site": None}),
    ("choice_once_per_case", PlanChoice, {"site": None}, {"subject": "MEMBRANE", "site": None}),
    ("case_imported_once", Case, {"code": "C-3", "external_id": "X1"}, {"code": "C-3", "external_id": "X2"}),
    (
        "file_booking_names_one_case",
        FileBooking,
        {"case": "another_case", "procedures": "SKG"},
        {"clinic": "another_clinic"},
    ),
    ("tray_line_once_per_requirement", TrayLine, {"position": 3}, {"key": "c"}),
    ("tray_unit_once_per_form", TrayUnit, {"form_key": "f1", "quantity": 2}, {"form_key": "f2"}),
]
# Where the second row differs in the very columns of the constraint, the first has to as well.
SAME_FIRST = {"case_finding_once_per_case", "choice_once_per_case", "tray_unit_once_per_form"}


@pytest.mark.parametrize(("name", "model", "same", "other"), ONLY_ONCE)
def test_the_same_thing_twice_is_refused_and_another_taken(rows, name, model, same, other):
    def row(differing):
        named = {key: rows.get(value, value) for key, value in differing.items()}
        return model(**rows[model] | named)

    accepts(row(same if name in SAME_FIRST else {}))
    refuses(name, row(same))
    accepts(row(other))


def test_an_import_identity_is_one_per_clinic_and_only_where_there_is_one(rows, cast):
    elsewhere = rows[Case] | {"code": "C-4", "external_id": "X1", "clinic": cast.other_clinic}
    accepts(Case(**elsewhere), Case(**rows[Case]), Case(**rows[Case] | {"code": "C-5"}))
