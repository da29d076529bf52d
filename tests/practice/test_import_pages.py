"""Bringing files in by the pages: upload, preview, meanings, apply; nothing half-applied."""

import datetime as dt
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.urls import reverse

from practice import uploads
from practice.models import AuditEntry, RememberedMeaning, Upload
from stock.models import Entry, Item, SupplierItem
from tests.builders import NOW

IMPORTS = Path(__file__).parents[2] / "fixtures" / "imports"
COUNT = (
    "Item code;Where;Lot no.;Serial / tissue id;Expiry;Qty counted;Unit\n"
    "SUT-PT4;Stockroom;L1;;2031-01-31;5;each\n{}"
)
CODE = "THREAD;Stockroom;L2;;2031-01-31;3;each\n"


def send(desk, text, kind="stock", name="count.csv", **answers):
    data = text.encode() if isinstance(text, str) else text
    fields = {f"{kind}-file": SimpleUploadedFile(name, data)}
    fields |= {f"{kind}-{field}": value for field, value in answers.items()}
    return desk.post(reverse("import_upload", kwargs={"kind": kind}), fields)


def at(name, upload=None):
    return reverse(name, kwargs={"upload_id": (upload or Upload.objects.get()).pk})


@pytest.fixture
def desk(cast, sign_in):
    return sign_in(cast.manager, clinic=cast.clinic)


def test_the_page_offers_every_kind_and_one_heading(desk):
    body = desk.get(reverse("imports")).content.decode()
    for title in ("Catalogue", "Bills of materials", "Stock count", "Price list", "Bookings"):
        assert title in body
    assert body.count("<h1") == 1


def test_the_page_says_what_is_there_and_what_comes_next(desk):
    """The cast has items, prices and no bills; an untouched file of bills comes next."""
    page = desk.get(reverse("imports"))
    assert page.context["next_kind"].slug == "bills"
    body = page.content.decode()
    assert "10 items" in body
    assert '<a href="#bills">bills of materials</a>' in body


def test_a_good_file_is_shown_then_taken_in(desk, cast):
    assert send(desk, COUNT.format(""))["Location"] == at("import_preview")
    body = desk.get(at("import_preview")).content.decode()
    assert "5 × SUT-PT4" in body
    assert "Nothing is changed yet: 1 of 1 rows would be new or changed" in body
    assert not Entry.objects.exists()
    answer = desk.post(at("import_apply"), follow=True)
    assert "Taken in: 1 of 1 rows" in answer.content.decode()
    entry = Entry.objects.get()
    assert (entry.quantity, entry.by, entry.place) == (5, cast.manager, cast.stockroom)
    assert not Upload.objects.exists()


def test_what_is_uploaded_lies_encrypted(desk):
    send(desk, COUNT.format(""))
    with connection.cursor() as cursor:
        cursor.execute("SELECT content FROM practice_upload")
        assert b"SUT-PT4" not in bytes(cursor.fetchone()[0])


def test_a_faulty_file_is_not_half_applied(desk):
    send(desk, COUNT.format("SUT-PT4;Stockroom;L3;;soon;3;each\n"))
    body = desk.get(at("import_preview")).content.decode()
    assert "This is not a date." in body
    assert "Take in the good rows only" in body
    desk.post(at("import_apply"))
    assert not Entry.objects.exists()
    assert Upload.objects.exists(), "the file is still there to be looked at"
    desk.post(at("import_apply"), {"accept_good": "yes"})
    assert Entry.objects.get().lot.lot_number == "L1"


def test_an_unknown_value_gets_a_meaning_that_is_remembered(desk, cast):
    send(desk, COUNT.format(CODE))
    preview = desk.get(at("import_preview"))
    assert preview.context["unmapped"] == [("Item code", "THREAD")]
    assert ("SUT-PT4", str(cast.suture)) in preview.context["choices"]
    said = {"column": ["Item code"], "value": ["THREAD"], "meaning": ["SUT-PT4"]}
    assert desk.post(at("import_meanings"), said)["Location"] == at("import_preview")
    assert desk.get(at("import_preview")).context["unmapped"] == []
    desk.post(at("import_apply"))
    assert {entry.lot.lot_number for entry in Entry.objects.all()} == {"L1", "L2"}
    meaning = RememberedMeaning.objects.get()
    assert "THREAD" in desk.get(reverse("imports")).content.decode()
    desk.post(reverse("meaning_forget", kwargs={"meaning_id": meaning.pk}))
    assert not RememberedMeaning.objects.exists()
    actions = set(AuditEntry.objects.values_list("action", flat=True))
    assert {"meaning.remember", "meaning.forget", "file.import"} <= actions


def test_a_meaning_that_was_not_offered_is_not_kept(desk):
    send(desk, COUNT.format(CODE))
    said = {"column": ["Item code"], "value": ["THREAD"], "meaning": ["NO-SUCH"]}
    desk.post(at("import_meanings"), said)
    assert not RememberedMeaning.objects.exists()


def test_a_price_list_asks_for_its_supplier(desk, cast):
    answer = send(desk, b"Art. no.;Pack;Price per pack\nSUT-PT4;Box/12;150,00\n", kind="prices")
    assert answer["Location"] == reverse("imports")
    assert not Upload.objects.exists()
    text = "Art. no.;Pack;Price per pack\nSUT-PT4;Box/12;150,00\n"
    send(desk, text, kind="prices", supplier=str(cast.general.pk))
    assert "138.00 → 150.00 (+8.7 %)" in desk.get(at("import_preview")).content.decode()
    desk.post(at("import_apply"))
    assert SupplierItem.objects.get(item=cast.suture).pack_price == 150


def test_dates_are_read_as_declared(desk):
    row = "SUT-PT4;Stockroom;L2;;05/06/2031;3;each\n"
    send(desk, COUNT.format(row), day_first="month")
    desk.post(at("import_apply"))
    assert Entry.objects.get(lot__lot_number="L2").lot.expires_on == dt.date(2031, 5, 6)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"PK\x03\x04broken", "damaged"),
        (b"\x00\x01\x02\x03", "not text"),
        (b"what;ever\n1;2\n", "no row that names the columns"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_in_words(desk, content, words):
    send(desk, content)
    answer = desk.get(at("import_preview"))
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert desk.post(at("import_apply"))["Location"] == at("import_preview")


def test_a_form_without_a_file_and_an_unknown_kind(desk):
    body = desk.post(reverse("import_upload", kwargs={"kind": "stock"}), follow=True).content.decode()
    assert "Nothing was brought in." in body
    assert desk.post(reverse("import_upload", kwargs={"kind": "music"})).status_code == 404


def test_a_file_is_put_aside_by_hand_or_after_a_day(desk, cast):
    send(desk, COUNT.format(""))
    desk.post(at("import_put_aside"))
    assert not Upload.objects.exists()
    facts = {"clinic": cast.clinic, "file_kind": "stock", "declared": {}, "by": cast.manager}
    uploads.keep(filename="old.csv", data=b"x", at=NOW, **facts)
    uploads.keep(filename="new.csv", data=b"x", at=NOW + dt.timedelta(days=1, seconds=1), **facts)
    assert [upload.filename for upload in Upload.objects.all()] == ["new.csv"]
    with pytest.raises(uploads.FileTooLarge, match="20 megabytes"):
        uploads.keep(filename="big.csv", data=b"x" * (uploads.LARGEST + 1), at=NOW, **facts)


def test_who_may_bring_files(cast, sign_in):
    sender = sign_in(cast.assistant)
    send(sender, COUNT.format(""))
    upload = Upload.objects.get()
    for person in (cast.clinician, cast.reader, cast.stranger):
        desk = sign_in(person)
        assert desk.get(reverse("imports")).status_code == 403
        assert desk.post(at("import_apply", upload)).status_code == 403
    assert sign_in(cast.other_assistant).get(at("import_preview", upload)).status_code == 404
    assert sign_in(cast.administrator).get(at("import_preview", upload)).status_code == 200
    assert sign_in(cast.manager).get(at("import_apply", upload)).status_code == 405
    assert not Entry.objects.exists()


def test_the_bookings_page_reads_the_calendar_and_the_catalogue_page_the_catalogue(desk):
    send(desk, (IMPORTS / "bookings.ics").read_bytes(), kind="bookings", name="b.ics", notation="universal")
    body = desk.get(at("import_preview")).content.decode()
    assert "Take in the bills of materials first" in body
    desk.post(at("import_put_aside"))
    catalogue = (IMPORTS.parent / "catalogue.csv").read_bytes()
    send(desk, catalogue, kind="catalogue", name="c.csv")
    desk.post(at("import_apply"))
    assert Item.objects.filter(code="STE-BIO").exists()
    send(desk, (IMPORTS.parent / "boms.csv").read_bytes(), kind="bills", name="b.csv")
    assert desk.get(at("import_preview")).context["report"].accepted == 857
    assert "Taken in: 857" in desk.post(at("import_apply"), follow=True).content.decode()
