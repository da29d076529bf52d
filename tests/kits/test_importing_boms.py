"""Importing bills: versions, findings and chances; whole or not at all; twice changes nothing."""

import io
import json

import pytest
from django.core.management import CommandError, call_command

from kits.authoring import EmptyBill, publish
from kits.importing_boms import BadBills, import_boms
from kits.models import BomLine, BomVersion, Finding, Procedure, ProcedureFinding
from practice.models import AuditEntry
from tests.builders import NOW
from tests.kits import builders_kits
from tests.kits.builders_kits import FIXTURES

pytestmark = pytest.mark.django_db
FILE = FIXTURES / "boms.csv"


@pytest.fixture
def catalogue():
    return builders_kits.catalogue()


def bring(data: bytes = b"", **options):
    return import_boms(data or FILE.read_bytes(), filename="boms.csv", by=None, at=NOW, **options)


def test_nothing_of_the_file_is_dropped(catalogue):
    report = bring()
    assert (report.read, report.accepted, report.skipped, report.problems) == (857, 857, 0, [])
    assert BomLine.objects.count() == 857
    assert Procedure.objects.count() == BomVersion.objects.filter(state="published").count() == 19
    # Counted in the file: lines with a slot, with the plan's own finding, in a choose-one group.
    assert BomLine.objects.exclude(slot="").count() == 127
    assert BomLine.objects.filter(finding__is_planned=True).count() == 33
    assert BomLine.objects.exclude(choose_one_group="").count() == 17


def test_a_second_run_changes_nothing(catalogue):
    bring()
    entries = AuditEntry.objects.count()
    again = bring()
    assert (again.accepted, again.unchanged, again.published) == (0, 857, [])
    assert BomVersion.objects.count() == 19
    assert AuditEntry.objects.count() == entries


def test_a_check_changes_nothing(catalogue):
    report = bring(check=True)
    assert report.accepted == 857 and len(report.published) == 19
    assert not Procedure.objects.exists() and not Finding.objects.exists()


def test_a_changed_bill_becomes_a_new_version_and_cases_keep_theirs(kits):
    case = kits.case("SKG")
    changed = FILE.read_bytes().replace(b",SUT-PT4,", b",SUT-PG4,")
    report = bring(changed)
    assert set(report.published) == {"SKG", "GBRX", "DELG", "SLT", "RDG", "FAR", "IRM"}
    versions = kits.procedures["SKG"].versions.order_by("number")
    assert [(version.number, version.state) for version in versions] == [(1, "retired"), (2, "published")]
    assert case.procedures.get().version == versions[0]
    assert kits.case("SKG", teeth=("12",)).procedures.get().version == versions[1]


def test_a_file_with_a_problem_is_refused_whole(catalogue):
    data = FILE.read_bytes().replace(b",COL-PLG,", b",COL-XXX,")
    with pytest.raises(BadBills) as refused:
        bring(data)
    assert not Procedure.objects.exists()
    assert {problem.value for problem in refused.value.report.problems} == {"COL-XXX"}


def test_complete_procedures_may_be_taken_on_purpose(catalogue):
    rows = FILE.read_text(encoding="utf-8-sig").splitlines()
    bad = [row.replace("0.45,", "4.5,") if row.startswith("IRM") else row for row in rows]
    report = bring("\n".join(bad).encode(), accept_good=True)
    assert not Procedure.objects.filter(code="IRM").exists()
    assert Procedure.objects.filter(code="SKG").exists()
    assert report.skipped == sum(row.startswith("IRM") for row in rows)


def test_the_chance_of_a_finding_is_the_widest_of_its_lines(catalogue):
    bring()

    def chance(procedure, finding):
        return ProcedureFinding.objects.get(procedure__code=procedure, finding__code=finding).chance

    # Trade reference 1.4: plate missing SKG 0.30, IMM 0.15, IRM 0.45; walls intact is what is left.
    assert chance("SKG", "F-FPM") == pytest.approx(0.30)
    assert chance("SKG", "F-INTACT") == pytest.approx(0.70)
    assert chance("IMM", "F-FPM") == pytest.approx(0.15)
    assert chance("IRM", "F-INTACT") == pytest.approx(0.55)
    assert Finding.objects.get(code="F-INTACT").complement_of.code == "F-FPM"


def test_a_bill_without_lines_is_refused(kits):
    with pytest.raises(EmptyBill, match="at least one line"):
        publish(procedure=kits.procedures["SKG"], lines=[], digest="", by=None, at=NOW)


def command(*arguments):
    out = io.StringIO()
    call_command("import_boms", *map(str, arguments), stdout=out)
    return out.getvalue()


def test_the_command_reports_how_each_line_was_understood(catalogue):
    shape = json.loads(command(FILE, "--check", "--report", "--format", "json"))
    assert set(shape) >= {"read", "accepted", "unchanged", "skipped", "problems", "unmapped"}
    assert len(shape["lines"]) == 857
    assert shape["lines"][0] == {"row": 2, "understood": "XTR: 1 each of DIS-BIB per case, open."}
    assert "857 lines read: 857 taken" in command(FILE)


def test_the_command_refuses_with_exit_codes(catalogue, tmp_path):
    bad = tmp_path / "bad.csv"
    bad.write_bytes(FILE.read_bytes().replace(b",COL-PLG,", b",COL-XXX,"))
    with pytest.raises(CommandError) as refused:
        command(bad)
    assert refused.value.returncode == 1
    with pytest.raises(CommandError) as missing:
        command(tmp_path / "none.csv")
    assert missing.value.returncode == 2
    empty = tmp_path / "empty.csv"
    empty.write_text("a,b\n1,2\n")
    with pytest.raises(CommandError, match="names the columns"):
        command(empty)
