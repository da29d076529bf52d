"""Secrets kept in files: made on the first run with tight permissions, never committed."""

import base64
import os
import secrets
from pathlib import Path


def read_or_make(path: Path, *, given: str = "") -> str:
    """Return the secret given, or the one in the file; make the file (mode 0600) when it is missing.

    A new secret is 32 random bytes in URL-safe base64, which also is a valid Fernet key.
    """
    if given:
        return given
    try:
        return path.read_text(encoding="ascii").strip()
    except FileNotFoundError:
        pass
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = base64.urlsafe_b64encode(secrets.token_bytes(32)).decode("ascii")
    try:
        # O_EXCL: two processes starting at once must agree on one secret.
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_text(encoding="ascii").strip()
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(fresh)
    return fresh
