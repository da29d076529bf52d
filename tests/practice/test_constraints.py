"""Every constraint of the practice's tables bites, also where rows are written past the forms."""

import datetime as dt

import pytest
from django.db import IntegrityError, transaction

from practice.models import Clinic, Closure, Patient, Policy, Practice, RememberedMeaning, Role, Room
from tests.builders import TODAY
from tests.bulk_writing import accepts, refuses

DAY = dt.timedelta(days=1)


@pytest.fixture
def rows(cast):
    """The values of one more good row of each table, by model."""
    third = Clinic.objects.create(practice=cast.practice, name="Marlinfold Lane", code="C")
    meaning = {"file_kind": "bookings", "column": "Treatment", "value": "Graft 1", "meaning": "SKG"}
    return {
        Clinic: {"practice": cast.practice, "name": "Dunnerley Row", "code": "D"},
        Room: {"clinic": cast.clinic, "code": "A2"},
        Closure: {"clinic": cast.clinic, "starts_on": TODAY, "ends_on": TODAY + DAY},
        Policy: {"clinic": third},
        RememberedMeaning: {"clinic": cast.clinic, **meaning},
        Patient: {"practice": cast.practice, "chart_number": "P-0002"},
        Role: {"user": cast.stranger, "clinic": cast.clinic, "kind": "assistant"},
    }


# Constraint, table, what is wrong with an otherwise good row, and the nearest value that is right.
WRONG_AND_RIGHT = [
    ("clinic_tooth_notation_known", Clinic, {"tooth_notation": "letters"}, {"tooth_notation": "universal"}),
    ("clinic_open_weekdays_seven_flags", Clinic, {"open_weekdays": "111110"}, {"open_weekdays": "1111100"}),
    ("clinic_open_weekdays_seven_flags", Clinic, {"open_weekdays": "1111102"}, {"open_weekdays": "0000000"}),
    ("clinic_open_weekdays_seven_flags", Clinic, {"open_weekdays": ""}, {"open_weekdays": "1111111"}),
    ("room_kind_known", Room, {"kind": "kitchen"}, {"kind": "restorative"}),
    ("closure_ends_after_start", Closure, {"ends_on": TODAY - DAY}, {"ends_on": TODAY}),
    ("patient_born_in_plausible", Patient, {"born_in": 1889}, {"born_in": 1890}),
    ("patient_born_in_plausible", Patient, {"born_in": 2201}, {"born_in": 2200}),
    ("patient_born_in_plausible", Patient, {"born_in": 75}, {"born_in": None}),
    ("role_kind_known", Role, {"kind": "owner"}, {"kind": "reader"}),
] + [
    ("policy_targets_between_0_and_1", Policy, {f"target_{target}": wrong}, {f"target_{target}": right})
    for target in ("cannot_start", "substitute", "convenience")
    for wrong, right in [(0, 0.0001), (1, 0.9999), (-0.5, 0.5), (99.5, 0.995)]
]


@pytest.mark.parametrize(("name", "model", "wrong", "right"), WRONG_AND_RIGHT)
def test_a_wrong_value_is_refused_and_the_next_best_taken(rows, name, model, wrong, right):
    refuses(name, model(**rows[model] | wrong))
    accepts(model(**rows[model] | right))


# Constraint, table, and what a second row may differ in and still be another thing.
ONLY_ONCE = [
    ("room_code_once_per_clinic", Room, [{"code": "A3"}, {"clinic": "other_clinic"}]),
    (
        "meaning_once_per_value",
        RememberedMeaning,
        [{"clinic": "other_clinic"}, {"file_kind": "stock"}, {"column": "Kind"}, {"value": "Graft 2"}],
    ),
    ("role_once_per_clinic", Role, [{"clinic": "other_clinic"}, {"user": "other_assistant"}]),
]
# What may be told twice of one thing, and must not make it two.
STILL_THE_SAME = {
    "room_code_once_per_clinic": {"kind": "restorative"},
    "meaning_once_per_value": {"meaning": "skip"},
    "role_once_per_clinic": {"kind": "reader"},
}


@pytest.mark.parametrize(("name", "model", "others"), ONLY_ONCE)
def test_the_same_thing_twice_is_refused_and_another_taken(rows, cast, name, model, others):
    accepts(model(**rows[model]))
    refuses(name, model(**rows[model] | STILL_THE_SAME[name]))
    for other in others:
        accepts(model(**rows[model] | {key: getattr(cast, value, value) for key, value in other.items()}))


def test_a_chart_number_is_given_once_per_practice(rows, cast):
    refuses("patient_chart_number_once", Patient(practice=cast.practice, chart_number="P-0001"))
    refuses("patient_chart_number_once", *[Patient(**rows[Patient]) for _ in range(2)])
    accepts(Patient(**rows[Patient]), Patient(**rows[Patient] | {"chart_number": "p-0002"}))
    elsewhere = Practice.objects.create(name="Another practice", short_name="Another")
    accepts(Patient(practice=elsewhere, chart_number="P-0001"))


# Tables hold their rules when good rows are changed past the forms, too.
CHANGES = [
    ("clinic_tooth_notation_known", Clinic, {"tooth_notation": ""}, {"tooth_notation": "fdi"}),
    ("clinic_open_weekdays_seven_flags", Clinic, {"open_weekdays": "weekday"}, {"open_weekdays": "0111110"}),
    ("room_kind_known", Room, {"kind": ""}, {"kind": "surgical"}),
    ("policy_targets_between_0_and_1", Policy, {"target_substitute": 1}, {"target_substitute": 0.9}),
    ("patient_born_in_plausible", Patient, {"born_in": 0}, {"born_in": 1961}),
    ("role_kind_known", Role, {"kind": ""}, {"kind": "manager"}),
]


@pytest.mark.parametrize(("name", "model", "wrong", "right"), CHANGES)
def test_a_change_in_bulk_is_held_to_the_same(cast, name, model, wrong, right):
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        model.objects.update(**wrong)
    assert model.objects.update(**right) >= 1
