"""Encryption at rest for names: a MultiFernet field and a blind index for equality look-ups.

Keys come from ``settings.FIELD_KEYS``, newest first, and live outside the database. A row that was
tampered with raises ``cryptography.fernet.InvalidToken`` instead of giving back garbage. The blind
index is an HMAC of the folded text: it leaks equality, nothing else.
"""

import base64
import hashlib
import hmac
import unicodedata
from functools import lru_cache

from cryptography.fernet import Fernet, MultiFernet
from django.conf import settings
from django.core.exceptions import FieldError
from django.db import models


@lru_cache(maxsize=4)
def _fernet(keys: tuple[str, ...]) -> MultiFernet:
    return MultiFernet([Fernet(key) for key in keys])


def encrypt(text: str) -> str:
    """Encrypt text with the newest key; the empty text stays empty."""
    return _fernet(tuple(settings.FIELD_KEYS)).encrypt(text.encode()).decode("ascii") if text else ""


def decrypt(token: str) -> str:
    """Decrypt a token made by ``encrypt``; raises InvalidToken when it was altered or no key fits."""
    return _fernet(tuple(settings.FIELD_KEYS)).decrypt(token.encode("ascii")).decode() if token else ""


def encrypt_bytes(content: bytes) -> bytes:
    """Encrypt a whole file with the newest key."""
    return _fernet(tuple(settings.FIELD_KEYS)).encrypt(content)


def decrypt_bytes(token: bytes) -> bytes:
    """Decrypt what ``encrypt_bytes`` made; raises InvalidToken when it was altered or no key fits."""
    return _fernet(tuple(settings.FIELD_KEYS)).decrypt(token)


def fold(text: str) -> str:
    """Text without case, accents or doubled blanks, so that people find what they remember."""
    plain = unicodedata.normalize("NFKD", text)
    return " ".join("".join(c for c in plain if not unicodedata.combining(c)).casefold().split())


def blind_index(text: str) -> str:
    """HMAC-SHA256 of the folded text under a key derived from the oldest field key."""
    if not text:
        return ""
    key = hashlib.sha256(b"blind index" + base64.urlsafe_b64decode(settings.FIELD_KEYS[-1])).digest()
    return hmac.new(key, fold(text).encode(), hashlib.sha256).hexdigest()


class EncryptedTextField(models.TextField):
    """Text that is encrypted on its way into the database; look-ups other than isnull are refused."""

    def get_prep_value(self, value):
        """Encrypt on the way in."""
        return value if value is None else encrypt(value)

    def from_db_value(self, value, expression, connection):
        """Decrypt on the way out; raises InvalidToken for an altered row."""
        return value if value is None else decrypt(value)

    def get_lookup(self, lookup_name):
        """Refuse look-ups that can never match; raises FieldError."""
        if lookup_name != "isnull":
            raise FieldError(f"{self.name} is encrypted; look it up by its blind index instead.")
        return super().get_lookup(lookup_name)
