"""The hash chain of the ledger: what is hashed, in which order and how it is written. Pure.

A row's hash is SHA-256 over the UTF-8 bytes of a JSON array without blanks, its elements in the order of
``Link``: strings as they are, numbers as numbers, nothing as null, moments in UTC as
``2026-05-12T08:30:00.000000Z``. The array begins with the version of this rule and contains the hash of
the clinic's row before it, so that changing, dropping or inserting a row breaks every later link.
"""

import datetime as dt
import hashlib
import json
from typing import NamedTuple

VERSION = "ledger-1"
# The first row of a clinic follows nothing.
NOTHING_BEFORE = ""


class Link(NamedTuple):
    """What a row states, in the order in which it is hashed. Lots, places and people by their row id."""

    previous_hash: str
    clinic_id: int
    sequence: int
    kind: str
    lot_id: int
    place_id: int
    quantity: int
    source: str
    reason: str
    note: str
    by_id: int | None
    at: dt.datetime
    recorded_at: dt.datetime
    key: str | None
    corrects_id: int | None


def _moment(value: object) -> str:
    if not isinstance(value, dt.datetime):
        raise TypeError(f"{value!r} cannot stand in the ledger's chain.")
    return value.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def canonical(link: Link) -> bytes:
    """The bytes that are hashed for a row; raises TypeError for a value the rule does not know."""
    return json.dumps([VERSION, *link], ensure_ascii=False, separators=(",", ":"), default=_moment).encode()


def row_hash(link: Link) -> str:
    """SHA-256 (FIPS 180-4) of the canonical bytes, as 64 hexadecimal digits."""
    return hashlib.sha256(canonical(link)).hexdigest()
