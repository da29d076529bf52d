"""The one door for scanned or typed text: which standard it follows, and what it says. Pure."""

from datetime import date

from stock.scanning import gs1, hibc, isbt128
from stock.scanning.label import UNKNOWN, Label
from stock.scanning.symbols import unwrap

# HIBC and ISBT 128 begin with signs no GS1 message begins with, so they are asked first.
_READERS = (hibc.read, isbt128.read, gs1.read)
# The largest two-dimensional symbol holds 4,296 letters and digits; a longer text was pasted, not scanned.
_LONGEST_CODE = 4296


def read(text: str | bytes, *, today: date) -> Label:
    """Read any scan: GS1 (raw, bracketed, web address, bare item number), HIBC or ISBT 128.

    Separators may be real or spelt out (``^``, ``<GS>``, ``\\\\x1d``), with or without a symbology prefix and
    line end. ``today`` settles the century of two-digit years; the machine's clock is never asked.
    Text that is no code, such as a lot or chart number typed by hand, comes back as "unknown" without
    problems. Nothing is raised: whatever is wrong with a code stands in the label's problems.
    """
    raw = text if isinstance(text, str) else text.decode("utf-8", errors="backslashreplace")
    scan = unwrap(raw)
    if not scan.text.strip() or len(scan.text) > _LONGEST_CODE:
        return Label(raw=raw, standard=UNKNOWN)
    for reader in _READERS:
        reading = reader(scan, today=today)
        if reading is not None:
            return reading.close(raw)
    return Label(raw=raw, standard=UNKNOWN)
