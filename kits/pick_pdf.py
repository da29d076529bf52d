"""The tray sheet on paper: works when the network is down, with boxes to tick and space for labels."""

import io
from collections.abc import Iterator, Sequence
from functools import partial
from xml.sax.saxutils import escape

import zxingcpp
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    Flowable,
    KeepTogether,
    PageBreak,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
    TableStyle,
)

from kits.pick_sheets import starts, teeth, where
from kits.pick_values import PickLine, PickList, day_words

# The typeface that comes with the drawing library: it has every sign of our sentences.
_FONT, _BOLD = "Vera", "VeraBd"
_SMALL, _NORMAL, _HEAD, _TITLE = 7.5, 8.5, 10, 14
_MARGIN, _CODE_SIDE = 14 * mm, 20 * mm
_WIDTHS = (7 * mm, 9 * mm, 68 * mm, 58 * mm, 40 * mm)
CAUTION = (
    "Planning aid. The label on the pack and the clinician decide; check expiry, seal and sterile load of "
    "every item. Write down what was opened, used and wasted, and enter it the same day."
)


def to_pdf(lists: Sequence[PickList]) -> bytes:
    """Tray sheets as PDF, each case on a page of its own; the same lists give the same bytes."""
    _fonts()
    buffer = io.BytesIO()
    document = SimpleDocTemplate(
        buffer,
        pagesize=A4,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN,
        bottomMargin=16 * mm,
        title="Tray sheets",
        invariant=1,
    )
    story: list[Flowable] = []
    for found in lists:
        story += [*_sheet(found), PageBreak()]
    document.build(story[:-1] or [Paragraph("No surgery on this day.", _style())], **_footers(lists))
    return buffer.getvalue()


def modules(text: str) -> list[list[bool]]:
    """The dark and light squares of a Data Matrix code (ISO/IEC 16022) of a text, quiet zone included."""
    code = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.DataMatrix, force_square=True)
    return [[pixel == 0 for pixel in row] for row in memoryview(code.to_image(scale=1)).tolist()]


class MatrixCode(Flowable):
    """A Data Matrix code drawn as rectangles, so that it prints sharp at any size."""

    def __init__(self, text: str, *, side: float) -> None:
        super().__init__()
        self._modules = modules(text)
        self.width = self.height = side

    def wrap(self, *_) -> tuple[float, float]:
        """The room it takes, in points."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw each dark square."""
        step = self.width / len(self._modules)
        for row, squares in enumerate(self._modules):
            for column, dark in enumerate(squares):
                if dark:
                    y = self.height - (row + 1) * step
                    self.canv.rect(column * step, y, step, step, stroke=0, fill=1)


def _fonts() -> None:
    for name, file in ((_FONT, "Vera.ttf"), (_BOLD, "VeraBd.ttf")):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, file))


def _style(size: float = _NORMAL, *, bold: bool = False) -> ParagraphStyle:
    return ParagraphStyle("", fontName=_BOLD if bold else _FONT, fontSize=size, leading=size * 1.3)


def _footers(lists: Sequence[PickList]) -> dict:
    names = ", ".join(found.case.code for found in lists)
    draw = partial(_footer, names[:80])
    return {"onFirstPage": draw, "onLaterPages": draw}


def _footer(names: str, canvas: Canvas, document: SimpleDocTemplate) -> None:
    canvas.setFont(_FONT, _SMALL)
    canvas.drawString(_MARGIN, 9 * mm, names)
    canvas.drawRightString(A4[0] - _MARGIN, 9 * mm, f"page {document.page}")


def _sheet(found: PickList) -> Iterator[Flowable]:
    yield _head(found)
    yield Paragraph(escape(f"{found.readiness.word.upper()}: {found.readiness.sentence}"), _style(bold=True))
    yield Paragraph(escape(CAUTION), _style(_SMALL))
    yield from _block("Instrument sets: write down the load of each", found.sets)
    yield from _block("Open at set-up", found.open)
    for pouch in found.pouches:
        chance = f" ({round(pouch.chance * 100)} in 100)" if pouch.chance is not None else ""
        yield from _block(f"Sealed. {pouch.heading}{chance}", pouch.lines, sealed=True)
    yield from _block("Room stock: only if used", found.room)
    if found.decide:
        yield Paragraph("To be decided", _style(_HEAD, bold=True))
        for text in found.questions:
            yield Paragraph(escape(f"– {text}"), _style())
    yield Spacer(0, 6 * mm)
    yield _signatures()


def _head(found: PickList) -> Flowable:
    case = found.case
    title = f"{found.procedures} {teeth(found)}"
    facts = (
        f"{day_words(case.on)}, {starts(found)}  ·  room {case.room or '–'}  ·  patient {case.patient}  ·  "
        f"{case.clinician or 'clinician open'}  ·  {case.assistant or 'assistant open'}  ·  "
        f"{case.minutes} minutes"
    )
    declined = bool(case.patient.declined_origins)
    consent = f"The patient: {case.patient.consent}."
    words = [
        Paragraph(escape(title), _style(_TITLE, bold=True)),
        Paragraph(escape(facts), _style()),
        Paragraph(escape(consent), _style(bold=declined)),
    ]
    code = [MatrixCode(case.code, side=_CODE_SIDE), Paragraph(case.code, _style(bold=True))]
    head = Table([[words, code]], colWidths=(sum(_WIDTHS) - 26 * mm, 26 * mm))
    head.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0)]))
    return head


def _block(title: str, lines: Sequence[PickLine], *, sealed: bool = False) -> Iterator[Flowable]:
    if not lines:
        return
    table = Table([_cells(line) for line in lines], colWidths=_WIDTHS)
    rule = (
        ("BOX", (0, 0), (-1, -1), 0.8, "black", None, (3, 2))
        if sealed
        else ("BOX", (0, 0), (-1, -1), 0.8, "black")
    )
    table.setStyle(
        TableStyle(
            [
                rule,
                ("LINEBELOW", (0, 0), (-1, -2), 0.25, "grey"),
                ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
                ("TOPPADDING", (0, 0), (-1, -1), 1.5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
            ]
        )
    )
    heading = Paragraph(escape(title), _style(_HEAD, bold=True))
    yield Spacer(0, 2.5 * mm)
    if len(lines) <= 8:
        yield KeepTogether([heading, table])
    else:
        yield heading
        yield table


class _Box(Flowable):
    """An empty box to tick, or a ticked one for what already lies on the tray."""

    def __init__(self, ticked: bool) -> None:
        super().__init__()
        self.ticked, self.width, self.height = ticked, 3.4 * mm, 3.4 * mm

    def draw(self) -> None:
        self.canv.rect(0, 0, self.width, self.height)
        if self.ticked:
            self.canv.line(0.6 * mm, 1.6 * mm, 1.4 * mm, 0.7 * mm)
            self.canv.line(1.4 * mm, 0.7 * mm, 2.9 * mm, 2.9 * mm)


def _cells(line: PickLine) -> list:
    lots = "<br/>".join(
        escape(f"{lot} · {place}{f' · to {expiry:%d.%m.%Y}' if expiry else ''}")
        for lot, expiry, place, _ in where(line)
    )
    if line.coming and line.left:
        lots += f"<br/>{escape(line.order_words)}"
    if line.short:
        lots += f"<br/><b>short {line.short}</b>"
    name = escape(line.description) + (f" <b>{escape(line.tooth)}</b>" if line.tooth else "")
    if line.unresolved:
        name += f"<br/>{escape(line.unresolved)}"
    label = "place the label here" if line.must_scan else "used / wasted / back"
    return [
        _Box(line.state == "done"),
        Paragraph(str(line.quantity), _style(bold=True)),
        Paragraph(name, _style()),
        Paragraph(lots, _style(_SMALL)),
        Paragraph(label, _style(_SMALL)),
    ]


def _signatures() -> Flowable:
    table = Table([["Set out by", "Read back by", "Closed by"]], colWidths=[sum(_WIDTHS) / 3] * 3)
    table.setStyle(
        TableStyle([("FONT", (0, 0), (-1, -1), _FONT, _SMALL), ("LINEABOVE", (0, 0), (-1, -1), 0.5, "black")])
    )
    return table
