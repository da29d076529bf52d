"""The audit: its grammar, its sentences, and its page."""

import csv
import io

import pytest
from django.urls import reverse
from openpyxl import load_workbook

from practice import audit
from practice.models import AuditEntry
from tests.builders import NOW

TRIED = audit.action("test.try", "tried {subject}: {what}")


def note(cast, subject, *, clinic=None, by=None, what="it"):
    return audit.record(
        TRIED, by=by or cast.administrator, at=NOW, subject=subject, clinic=clinic or cast.clinic, what=what
    )


@pytest.mark.parametrize("name", ["Try", "try", "lot.Hold", "lot hold.now", "lot.hold.now", "1ot.hold"])
def test_actions_are_noun_dot_verb(name):
    with pytest.raises(audit.BadAction, match="noun.verb"):
        audit.action(name, "x")


def test_an_action_has_one_sentence():
    assert audit.action("test.try", "tried {subject}: {what}") == TRIED
    with pytest.raises(audit.BadAction, match="already has another sentence"):
        audit.action("test.try", "did {subject}")


def test_facts_must_fill_the_sentence(cast):
    with pytest.raises(audit.BadAction, match="'what'"):
        audit.record(TRIED, by=None, at=NOW, subject="x")
    with pytest.raises(audit.BadAction, match="never declared"):
        audit.record("test.never", by=None, at=NOW, subject="x")
    assert not AuditEntry.objects.exists()


def test_an_entry_reads_as_a_sentence(cast):
    assert audit.sentence(note(cast, "the door")) == "T. Ostrewold tried the door: it"
    by_system = audit.record(TRIED, by=None, at=NOW, subject="the door", what="it")
    assert audit.sentence(by_system) == "The system tried the door: it"


def test_the_page_lists_searches_and_filters(cast, sign_in):
    note(cast, "the door")
    note(cast, "the window", by=cast.manager)
    client = sign_in(cast.administrator)
    body = client.get(reverse("audit")).content.decode()
    assert "Tried the door" in body
    assert "Tried the window" in body
    body = client.get(reverse("audit"), {"q": "door"}).content.decode()
    assert "Tried the window" not in body
    body = client.get(reverse("audit"), {"q": "marrowick"}).content.decode()
    assert "Tried the door" not in body
    for action in ("person.add", "no.such"):
        body = client.get(reverse("audit"), {"action": action}).content.decode()
        assert "Tried the door" not in body


def test_only_clinics_one_sets_up_are_shown(cast, sign_in):
    from_there = note(cast, "the far door", clinic=cast.other_clinic)
    cast.administrator.roles.filter(clinic=cast.other_clinic).delete()
    body = sign_in(cast.administrator).get(reverse("audit")).content.decode()
    assert from_there.subject not in body


def test_the_number_of_queries_does_not_grow(cast, sign_in, django_assert_max_num_queries):
    client = sign_in(cast.administrator)
    note(cast, "the door")
    with django_assert_max_num_queries(10):
        client.get(reverse("audit"))
    for number in range(20):
        note(cast, f"door {number}")
    with django_assert_max_num_queries(10):
        client.get(reverse("audit"))


def test_the_list_is_saved_as_csv_and_xlsx(cast, sign_in):
    note(cast, "=HYPERLINK()")
    client = sign_in(cast.administrator)
    answer = client.get(reverse("audit"), {"export": "csv"})
    assert answer["Content-Disposition"] == 'attachment; filename="audit.csv"'
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert rows[0]["what"] == "T. Ostrewold tried =HYPERLINK(): it"
    assert rows[0]["subject"] == "'=HYPERLINK()", "nothing a spreadsheet would run"
    sheet = load_workbook(io.BytesIO(client.get(reverse("audit"), {"export": "xlsx"}).content)).active
    assert sheet["F2"].value == "=HYPERLINK()"
    assert sheet["F2"].data_type == "s"
