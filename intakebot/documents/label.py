"""The shipping label: to, from, case number, a QR code, and the marks the parcel needs.

The QR code holds a web address given by the caller. It opens the intake for a signed-in person only: the address
itself carries no name, no secret and no key, so a photographed label gives nothing away.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import segno
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from intakebot.documents.fonts import BOLD, REGULAR, printable, register_fonts
from intakebot.documents.pdf import HAIRLINE, INK, PAPERS, Paper
from intakebot.errors import BadInputError

QUIET_ZONE = 4
"""Modules of white around a QR code (ISO/IEC 18004)."""
LONGEST_URL = 300
_WIDTH, _HEIGHT, _QR = 150 * mm, 105 * mm, 42 * mm


@dataclass(frozen=True)
class Label:
    """marks: lines such as a battery mark or `This side up`. cut: words along the cutting line."""

    reference: str
    to_title: str
    to: tuple[str, ...]
    from_title: str
    sender: tuple[str, ...]
    url: str
    marks: tuple[str, ...] = ()
    cut: str = ""
    locale: str = "en"


def qr_code(url: str) -> segno.QRCode:
    """A QR code of error level M (about 15 % may be lost to dirt or a crease).

    Raises: BadInputError for anything but a plain http(s) address of at most 300 characters.
    """
    plain = url.startswith(("https://", "http://")) and url.isascii() and url.isprintable() and " " not in url
    if not plain or len(url) > LONGEST_URL or "@" in url:
        raise BadInputError("url", url, f"a plain web address of at most {LONGEST_URL} characters")
    return segno.make(url, error="m", micro=False)


def qr_svg(url: str) -> str:
    """The code as inline SVG: black on white in both themes, because readers expect dark on light."""
    code = qr_code(url)
    return str(
        code.svg_inline(scale=4, border=QUIET_ZONE, dark="#000", light="#fff", svgclass="qr", lineclass=None)
    )


def qr_png(url: str, scale: int = 6) -> bytes:
    """The code as PNG bytes."""
    out = io.BytesIO()
    qr_code(url).save(out, kind="png", scale=scale, border=QUIET_ZONE)
    return out.getvalue()


def label_pdf(label: Label, *, paper: Paper = "A4") -> bytes:
    """One page with the label at the top, to be cut out. Same input, same bytes.

    Raises: BadInputError for an unknown paper or an unusable address.
    """
    if paper not in PAPERS:
        raise BadInputError("paper", paper, "A4 or LETTER")
    register_fonts()
    code = qr_code(label.url)
    out = io.BytesIO()
    page_width, page_height = PAPERS[paper]
    canvas = Canvas(out, pagesize=PAPERS[paper], invariant=1, lang=label.locale)
    canvas.setTitle(printable(label.reference))
    canvas.setCreator("intakebot")
    left, bottom = (page_width - _WIDTH) / 2, page_height - 20 * mm - _HEIGHT
    _border(canvas, left, bottom, label.cut)
    _lines(canvas, left + 8 * mm, bottom + _HEIGHT - 10 * mm, label)
    _draw_qr(canvas, code, left + _WIDTH - 8 * mm - _QR, bottom + _HEIGHT - 8 * mm - _QR)
    _reference(canvas, left + _WIDTH - 8 * mm, bottom + _HEIGHT - 8 * mm - _QR - 9 * mm, label.reference)
    _marks(canvas, left + 8 * mm, bottom + 7 * mm, label.marks)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _border(canvas: Canvas, left: float, bottom: float, cut: str) -> None:
    canvas.setStrokeColor(HAIRLINE)
    canvas.setDash(4, 3)
    canvas.rect(left, bottom, _WIDTH, _HEIGHT)
    canvas.setDash()
    canvas.setFillColor(INK)
    canvas.setFont(REGULAR, 8)
    canvas.drawString(left, bottom - 5 * mm, printable(cut))


def _lines(canvas: Canvas, x: float, y: float, label: Label) -> None:
    """Sender small on top, the shop large below."""
    room = _WIDTH - 24 * mm - _QR
    canvas.setFillColor(INK)
    for title, lines, size in ((label.from_title, label.sender, 9.0), (label.to_title, label.to, 13.0)):
        canvas.setFont(REGULAR, 8)
        canvas.drawString(x, y, printable(title))
        y -= size * 1.4
        for number, line in enumerate(lines):
            font = BOLD if size > 10 and number == 0 else REGULAR
            _fitted(canvas, x, y, printable(line), font, size, room)
            y -= size * 1.35
        y -= 5 * mm


def _fitted(canvas: Canvas, x: float, y: float, text: str, font: str, size: float, room: float) -> None:
    """A line made narrower until it fits, so that no part of an address is cut off."""
    width = stringWidth(text, font, size)
    canvas.setFont(font, size if width <= room else size * room / width)
    canvas.drawString(x, y, text)


def _reference(canvas: Canvas, right: float, y: float, reference: str) -> None:
    text = printable(reference)
    size = min(16.0, 16.0 * _QR / max(stringWidth(text, BOLD, 16), 1))
    canvas.setFont(BOLD, size)
    canvas.drawRightString(right, y, text)


def _marks(canvas: Canvas, x: float, y: float, marks: tuple[str, ...]) -> None:
    for line in reversed(marks):
        _fitted(canvas, x, y, printable(line), BOLD, 10, _WIDTH - 16 * mm)
        y += 5.5 * mm


def _draw_qr(canvas: Canvas, code: segno.QRCode, x: float, y: float) -> None:
    rows = [list(row) for row in code.matrix_iter(border=QUIET_ZONE)]
    module = _QR / len(rows)
    canvas.setFillColorRGB(0, 0, 0)
    for row_number, row in enumerate(rows):
        for column, dark in enumerate(row):
            if dark:
                top = y + _QR - (row_number + 1) * module
                canvas.rect(x + column * module, top, module, module, stroke=0, fill=1)
