"""read_label from text and from pictures; the pictures are drawn by the writer of the reading library.

Codes: GTIN 07032069804988 with lot and serial, after the element strings of GS1 General Specifications.
"""

import io
import json

import numpy as np
import pytest
import zxingcpp
from django.core.management import CommandError, call_command
from PIL import Image

from stock.label_pictures import NoCode, NoPicture, codes_in

HRI = "(01)07032069804988(17)281231(10)LOT7A(21)SER9"


def picture(text=HRI, kind=zxingcpp.BarcodeFormat.DataMatrix, turn=0):
    code = zxingcpp.create_barcode(text, kind, gs1=True)
    image = Image.fromarray(np.array(code.to_image(scale=6))).rotate(turn, expand=True, fillcolor=255)
    buffer = io.BytesIO()
    image.save(buffer, "PNG")
    return buffer.getvalue()


@pytest.mark.parametrize("turn", [0, 13, 90])
@pytest.mark.parametrize("kind", [zxingcpp.BarcodeFormat.DataMatrix, zxingcpp.BarcodeFormat.QRCode])
def test_the_separator_of_a_pictured_code_is_kept(kind, turn):
    (text,) = codes_in(picture(kind=kind, turn=turn))
    assert text[3:] == "01070320698049881728123110LOT7A\x1d21SER9"


def test_a_slanted_line_of_bars_is_found_by_turning():
    found = codes_in(picture("(01)07032069804988(10)LOT7A", zxingcpp.BarcodeFormat.Code128, turn=47))
    assert found == ["]C1010703206980498810LOT7A"]


def test_what_is_no_picture_or_holds_no_code_is_refused():
    with pytest.raises(NoPicture, match="Use JPEG or PNG"):
        codes_in(b"text")
    blank = io.BytesIO()
    Image.new("L", (200, 200), 255).save(blank, "PNG")
    with pytest.raises(NoCode, match="type the code"):
        codes_in(blank.getvalue())


def run(capsys, *arguments):
    call_command("read_label", *arguments, "--format", "json", "--today", "2026-11-24")
    return json.loads(capsys.readouterr().out)


@pytest.mark.parametrize(
    "text", [HRI, "01070320698049881728123110LOT7A^21SER9", "]d201070320698049881728123110LOT7A<GS>21SER9"]
)
def test_the_command_reads_text_in_every_way_it_is_typed(capsys, text):
    label = run(capsys, text)
    assert (label["standard"], label["gtin"]) == ("GS1", "07032069804988")
    assert (label["lot"], label["serial"], label["expiry"]) == ("LOT7A", "SER9", "2028-12-31")
    assert set(label) == {
        *("standard", "gtin", "product", "lot", "serial", "donation", "expiry", "made_on"),
        *("quantity", "division", "warnings", "problems"),
    }


def test_the_command_reads_a_picture(capsys, tmp_path):
    (tmp_path / "label.png").write_bytes(picture())
    assert run(capsys, "--image", str(tmp_path / "label.png"))["serial"] == "SER9"


def test_exit_codes(tmp_path):
    """A wrong check digit is a problem (1); neither or a missing file is a wrong call (2)."""
    cases = [
        (("(01)07032069804987",), 1),
        ((), 2),
        (("x", "--image", "y"), 2),
        (("--image", str(tmp_path / "none.png")), 2),
    ]
    for arguments, code in cases:
        with pytest.raises(CommandError) as refused:
            call_command("read_label", *arguments)
        assert refused.value.returncode == code, arguments
