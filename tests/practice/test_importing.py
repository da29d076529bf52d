"""What all imports share: mappings, meanings, all-or-nothing, the report."""

import json

import pytest

from practice.importing import (
    IMPORTED,
    BadMapping,
    Meanings,
    Options,
    Report,
    Step,
    read_mapping,
    remember,
    settle,
    with_remembered,
)
from practice.models import AuditEntry, RememberedMeaning, Room
from practice.refusals import Refusal
from practice.spreadsheets import Problem
from tests.builders import NOW, TODAY


def options(**how):
    return Options(today=TODAY, at=NOW, **how)


def room_steps(cast, *codes):
    return [
        Step(row, "room", code, lambda code=code: Room.objects.create(clinic=cast.clinic, code=code))
        for row, code in enumerate(codes, start=2)
    ]


def refused():
    raise Refusal("This room is taken. Choose another.")


def rooms(cast):
    return set(Room.objects.filter(clinic=cast.clinic).values_list("code", flat=True))


def test_a_mapping_names_columns_values_and_settings():
    said = read_mapping(
        '{"columns": {"Art.": "code"}, "values": {"Procedure": {"Botox": "skip"}}, "day_first": true, '
        '"Chair": {"Op 1": "A1"}}'
    )
    assert said.columns == {"Art.": "code"}
    assert said.of("botox", "procedure", "PROCEDURE") == "skip"
    assert said.of("OP 1", "room", "Chair") == "A1"
    assert said.of("Op 2", "room", "Chair") is None
    assert said.day_first is True


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "not JSON"),
        ("[]", "must be an object"),
        ('{"columns": {"a": 1}}', "“columns” must be an object of texts"),
        ('{"day_first": "yes"}', "“day_first” cannot be 'yes'"),
        ('{"Chair": "A1"}', "“Chair” must be an object of texts"),
    ],
)
def test_a_bad_mapping_is_refused_in_words(text, words):
    with pytest.raises(BadMapping, match=words):
        read_mapping(text)


def test_a_run_takes_everything_and_writes_one_audit_entry(cast):
    report = settle(Report("r.csv", read=2, accepted=2), room_steps(cast, "B7", "B8"), options=options())
    assert report.applied
    assert {"B7", "B8"} <= rooms(cast)
    entry = AuditEntry.objects.get(action=IMPORTED)
    assert (entry.subject, entry.facts) == ("r.csv", {"accepted": 2, "read": 2})


def test_a_check_makes_every_step_and_takes_all_back(cast):
    seen = []
    steps = [*room_steps(cast, "B7"), Step(9, "x", "x", lambda: seen.append(rooms(cast)))]
    report = settle(Report("r.csv", read=2, accepted=2), steps, options=options(check=True))
    assert not report.applied
    assert "B7" in seen[0], "the step was not made"
    assert "B7" not in rooms(cast)
    assert not AuditEntry.objects.exists()


def test_one_refused_step_keeps_everything_out_unless_good_rows_are_wanted(cast):
    steps = [*room_steps(cast, "B7"), Step(3, "room", "B8", refused)]
    report = settle(Report("r.csv", read=2, accepted=2), steps, options=options())
    assert report.problems == [Problem(3, "room", "B8", "This room is taken. Choose another.")]
    assert (report.accepted, report.applied) == (1, False)
    assert "B7" not in rooms(cast)
    report = settle(Report("r.csv", read=2, accepted=2), steps, options=options(accept_good=True))
    assert (report.accepted, report.applied) == (1, True)
    assert "B7" in rooms(cast)


def test_an_unmapped_value_keeps_everything_out(cast):
    report = Report("r.csv", read=2, accepted=1)
    report.leave_unmapped("Procedure", "Botox")
    settle(report, room_steps(cast, "B7"), options=options())
    assert "B7" not in rooms(cast)
    assert report.verdict(check=False).startswith("Nothing was changed: 1 value without a meaning")


def test_an_unexpected_fault_undoes_everything_and_is_not_swallowed(cast):
    steps = [*room_steps(cast, "B7"), Step(3, "x", "x", lambda: 1 / 0)]
    with pytest.raises(ZeroDivisionError):
        settle(Report("r.csv", read=2, accepted=2), steps, options=options(accept_good=True))
    assert "B7" not in rooms(cast)


def test_long_work_tells_how_far_it_is(cast):
    heard = []
    steps = [Step(row, "x", "x", lambda: None) for row in range(120)]
    settle(Report("r.csv", read=120, accepted=120), steps, options=options(tell=heard.append))
    assert heard == ["50 of 120", "100 of 120"]


def test_the_report_has_the_fixed_shape_and_is_json():
    report = Report("r.csv", read=1, problems=[Problem(4, "Qty", "-2", "This must be 0 or more.")])
    shape = json.loads(json.dumps(report.as_json()))
    assert {"read", "accepted", "unchanged", "skipped", "problems", "unmapped"} <= set(shape)
    assert shape["problems"] == [
        {"row": 4, "column": "Qty", "value": "-2", "reason": "This must be 0 or more."}
    ]


def test_meanings_are_remembered_per_clinic_and_kind_and_what_is_said_now_wins(cast):
    facts = {"file_kind": "bookings", "column": "Procedure", "by": cast.manager, "at": NOW}
    remember(clinic=cast.clinic, value="Phase II", meaning="2ND", **facts)
    remember(clinic=cast.clinic, value="Phase II", meaning="2ND", **facts)
    assert AuditEntry.objects.count() == 1
    known = with_remembered(Meanings(), clinic=cast.clinic, file_kind="bookings")
    assert known.of("phase ii", "procedure", "Procedure") == "2ND"
    assert (
        with_remembered(Meanings(), clinic=cast.other_clinic, file_kind="bookings").of(
            "Phase II", "Procedure"
        )
        is None
    )
    now = Meanings(values={"Procedure": {"Phase II": "skip"}})
    assert (
        with_remembered(now, clinic=cast.clinic, file_kind="bookings").of("Phase II", "Procedure") == "skip"
    )
    remember(clinic=cast.clinic, value="Phase II", meaning="skip", **facts)
    assert RememberedMeaning.objects.get().meaning == "skip"
    assert AuditEntry.objects.count() == 2


def test_a_meaning_for_endless_text_is_refused(cast):
    with pytest.raises(BadMapping, match="too long to be remembered"):
        remember(
            clinic=cast.clinic,
            file_kind="stock",
            column="Item",
            value="x" * 161,
            meaning="skip",
            by=None,
            at=NOW,
        )
