"""The chain's canonical bytes and hash. Oracle: hashlib and json of Python's own library, and FIPS 180-4."""

import datetime as dt
import hashlib
import json

import pytest

from stock.chain import VERSION, Link, canonical, row_hash

LINK = Link(
    previous_hash="ab" * 32,
    clinic_id=1,
    sequence=7,
    kind="use",
    lot_id=42,
    place_id=3,
    quantity=-2,
    source="case:C-00001",
    reason="",
    note="für 11 “links”",
    by_id=None,
    at=dt.datetime(2026, 5, 12, 9, 30, 0, 5, tzinfo=dt.timezone(dt.timedelta(hours=1))),
    recorded_at=dt.datetime(2026, 5, 12, 8, 31, tzinfo=dt.UTC),
    key=None,
    corrects_id=None,
)


def test_the_bytes_are_written_as_the_rule_says():
    assert (
        canonical(LINK)
        == (
            f'["{VERSION}","{"ab" * 32}",1,7,"use",42,3,-2,"case:C-00001","","für 11 “links”",null,'
            '"2026-05-12T08:30:00.000005Z","2026-05-12T08:31:00.000000Z",null,null]'
        ).encode()
    )
    assert json.loads(canonical(LINK))[1:5] == ["ab" * 32, 1, 7, "use"]


def test_the_hash_is_sha_256_of_the_bytes():
    # FIPS 180-4 example: SHA-256("abc") = ba7816bf...; value from memory, checked against hashlib here.
    assert hashlib.sha256(b"abc").hexdigest().startswith("ba7816bf8f01cfea")
    assert row_hash(LINK) == hashlib.sha256(canonical(LINK)).hexdigest()


@pytest.mark.parametrize("name", Link._fields)
def test_every_field_counts(name):
    other = {"at": LINK.recorded_at, "recorded_at": LINK.at, "by_id": 9, "key": "k", "corrects_id": 5}
    value = getattr(LINK, name)
    changed = other.get(name, value + "x" if isinstance(value, str) else None)
    changed = value + 1 if isinstance(value, int) else changed
    assert row_hash(LINK._replace(**{name: changed})) != row_hash(LINK)


def test_neighbouring_texts_cannot_run_into_each_other():
    assert row_hash(LINK._replace(source="ab", reason="c")) != row_hash(
        LINK._replace(source="a", reason="bc")
    )


def test_one_moment_in_two_time_zones_is_one_moment():
    assert row_hash(LINK._replace(at=LINK.at.astimezone(dt.UTC))) == row_hash(LINK)


def test_what_the_rule_does_not_know_is_refused():
    with pytest.raises(TypeError, match="cannot stand in the ledger's chain"):
        canonical(LINK._replace(note=object()))
