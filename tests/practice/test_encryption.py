"""Names at rest: ciphertext in the table, tampering found, equality by blind index, keys that rotate."""

import base64
import hashlib
import hmac

import pytest
from cryptography.fernet import Fernet, InvalidToken
from django.core.exceptions import FieldError
from django.db import connection
from hypothesis import given
from hypothesis import strategies as st

from practice.encryption import blind_index, decrypt, decrypt_bytes, encrypt, encrypt_bytes, fold
from practice.models import Patient
from practice.patients import register, with_name
from tests.builders import NOW

NAME = "Skelbeck, Bénno"


@pytest.fixture
def patient(cast):
    facts = {"practice": cast.practice, "by": cast.assistant, "at": NOW}
    return register(chart_number="P-0458", name=NAME, born_in=1976, **facts)


def stored(patient):
    """The name as it lies in the table."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT name, name_index FROM practice_patient WHERE id = %s", [patient.pk])
        return cursor.fetchone()


def test_the_table_holds_ciphertext_and_the_model_the_name(patient):
    name, index = stored(patient)
    assert "kelbeck" not in name
    assert "kelbeck" not in index
    assert Patient.objects.get(pk=patient.pk).name == NAME


def test_another_program_with_the_key_reads_it(patient, settings):
    """Oracle: the Fernet recipe of the cryptography library, and HMAC-SHA256 of the standard library."""
    name, index = stored(patient)
    assert Fernet(settings.FIELD_KEYS[0]).decrypt(name.encode()).decode() == NAME
    key = hashlib.sha256(b"blind index" + base64.urlsafe_b64decode(settings.FIELD_KEYS[-1])).digest()
    assert index == hmac.new(key, b"skelbeck, benno", hashlib.sha256).hexdigest()


def test_the_same_name_twice_is_two_different_ciphertexts(patient):
    assert encrypt(NAME) != encrypt(NAME)


def test_a_tampered_row_raises_instead_of_giving_garbage(patient):
    name, _ = stored(patient)
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE practice_patient SET name = %s WHERE id = %s", [name[:-4] + "AAA=", patient.pk]
        )
    with pytest.raises(InvalidToken):
        Patient.objects.get(pk=patient.pk)


@pytest.mark.parametrize("wanted", [NAME, "skelbeck,  BENNO", "SKELBECK, Benno"])
def test_a_patient_is_found_by_the_whole_name_whatever_its_case_or_accents(patient, wanted):
    assert list(with_name(Patient.objects.all(), wanted)) == [patient]


def test_a_part_of_a_name_or_none_finds_nobody(patient, cast):
    assert not with_name(Patient.objects.all(), "Skelbeck").exists()
    # Patients without a name must not be found by an empty one.
    assert cast.patient.name == ""
    assert not with_name(Patient.objects.all(), "  ").exists()


@pytest.mark.parametrize("lookup", ["name", "name__icontains", "name__startswith", "name__in"])
def test_searching_the_encrypted_column_is_refused(db, lookup):
    with pytest.raises(FieldError, match="look it up by its blind index"):
        list(Patient.objects.filter(**{lookup: [NAME] if lookup.endswith("in") else NAME}))


def test_keys_rotate_new_first_then_resave_then_drop_the_old(patient, settings):
    old = settings.FIELD_KEYS[0]
    new = Fernet.generate_key().decode()
    settings.FIELD_KEYS = [new, old]
    known = Patient.objects.get(pk=patient.pk)
    assert known.name == NAME
    assert list(with_name(Patient.objects.all(), NAME)) == [patient], "the index keeps the oldest key"
    known.name_index = blind_index(known.name)
    known.save()
    assert Fernet(new).decrypt(stored(patient)[0].encode()).decode() == NAME
    settings.FIELD_KEYS = [new]
    known = Patient.objects.get(pk=patient.pk)
    assert known.name == NAME
    known.name_index = blind_index(known.name)
    known.save()
    assert list(with_name(Patient.objects.all(), NAME)) == [patient]
    settings.FIELD_KEYS = [Fernet.generate_key().decode()]
    with pytest.raises(InvalidToken):
        Patient.objects.get(pk=patient.pk)


@given(st.text())
def test_any_text_comes_back_as_it_was(text):
    assert decrypt(encrypt(text)) == text


@given(st.text(min_size=1))
def test_folding_once_is_enough(text):
    assert fold(fold(text).upper()) == fold(fold(fold(text).upper()))


def test_files_are_encrypted_whole():
    content = bytes(range(256)) * 4
    token = encrypt_bytes(content)
    assert content[:16] not in token
    assert decrypt_bytes(token) == content
    with pytest.raises(InvalidToken):
        decrypt_bytes(token[:-1] + b"?")
