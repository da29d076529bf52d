"""No NUL gets in: PostgreSQL cannot store one (its manual, 8.3 character types); SQLite keeps it."""

import datetime as dt

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from practice.models import AuditEntry
from tests.kits import builders_plan

NUL = "%00"


@pytest.mark.parametrize(
    "address",
    [
        f"/cases/C-1{NUL}/",
        f"/orders/?q=a{NUL}b",
        f"/patients/?q={NUL}",
        f"/stock/places/?q={NUL}",
        f"/scan/?code={NUL}01",
        f"/?{NUL}=1",
    ],
)
def test_an_address_with_a_nul_is_refused_in_words(cast, sign_in, address):
    client = sign_in(cast.manager)
    answer = client.get(address)
    assert answer.status_code == 400
    assert "Take it out and try again." in answer.content.decode()
    assert client.get(address.replace(NUL, "z")).status_code in {200, 404}


def test_a_form_with_a_nul_is_refused_and_nothing_is_done(cast, sign_in):
    client, address = sign_in(cast.manager), reverse("sign_in")
    before = AuditEntry.objects.count()
    answer = client.post(address, {"username": "marrowick", "password": "x\0y"})
    assert answer.status_code == 400
    assert AuditEntry.objects.count() == before


def test_a_session_cookie_with_a_nul_is_refused(client, cast):
    # A quoted cookie may spell a NUL in octal digits; the session would be looked up by it.
    assert client.get(reverse("sign_in"), headers={"cookie": 'sessionid="abc\\000def"'}).status_code == 400
    assert client.get(reverse("sign_in"), headers={"cookie": 'sessionid="abcdef"'}).status_code == 200


def test_a_file_may_hold_a_nul_but_not_its_name_nor_its_fields(cast, sign_in):
    client, address = sign_in(cast.administrator), reverse("sign_in")
    workbook = SimpleUploadedFile("stock.xlsx", b"PK\0\0")
    assert client.post(address, {"file": workbook}).status_code != 400
    workbook.seek(0)
    assert client.post(address, {"file": workbook, "note\0": "x"}).status_code == 400


def test_times_are_shown_on_the_clock_of_the_clinic_a_person_works_in(cast, sign_in):
    """A case at 15:00 UTC starts at 10:00 at a clinic in New York (time zone database)."""
    cast.clinic.time_zone = "America/New_York"
    cast.clinic.save()
    made = builders_plan.case(
        cast, builders_plan.procedure("GR", (cast.suture, 1, None)), dt.date(2026, 11, 25), hour=15
    )
    page = sign_in(cast.assistant).get(reverse("case", args=[made.code])).content.decode()
    assert "10:00" in page
    assert "15:00" not in page


def test_a_page_for_somebody_signed_in_is_not_kept_by_the_browser(cast, sign_in):
    answer = sign_in(cast.assistant).get(reverse("patients"))
    assert "no-store" in answer["Cache-Control"]
