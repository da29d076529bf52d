"""Codes in a photo of a label: DataMatrix, QR, Code 128 and EAN, with their separators kept.

Only the kinds of code that are on such labels are looked for: with all kinds on, a reader now and then finds
a code that is not there. What is found is text for ``stock.scanning``, which checks digits and dates.
"""

import io

import zxingcpp
from PIL import Image, UnidentifiedImageError

from practice.refusals import Refusal

FORMATS = (
    zxingcpp.BarcodeFormat.DataMatrix,
    zxingcpp.BarcodeFormat.QRCode,
    zxingcpp.BarcodeFormat.Code128,
    zxingcpp.BarcodeFormat.EAN13,
    zxingcpp.BarcodeFormat.EAN8,
    zxingcpp.BarcodeFormat.UPCA,
    zxingcpp.BarcodeFormat.UPCE,
)
# Bars are read along lines, so a slanted one is tried again at these turns (degrees).
TURNS = (0, 20, -20, 40, -40, 60, -60, 80)
MOST_PIXELS = 40_000_000


class NoPicture(Refusal):
    """A file that is no picture, or one that is too large."""


class NoCode(Refusal):
    """No code can be read in the picture."""


def codes_in(data: bytes) -> list[str]:
    """The codes in a picture as a scanner would type them, symbology identifier first ("]d201…").

    Raises NoPicture or NoCode.
    """
    picture = _open(data)
    for turn in TURNS:
        turned = picture.rotate(turn, expand=True, fillcolor=255) if turn else picture
        found = zxingcpp.read_barcodes(turned, formats=FORMATS)
        texts = [f"{code.symbology_identifier}{code.bytes.decode('latin-1')}" for code in found if code.valid]
        if texts:
            return list(dict.fromkeys(texts))
    raise NoCode(
        "No code can be read in the picture. Take it closer, sharp and without glare, or type the code."
    )


def _open(data: bytes) -> Image.Image:
    try:
        picture = Image.open(io.BytesIO(data))
        if picture.width * picture.height > MOST_PIXELS:
            raise NoPicture("The picture is too large. Take it with fewer than 40 million pixels.")
        return picture.convert("L")
    except (UnidentifiedImageError, OSError, Image.DecompressionBombError) as fault:
        raise NoPicture("This file is no picture that can be opened. Use JPEG or PNG.") from fault
