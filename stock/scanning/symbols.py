"""What a scanner puts round a code: symbology prefixes, line ends, spelt-out separators. Pure."""

import re
from dataclasses import dataclass

GROUP_SEPARATOR = "\x1d"

# Symbology identifiers (ISO/IEC 15424) that say "this is a GS1 message" and "this is a bare item number".
GS1_MESSAGE_SYMBOLS = frozenset({"C1", "e0", "e1", "e2", "d2", "Q3", "J1"})
ITEM_NUMBER_SYMBOLS = frozenset({"E0", "E4", "I1"})

_PREFIX = re.compile(r"\]([A-Za-z])([0-9A-Za-z])")
# None of these spellings can be part of a GS1 value except "<GS>" and "<FNC1>", which no maker puts in a lot.
_SPELT_SEPARATOR = re.compile(
    r"\\x1d|\\u001d|\\035|<GS>|\{GS\}|\[GS\]|<FNC1>|\{FNC1\}|\[FNC1\]|~1|\^|\N{SYMBOL FOR GROUP SEPARATOR}",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Scan:
    """A scan without its wrapping: the text itself and the symbol it was read from ("d2"), if told."""

    text: str
    symbol: str | None = None


def unwrap(raw: str) -> Scan:
    """Take off line ends, leading blanks and a symbology prefix; blanks at the end stay (HIBC needs them)."""
    text = raw.strip("\r\n\t\x00\ufeff").lstrip()
    prefix = _PREFIX.match(text)
    if prefix is None:
        return Scan(text)
    return Scan(text[prefix.end() :], "".join(prefix.groups()))


def with_real_separators(text: str) -> str:
    """Turn every usual spelling of the separator (``^``, ``<GS>``, ``\\x1d`` ...) into the real character."""
    return _SPELT_SEPARATOR.sub(GROUP_SEPARATOR, text)
