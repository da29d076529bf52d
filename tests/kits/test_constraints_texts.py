"""Texts fit their columns: PostgreSQL refuses what is too long, SQLite only with this suite's own check."""

import pytest
from django.db import DataError, models, transaction

from kits import scheduling
from kits.models import Case
from kits.plans import GRAFT_WORDS, MEMBRANE_WORDS
from tests.builders import NOW

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("field", "word"),
    [("graft_material", word) for word in GRAFT_WORDS]
    + [("membrane_class", word) for word in MEMBRANE_WORDS],
)
def test_every_word_for_a_material_can_be_planned(kits, field, word):
    case = kits.case("XTR")
    scheduling.plan_case(case=case, by=None, at=NOW, **{field: word})
    assert Case.objects.values_list(field, flat=True).get() == word


@pytest.mark.parametrize("field", ["graft_material", "membrane_class", "note", "code"])
def test_a_text_that_is_too_long_is_refused_on_every_database(kits, field):
    kits.case("XTR")
    size = Case._meta.get_field(field).max_length
    with pytest.raises(DataError, match=str(size)), transaction.atomic():
        Case.objects.update(**{field: "x" * (size + 1)})
    with pytest.raises(DataError, match=str(size)), transaction.atomic():
        Case.objects.bulk_update([_with(field, "é" * (size + 1))], [field])
    Case.objects.update(**{field: "é" * size})
    assert Case.objects.values_list(field, flat=True).get() == "é" * size


def _with(field, text) -> models.Model:
    case = Case.objects.get()
    setattr(case, field, text)
    return case
