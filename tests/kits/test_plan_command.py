"""The ``plan`` command: shape of the JSON people script against, table, exit codes."""

import io
import json

import pytest
from django.core.management import CommandError, call_command

from kits.tasks import SomeClinicsNotPlanned, plan_all_clinics, plan_clinic
from practice.models import Clinic
from stock.models import Item, ItemForecast
from tests.builders import TODAY
from tests.kits.builders_plan import case, day, procedure, stock
from tests.kits.builders_tasks import tasks_run_here

pytestmark = pytest.mark.django_db
ITEM_FIELDS = {
    *("item", "on_hand", "usable", "expected_use_30d", "expected_use_90d", "grams_30d", "covered_until"),
    *("order_by", "short_probability", "on_hand_median", "expiring", "proposal"),
}


def plan(*arguments):
    out = io.StringIO()
    call_command("plan", *arguments, "--today", TODAY.isoformat(), stdout=out, stderr=io.StringIO())
    return out.getvalue()


def plan_json(*arguments):
    return json.loads(plan(*arguments, "--format", "json"))


@pytest.fixture
def book(cast):
    """Two cases this week and two sheets, one of which runs out before; a graft with its grams."""
    Item.objects.filter(pk=cast.graft.pk).update(mass_g="0.27", criticality=Item.Criticality.SUBSTITUTE)
    grafting = procedure("GR", (cast.membrane, 1, None), (cast.graft, 1, None))
    stock(cast, cast.membrane, 1, last_day=1)
    stock(cast, cast.membrane, 1)
    return case(cast, grafting, day(2)), case(cast, grafting, day(3))


@pytest.fixture
def no_workers():
    """Tasks run where they are sent, as in a practice without Redis."""
    with tasks_run_here(True):
        yield


def of(report, item):
    return next(row for row in report["items"] if row["item"] == item.code)


def test_json_has_the_agreed_shape(cast, book):
    report = plan_json("--clinic", "A", "--days", "60")
    assert (report["clinic"], report["today"]) == ("A", TODAY.isoformat())
    assert all(set(row) >= ITEM_FIELDS for row in report["items"])
    sheet = of(report, cast.membrane)
    assert (sheet["on_hand"], sheet["usable"]) == (2, 2)
    assert len(sheet["short_probability"]) == len(sheet["on_hand_median"]) == 60
    assert sheet["short_probability"][:4] == [0, 0, 0, 1]
    assert sheet["covered_until"] == day(2).isoformat()
    [lost] = sheet["expiring"]
    assert (lost["expires_on"], lost["expected_unused"]) == (day(1).isoformat(), 1.0)
    order = sheet["proposal"]
    assert set(order) == {"packs", "units", "supplier", "price", "reason"}
    assert order["supplier"] == "Brambleforth Surgical Supply"
    assert order["units"] == order["packs"]
    assert order["price"] == f"{145 * order['packs']}.00"
    assert of(report, cast.gauze)["proposal"] is None


def test_json_lists_the_cases_with_their_readiness(cast, book):
    cases = plan_json("--clinic", "A")["cases"]
    assert [(row["case"], row["on"]) for row in cases] == [
        (book[0].code, day(2).isoformat()),
        (book[1].code, day(3).isoformat()),
    ]
    assert set(cases[0]) == {"case", "on", "readiness", "probability", "blocking"}
    assert cases[1]["readiness"] == "cannot start"
    assert cases[1]["blocking"] and cases[1]["probability"] == 0


def test_grams_follow_from_the_label(cast, book):
    row = of(plan_json("--clinic", "A"), cast.graft)
    assert row["grams_30d"] == pytest.approx(row["expected_use_30d"] * 0.27, abs=1e-3)
    assert of(plan_json("--clinic", "A"), cast.membrane)["grams_30d"] is None


def test_several_clinics_come_as_a_list_and_one_as_an_object(cast, book):
    assert [report["clinic"] for report in plan_json()] == ["A", "B"]
    assert plan_json("--clinic", "eddlestoke")["clinic"] == "B"


def test_table_shows_what_to_order_and_why(cast, book):
    text = plan("--clinic", "A")
    assert text.startswith(f"Skellowick Road, from {TODAY.isoformat()}")
    assert "MEM-RC-2030" in text and "from Brambleforth Surgical Supply" in text
    assert f"{book[1].code}  {day(3).isoformat()}  cannot start" in text
    assert "By 15 May about 2 will be used" in text


def test_days_of_the_page_are_kept_when_fewer_are_asked_for(cast, book):
    plan_json("--clinic", "A", "--days", "10")
    kept = ItemForecast.objects.get(clinic=cast.clinic, item=cast.membrane)
    assert len(kept.series["median"]) == 180


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--clinic", "Z"], "There is no clinic “Z”"),
        (["--days", "0"], "--days takes 1 to 730"),
    ],
)
def test_called_wrongly_ends_with_2(cast, arguments, words):
    with pytest.raises(CommandError, match=words) as refused:
        plan(*arguments)
    assert refused.value.returncode == 2


def test_refused_ends_with_1(cast):
    Clinic.objects.filter(pk=cast.clinic.pk).update(open_weekdays="0000000")
    stock(cast, cast.membrane, 1)
    case(cast, procedure("GR", (cast.membrane, 1, None)), day(2))
    with pytest.raises(CommandError, match="cannot be planned: No open day") as refused:
        plan("--clinic", "A")
    assert refused.value.returncode == 1


def test_task_plans_one_clinic_once(cast, book):
    assert plan_clinic(cast.clinic.pk, TODAY.isoformat()) is True
    assert plan_clinic(cast.clinic.pk, TODAY.isoformat()) is False


def test_task_for_all_plans_each_clinic(cast, book, no_workers):
    assert plan_all_clinics(TODAY.isoformat()) == 2
    assert set(ItemForecast.objects.values_list("clinic__code", flat=True)) == {"A", "B"}


def test_failure_of_one_clinic_does_not_stop_the_others(cast, book, no_workers):
    Clinic.objects.filter(pk=cast.clinic.pk).update(open_weekdays="0000000")
    with pytest.raises(SomeClinicsNotPlanned, match="Not planned.*Skellowick Road: No open day"):
        plan_all_clinics(TODAY.isoformat())
    assert set(ItemForecast.objects.values_list("clinic__code", flat=True)) == {"B"}
