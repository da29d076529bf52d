"""Check digits and check characters of the three standards. Pure."""

import re

from biip.checksums import gs1_standard_check_digit
from stdnum.iso7064 import mod_37_2

HIBC_ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%"
_ISBT_ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"


def gs1_digit(payload: str) -> str:
    """Check digit of a GTIN, SSCC or GRAI: weights 3, 1, 3, 1, ... from the right, modulo 10.

    ``payload`` is the number without its check digit. GS1 General Specifications, section 7.9.1.
    """
    return str(gs1_standard_check_digit(payload))


def gs1_is_right(number: str) -> bool:
    """Whether an all-digit number ends in its GS1 check digit and is more than a row of zeros."""
    return (
        bool(re.fullmatch("[0-9]{2,}", number))
        and number.strip("0") != ""
        and (gs1_digit(number[:-1]) == number[-1])
    )


def hibc_character(data: str) -> str | None:
    """Check character of a HIBC code: sum of all characters, the leading + included, modulo 43.

    None when ``data`` holds a character outside the 43 of the alphabet. ANSI/HIBC 2.6.
    """
    if any(character not in HIBC_ALPHABET for character in data):
        return None
    return HIBC_ALPHABET[sum(HIBC_ALPHABET.index(character) for character in data) % 43]


def isbt_character(number: str) -> str:
    """Check character of a donation number (13 characters, digits and capitals): ISO 7064 mod 37-2.

    ICCBBA ST-001, appendix on the keyboard-entry check character.
    """
    return str(mod_37_2.calc_check_digit(number, _ISBT_ALPHABET))


def isbt_value(number: str) -> int:
    """The same check as a number from 0 to 36, as flag characters and model numbers carry it."""
    return _ISBT_ALPHABET.index(isbt_character(number))
