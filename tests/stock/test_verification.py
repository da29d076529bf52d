"""verify_ledger finds what a tamperer with full rights to the database would do."""

import json
from io import StringIO

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection

from practice import append_only
from stock.chain import Link, row_hash
from stock.correcting import correct
from stock.models import Balance, ChainHead, Entry
from stock.moving import move, put_back
from stock.receiving import open_stock
from stock.verification import CHUNK, MOST_DIFFERENCES, Report, verify_ledger
from tests import builders
from tests.append_only_off import drop_triggers, triggers_off
from tests.builders import NOW


@pytest.fixture
def ledger(cast):
    """A few days of two clinics: opening, moves, a put-back, a correction; returns the lot moved."""
    lot = builders.shelved(cast.membrane, cast.stockroom, 5)
    builders.shelved(cast.implant, cast.stockroom)
    builders.shelved(cast.suture, cast.other_stockroom, 9)
    move(lot=lot, from_place=cast.stockroom, to_place=cast.tray, quantity=2, by=cast.assistant, at=NOW)
    put_back(lot=lot, tray=cast.tray, place=cast.stockroom, quantity=1, by=cast.assistant, at=NOW)
    [entry] = open_stock(lot=lot, place=cast.cart, quantity=1, by=None, at=NOW)
    correct(entry=entry, by=cast.manager, at=NOW, note="counted twice")
    return lot


def only_difference():
    report = verify_ledger()
    assert not report.is_sound
    [difference] = report.differences
    return difference


def rehashed(entry, **changes):
    """Change an entry and give it a hash that fits: what a careful forger does."""
    for name, value in changes.items():
        setattr(entry, name, value)
    link = Link(*(getattr(entry, name) for name in Link._fields))
    Entry.objects.filter(pk=entry.pk).update(**changes, row_hash=row_hash(link))


def test_a_sound_ledger(cast, ledger):
    assert verify_ledger() == Report(entries=9, balances=5, differences=[], triggers=True)


def test_an_empty_ledger_is_sound(db):
    assert verify_ledger() == Report()


@pytest.mark.parametrize(
    "change",
    [
        {"quantity": 6},
        {"note": "nothing to see"},
        {"source": "case:C-00009"},
        {"by_id": None},
        {"kind": "receive"},
        {"at": NOW},
    ],
)
def test_a_changed_entry_is_found(cast, ledger, change):
    entry = Entry.objects.filter(kind=Entry.Kind.MOVE_IN).get()
    with triggers_off():
        Entry.objects.filter(pk=entry.pk).update(**change | {"recorded_at": NOW})
        if "at" in change:
            Entry.objects.filter(pk=entry.pk).update(at=NOW - (NOW - NOW.replace(hour=1)))
    found = verify_ledger().differences
    assert f"Skellowick Road entry #{entry.sequence} was changed after it was written." in found


def test_a_changed_entry_with_a_fitting_hash_breaks_the_link(cast, ledger):
    entry = Entry.objects.filter(kind=Entry.Kind.MOVE_IN).get()
    with triggers_off():
        rehashed(entry, note="forged")
    assert only_difference() == (
        f"Skellowick Road entry #{entry.sequence + 1} does not follow the entry before it."
    )


def test_a_forged_newest_entry_is_not_what_the_chain_last_wrote(cast, ledger):
    entry = Entry.objects.filter(clinic=cast.clinic).latest("sequence")
    with triggers_off():
        rehashed(entry, note="forged")
    assert "its chain was last written at" in only_difference()


def test_a_missing_entry_is_a_gap(cast, ledger):
    entry = Entry.objects.filter(kind=Entry.Kind.MOVE_IN).get()
    with triggers_off():
        entry.delete()
    found = verify_ledger().differences
    assert f"Skellowick Road entries #{entry.sequence} to #{entry.sequence} are missing." in found


def test_a_missing_newest_entry_is_found(cast, ledger):
    newest = Entry.objects.filter(clinic=cast.other_clinic).latest("sequence")
    with triggers_off():
        newest.delete()
    found = verify_ledger().differences
    assert "Eddlestoke Green has entries up to #0, but its chain was last written at #1." in found


def test_a_changed_balance_is_found(cast, ledger):
    Balance.objects.filter(lot=ledger, place=cast.stockroom).update(quantity=7)
    assert only_difference() == (
        f"Lot {ledger.pk} at place {cast.stockroom.pk} is recorded as 7, but its entries add up to 4."
    )


def test_a_missing_balance_is_found(cast, ledger):
    Balance.objects.filter(lot=ledger, place=cast.stockroom).delete()
    assert "has no balance; its entries add up to 4" in only_difference()


def test_a_balance_out_of_thin_air_is_found(cast, ledger):
    Balance.objects.create(lot=ledger, place=cast.fridge, quantity=2)
    assert "is recorded as 2, but its entries add up to 0" in only_difference()


def test_a_lost_chain_head_is_found(cast, ledger):
    ChainHead.objects.filter(clinic=cast.other_clinic).delete()
    assert "its chain was last written at #0" in only_difference()


def forge(clinic, lot, place, quantity, **facts):
    """Append an entry past the verbs, with a hash, a balance and a chain head that fit."""
    head = ChainHead.objects.get(clinic=clinic)
    values = {
        "previous_hash": head.row_hash,
        "clinic_id": clinic.pk,
        "sequence": head.sequence + 1,
        "kind": "count-correction",
        "lot_id": lot.pk,
        "place_id": place.pk,
        "quantity": quantity,
        "source": "",
        "reason": "",
        "note": "",
        "by_id": None,
        "at": NOW,
        "recorded_at": NOW,
        "key": None,
        "corrects_id": None,
    } | facts
    entry = Entry.objects.create(**values, row_hash=row_hash(Link(**values)))
    ChainHead.objects.filter(pk=head.pk).update(sequence=entry.sequence, row_hash=entry.row_hash)
    balance, _ = Balance.objects.get_or_create(lot=lot, place=place)
    Balance.objects.filter(pk=balance.pk).update(quantity=max(balance.quantity + quantity, 0))
    return entry


def test_a_unit_entered_twice_past_the_verbs_is_found(cast, ledger):
    implant = cast.implant.lots.get()
    forge(cast.other_clinic, implant, cast.other_stockroom, 1)
    assert only_difference() == f"{implant} exists only once, but its entries add up to 2."


def test_units_taken_that_were_not_there_are_found(cast, ledger):
    forge(cast.clinic, ledger, cast.fridge, -1)
    forge(cast.clinic, ledger, cast.fridge, 1)
    found = verify_ledger().differences
    assert any(f"takes more of lot {ledger.pk} than lay at place {cast.fridge.pk}" in line for line in found)


def test_a_place_of_another_clinic_is_found(cast, ledger):
    forge(cast.clinic, ledger, cast.other_stockroom, 1)
    assert any("is at a place of another clinic" in line for line in verify_ledger().differences)


def test_a_correction_that_is_no_reverse_is_found(cast, ledger):
    opening = Entry.objects.filter(lot=ledger).earliest("sequence")
    forged = forge(cast.clinic, ledger, cast.stockroom, -2, corrects_id=opening.pk)
    assert only_difference() == (
        f"Skellowick Road entry #{forged.sequence} is not the reverse of what it corrects."
    )


def test_missing_triggers_are_named(cast, ledger):
    drop_triggers()
    report = verify_ledger()
    assert report.triggers is False
    assert len(report.differences) == len(append_only.missing()) > 0
    assert all("Run migrate to restore it." in sentence for sentence in report.differences)


def test_what_nobody_could_read_is_not_listed():
    report = Report()
    for number in range(MOST_DIFFERENCES + 5):
        report.differs(f"difference {number}")
    assert len(report.differences) == MOST_DIFFERENCES


class TestCommand:
    def run(self, **options):
        out, err = StringIO(), StringIO()
        call_command("verify_ledger", stdout=out, stderr=err, **options)
        return out.getvalue(), err.getvalue()

    def test_text(self, cast, ledger):
        text, _ = self.run()
        assert [line.split() for line in text.splitlines()] == [
            ["entries", "9"],
            ["balances", "5"],
            ["differences", "0"],
            ["triggers", "in", "place"],
        ]

    def test_json(self, cast, ledger):
        text, _ = self.run(format="json")
        assert json.loads(text) == {"entries": 9, "balances": 5, "differences": [], "triggers": True}

    def test_a_difference_exits_1(self, cast, ledger):
        Balance.objects.filter(lot=ledger, place=cast.stockroom).update(quantity=7)
        out = StringIO()
        with pytest.raises(CommandError, match="not sound: 1 difference.*") as refused:
            call_command("verify_ledger", format="json", stdout=out)
        assert refused.value.returncode == 1
        assert len(json.loads(out.getvalue())["differences"]) == 1

    def test_long_work_shows_progress(self, cast, ledger, monkeypatch):
        monkeypatch.setattr("stock.verification.CHUNK", 4)
        text, progress = self.run()
        assert progress.splitlines() == ["4 entries read", "8 entries read"]
        assert CHUNK == 5000


@pytest.mark.django_db(transaction=True)
def test_it_reads_one_moment_and_holds_nobody_up(transactional_db):
    """Outside a transaction it takes a snapshot of its own, and leaves the connection as it was."""
    cast = builders.cast()
    builders.shelved(cast.membrane, cast.stockroom, 3)
    assert verify_ledger().entries == 1
    assert connection.get_autocommit() and not connection.in_atomic_block
    builders.shelved(cast.suture, cast.stockroom, 3)
    assert verify_ledger().entries == 2
