"""Every constraint of the kits tables bites, also where rows are written in bulk."""

import datetime as dt

import pytest
from django.db import IntegrityError, connection, transaction

from kits.models import (
    BomLine,
    BomVersion,
    Case,
    CaseFinding,
    CaseProcedure,
    CaseSite,
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

pytestmark = pytest.mark.django_db


@pytest.fixture
def rows(cast):
    """The values of one more good row of each table, by model."""
    procedure = Procedure.objects.create(code="SKG", name="Socket graft", short_name="Socket graft")
    finding = Finding.objects.create(code="F-FPM", name="Plate missing", condition="If it is missing")
    version = BomVersion.objects.create(procedure=procedure, number=1, state="published", created_at=NOW)
    facts = {"clinic": cast.clinic, "patient": cast.patient, "on": TODAY, "starts_at": NOW}
    facts |= {"booked_at": NOW, "changed_at": NOW}
    case = Case.objects.create(code="C-1", external_id="X1", **facts)
    return {
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
        TrayUnit: unit | {"quantity": 1, "put_on_at": NOW},
    }


def write(model, *rows):
    model.objects.bulk_create([model(**row) for row in rows])


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
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        write(model, rows[model] | wrong)
    write(model, rows[model])


# Constraint, table, and what may differ in a second row that is still the same thing.
ONLY_ONCE = [
    ("finding_once_per_procedure", ProcedureFinding, {"chance": 0.1}),
    ("preference_once_per_slot", Preference, {}),
    ("bom_number_once_per_procedure", BomVersion, {}),
    ("bom_one_published_per_procedure", BomVersion, {"number": 3, "state": "published"}),
    ("bom_line_position_once", BomLine, {"quantity": 2}),
    ("procedure_once_per_case", CaseProcedure, {"done": False}),
    ("site_once_per_case", CaseSite, {"healing_height_mm": 5}),
    ("case_finding_once_per_site", CaseFinding, {"present": False}),
    ("case_finding_once_per_case", CaseFinding, {"site": None}),
    ("choice_once_per_site", PlanChoice, {"quantity": 2}),
    ("choice_once_per_case", PlanChoice, {"site": None}),
    ("case_imported_once", Case, {"code": "C-3", "external_id": "X1"}),
    ("tray_line_once_per_requirement", TrayLine, {"position": 3}),
]
# Where the second row differs in the very columns of the constraint, the first has to as well.
SAME_FIRST = {"case_finding_once_per_case", "choice_once_per_case"}


@pytest.mark.parametrize(("name", "model", "differing"), ONLY_ONCE)
def test_the_same_thing_twice_is_refused(rows, name, model, differing):
    first = rows[model] | (differing if name in SAME_FIRST else {})
    write(model, first)
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        write(model, rows[model] | differing)
    # SQLite names the columns of a broken unique key, PostgreSQL its name.
    told = str(refused.value)
    columns = next(each for each in model._meta.constraints if each.name == name).fields
    assert name in told or (connection.vendor == "sqlite" and all(column in told for column in columns[:1]))


def test_an_import_identity_is_one_per_clinic(rows, cast):
    other = rows[Case] | {"code": "C-4", "external_id": "X1", "clinic": cast.other_clinic}
    write(Case, other, rows[Case] | {"starts_at": NOW + dt.timedelta(days=1)})
