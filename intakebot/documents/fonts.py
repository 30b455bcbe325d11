"""The font inside every PDF: DejaVu Sans (free licence beside the files), so that names from all over Europe print.

A character it lacks is shown as U+FFFD rather than left out, so that nobody reads a shortened name as the whole one.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

REGULAR, BOLD = "SheetSans", "SheetSans-Bold"
_FOLDER = Path(__file__).parent / "fonts"


@lru_cache(maxsize=1)
def register_fonts() -> None:
    """Make both weights known to the PDF library, once."""
    pdfmetrics.registerFont(TTFont(REGULAR, str(_FOLDER / "DejaVuSans.ttf")))
    pdfmetrics.registerFont(TTFont(BOLD, str(_FOLDER / "DejaVuSans-Bold.ttf")))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD)


@lru_cache(maxsize=1)
def _known() -> frozenset[int]:
    register_fonts()
    return frozenset(pdfmetrics.getFont(REGULAR).face.charToGlyph)


def printable(text: str) -> str:
    """The text with every character that has no glyph, or is a control, replaced by U+FFFD (line ends by blanks)."""
    known = _known()
    return "".join(
        " "
        if character in "\n\r\t"
        else character
        if ord(character) in known and ord(character) >= 32
        else "\ufffd"
        for character in text
    )
