"""Any `Sheet` as a PDF on A4 or Letter: one renderer for estimate, packing sheet, pre-triage and bench record.

The same sheet gives the same bytes. Every page carries the reference and `page x of y`, because sheets get separated on
a bench. Colours are ink and one warning ink; tones are told by words, a heavy frame or a rule at the side, so a grey
copy loses nothing.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, Literal
from xml.sax.saxutils import escape

from reportlab.lib.colors import HexColor
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    CondPageBreak,
    Flowable,
    KeepTogether,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    TableStyle,
)
from reportlab.platypus import Table as PdfTable
from reportlab.platypus.doctemplate import LayoutError

from intakebot.documents.fonts import BOLD, REGULAR, printable, register_fonts
from intakebot.documents.pdf_drawing import drawing
from intakebot.documents.pictures import Picture
from intakebot.errors import BadInputError
from intakebot.sheets import Section, Sheet, Table

Paper = Literal["A4", "LETTER"]
PAPERS: dict[Paper, tuple[float, float]] = {"A4": A4, "LETTER": LETTER}
INK, MUTED, HAIRLINE, WARN = (
    HexColor("#1c1b19"),
    HexColor("#5c5850"),
    HexColor("#b9b3a7"),
    HexColor("#8a2a1b"),
)
_SIDE, _TOP, _BOTTOM = 18 * mm, 14 * mm, 16 * mm
_FRAME_PADDING = 6
"""What the PDF library's page frame keeps free inside the margins, in points."""
_HEADING_NEEDS = 62
"""A heading at the foot of a page wants room for itself and two rows below it, in points."""
_SCALES = (1.0, 0.94, 0.88, 0.82, 0.76, 0.7, 0.66)
_SPLIT_ROWS_FROM = 60.0
"""A table row is broken over two pages only where at least this much (points) stays together on each, if possible."""
_TICK = "\u2610 "
_BULLET = "\u2022 "


@dataclass(frozen=True)
class _Look:
    """Paragraph styles at a scale, and the room between the margins."""

    scale: float
    width: float
    page_height: float
    split_rows_from: float
    body: ParagraphStyle
    small: ParagraphStyle
    right: ParagraphStyle
    title: ParagraphStyle
    reference: ParagraphStyle
    heading: ParagraphStyle
    label: ParagraphStyle
    item: ParagraphStyle
    strong: ParagraphStyle
    strong_right: ParagraphStyle


def render_pdf(
    sheet: Sheet,
    *,
    paper: Paper = "A4",
    pictures: Mapping[str, Picture] | None = None,
    one_page: bool = False,
) -> bytes:
    """The sheet as PDF bytes.

    Args:
        pictures: figure id -> picture, for sections with a `figure`; a figure without its picture is left out.
        one_page: type is made smaller, to 66 % at least, until it fits on one page; if even that does not help, the
            sheet has more pages rather than less content. Without it, type 6 % smaller is taken where that saves a page.
    Raises:
        BadInputError: unknown paper.
    """
    if paper not in PAPERS:
        raise BadInputError("paper", paper, "A4 or LETTER")
    register_fonts()
    data, pages = _build(sheet, paper, pictures or {}, _SCALES[0])
    if one_page:
        for scale in _SCALES[1:]:
            if pages == 1:
                break
            data, pages = _build(sheet, paper, pictures or {}, scale)
        return data
    tighter, fewer = _build(sheet, paper, pictures or {}, _SCALES[1]) if pages > 1 else (data, pages)
    return tighter if fewer < pages else data


def _build(sheet: Sheet, paper: Paper, pictures: Mapping[str, Picture], scale: float) -> tuple[bytes, int]:
    """Bytes and number of pages; where a row cannot be broken well, it is broken anywhere."""
    size = PAPERS[paper]
    room = (size[0] - 2 * _SIDE - 2 * _FRAME_PADDING, size[1] - _TOP - _BOTTOM)
    try:
        return _layout(sheet, size, pictures, _look(scale, *room, _SPLIT_ROWS_FROM))
    except LayoutError:
        return _layout(sheet, size, pictures, _look(scale, *room, 1))


def _layout(
    sheet: Sheet, size: tuple[float, float], pictures: Mapping[str, Picture], look: _Look
) -> tuple[bytes, int]:
    out = io.BytesIO()
    document = SimpleDocTemplate(
        out,
        pagesize=size,
        leftMargin=_SIDE,
        rightMargin=_SIDE,
        topMargin=_TOP,
        bottomMargin=_BOTTOM,
        title=f"{sheet.title} {sheet.reference}".strip(),
        author="",
        subject=sheet.subtitle,
        creator="intakebot",
        lang=sheet.locale,
        invariant=1,
    )
    canvases: list[_NumberedCanvas] = []
    maker = partial(_NumberedCanvas, sheet=sheet, made=canvases)
    document.build(_story(sheet, pictures, look), canvasmaker=maker)
    return out.getvalue(), canvases[-1].pages


class _NumberedCanvas(Canvas):
    """Writes `reference - page x of y` on every page, once the number of pages is known."""

    def __init__(self, *args: Any, sheet: Sheet, made: list[_NumberedCanvas], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._sheet = sheet
        self._saved: list[dict[str, Any]] = []
        self.pages = 0
        made.append(self)

    def showPage(self) -> None:
        self._saved.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        self.pages = len(self._saved)
        for number, state in enumerate(self._saved, start=1):
            self.__dict__.update(state)
            self.pages = len(self._saved)
            self._foot(number)
            super().showPage()
        super().save()

    def _foot(self, number: int) -> None:
        width = self._pagesize[0]
        self.setFont(REGULAR, 8)
        self.setFillColor(MUTED)
        self.drawString(
            _SIDE + _FRAME_PADDING, 10.5 * mm, printable(f"{self._sheet.reference}   {self._sheet.title}")
        )
        self.drawRightString(width - _SIDE - _FRAME_PADDING, 10.5 * mm, f"{number} / {self.pages}")


def _look(scale: float, width: float, page_height: float, split_rows_from: float) -> _Look:
    def style(name: str, size: float, **more: Any) -> ParagraphStyle:
        values = {"fontName": REGULAR, "textColor": INK, "leading": size * 1.36 * scale} | more
        return ParagraphStyle(name, fontSize=size * scale, **values)

    return _Look(
        scale=scale,
        width=width,
        page_height=page_height,
        split_rows_from=split_rows_from,
        body=style("body", 9.5, spaceAfter=2 * scale),
        small=style("small", 8, textColor=MUTED),
        right=style("right", 9.5, alignment=TA_RIGHT),
        title=style("title", 17, fontName=BOLD),
        reference=style("reference", 13, fontName=BOLD, alignment=TA_RIGHT),
        heading=style("heading", 11.5, fontName=BOLD, spaceAfter=2 * scale),
        label=style("label", 9, textColor=MUTED),
        item=style(
            "item", 9.5, leftIndent=17 * scale, bulletIndent=0, bulletFontName=REGULAR, spaceAfter=1.5 * scale
        ),
        strong=style("strong", 9.5, fontName=BOLD),
        strong_right=style("strong_right", 9.5, fontName=BOLD, alignment=TA_RIGHT),
    )


def _story(sheet: Sheet, pictures: Mapping[str, Picture], look: _Look) -> list[Flowable]:
    head = PdfTable(
        [[_text(sheet.title, look.title), _text(sheet.reference, look.reference)]],
        colWidths=[look.width * 0.68, look.width * 0.32],
        hAlign="LEFT",
    )
    head.setStyle(_bare(("LINEBELOW", (0, 0), (-1, -1), 0.8, INK), ("BOTTOMPADDING", (0, 0), (-1, -1), 4)))
    story: list[Flowable] = [head, Spacer(0, 4 * look.scale)]
    if sheet.subtitle:
        story += [_text(sheet.subtitle, look.body), Spacer(0, 2 * look.scale)]
    shown = [section for section in sheet.sections if not section.is_empty]
    while shown:
        if len(shown) > 1 and sheet.audience == "bench" and all(_is_tick_list(part) for part in shown[:2]):
            story += _two_lists(shown[0], shown[1], look)
            shown = shown[2:]
        else:
            story += _section(shown[0], pictures, look)
            shown = shown[1:]
    if sheet.footer:
        story += [Spacer(0, 8 * look.scale), _text(sheet.footer, look.small)]
    return story


def _is_tick_list(section: Section) -> bool:
    """Only items to tick, and few enough to stand beside another such list."""
    others = section.paragraphs or section.rows or section.tables or section.figure or section.notes
    return section.tone == "plain" and section.ticks and not others and len(section.items) <= 12


def _two_lists(left: Section, right: Section, look: _Look) -> list[Flowable]:
    half = look.width / 2
    cells = [
        [_text(section.title, look.heading), *_body(section, half - 4, look)] for section in (left, right)
    ]
    table = PdfTable([cells], colWidths=[half, half], hAlign="LEFT", splitInRow=look.split_rows_from)
    table.setStyle(_bare(("VALIGN", (0, 0), (-1, -1), "TOP")))
    return [Spacer(0, 9 * look.scale), table]


def _section(section: Section, pictures: Mapping[str, Picture], look: _Look) -> list[Flowable]:
    framed = section.tone != "plain"
    inner = look.width - (18 if framed else 0)
    parts: list[Flowable] = [_text(section.title, look.heading)] if section.title else []
    parts += [_text(paragraph, look.body) for paragraph in section.paragraphs]
    picture = pictures.get(section.figure or "")
    parts += _body(section, inner, look) if picture is None else _pictured(section, picture, inner, look)
    if section.notes:
        parts += [Spacer(0, 2), *(_text(note, look.small) for note in section.notes)]
    gap = Spacer(0, 9 * look.scale)
    if framed:
        return [gap, _frame(parts, section.tone, look)]
    head, rest = parts[:2], parts[2:]
    return [gap, CondPageBreak(_HEADING_NEEDS * look.scale), KeepTogether(head), *rest]


def _body(section: Section, width: float, look: _Look) -> list[Flowable]:
    """Rows, items and tables."""
    bullet = _TICK if section.ticks else _BULLET
    parts: list[Flowable] = [_rows(section.rows, width, look)] if section.rows else []
    parts += [_item(item, bullet, look) for item in section.items]
    for table in section.tables:
        parts += [Spacer(0, 2), *_table(table, width, look)]
    return parts


def _pictured(section: Section, picture: Picture, width: float, look: _Look) -> list[Flowable]:
    """The picture at the right of what it shows; below it when it wants the whole width or would not fit beside."""
    left = width * 0.58
    beside = _body(section, left - 6, look)
    drawn = drawing(picture, width - left - 4, look.page_height * 0.8)
    if (
        picture.on_paper
        or not beside
        or sum(part.wrap(left - 6, 10_000)[1] for part in beside) > look.page_height * 0.6
    ):
        below = drawing(picture, width * (0.4 + look.scale * 0.6), look.page_height * 0.8)
        return [*_body(section, width, look), Spacer(0, 4), below]
    table = PdfTable(
        [[beside, drawn]], colWidths=[left, width - left], hAlign="LEFT", splitInRow=look.split_rows_from
    )
    table.setStyle(_bare(("VALIGN", (0, 0), (-1, -1), "TOP")))
    return [table]


def _frame(parts: list[Flowable], tone: str, look: _Look) -> Flowable:
    """A stop sign has a heavy frame all round; a warning a heavy, a note a thin rule at its side.

    Heading and first line share a row, so that a heading never stands alone at the foot of a page.
    """
    rows = [[parts[:2]], *([part] for part in parts[2:])]
    frame = PdfTable(rows, colWidths=[look.width], hAlign="LEFT", splitInRow=look.split_rows_from)
    commands: list[tuple[Any, ...]] = [
        ("LEFTPADDING", (0, 0), (-1, -1), 9),
        ("RIGHTPADDING", (0, 0), (-1, -1), 9),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
        ("TOPPADDING", (0, 0), (-1, 0), 5),
        ("BOTTOMPADDING", (0, -1), (-1, -1), 5),
    ]
    if tone == "stop":
        commands.append(("BOX", (0, 0), (-1, -1), 2.6, WARN))
    else:
        width, colour = (3, WARN) if tone == "warning" else (1, MUTED)
        commands.append(("LINEBEFORE", (0, 0), (0, -1), width, colour))
    frame.setStyle(TableStyle(commands))
    return frame


def _rows(rows: tuple[tuple[str, str], ...], width: float, look: _Look) -> Flowable:
    cells = [[_text(label, look.label), _text(value, look.body)] for label, value in rows]
    table = PdfTable(
        cells, colWidths=[width * 0.36, width * 0.64], hAlign="LEFT", splitInRow=look.split_rows_from
    )
    table.setStyle(_bare(("LINEBELOW", (0, 0), (-1, -1), 0.3, HAIRLINE), ("VALIGN", (0, 0), (-1, -1), "TOP")))
    return table


def _table(table: Table, width: float, look: _Look) -> list[Flowable]:
    def cell(text: str, column: int, strong: bool) -> Paragraph:
        right = table.alignment(column) == "right"
        style = (
            (look.strong_right if right else look.strong) if strong else (look.right if right else look.body)
        )
        return _text(text, style)

    last = len(table.rows) - 1
    cells = [[cell(text, column, True) for column, text in enumerate(table.columns)]]
    for number, row in enumerate(table.rows):
        strong = table.total and number == last
        cells.append([cell(text, column, strong) for column, text in enumerate(row)])
    drawn = PdfTable(
        cells,
        colWidths=_column_widths(table, width),
        repeatRows=1,
        hAlign="LEFT",
        splitInRow=look.split_rows_from,
    )
    commands: list[tuple[Any, ...]] = [
        ("LINEBELOW", (0, 0), (-1, 0), 0.8, INK),
        ("LINEBELOW", (0, 1), (-1, -1), 0.3, HAIRLINE),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("RIGHTPADDING", (0, 0), (-1, -1), 6),
    ]
    if table.total and table.rows:
        commands.append(("LINEABOVE", (0, -1), (-1, -1), 0.8, INK))
    drawn.setStyle(_bare(*commands))
    return [*([_text(table.caption, look.small)] if table.caption else []), drawn]


def _column_widths(table: Table, width: float) -> list[float]:
    """The table's own shares, else by the longest word and the mean length of each column, none under 8 %."""
    if table.shares:
        return [width * share / sum(table.shares) for share in table.shares]
    weights = []
    for column, title in enumerate(table.columns):
        texts = [title, *(row[column] for row in table.rows)]
        longest_word = max((len(word) for text in texts for word in text.split()), default=1)
        mean = sum(len(text) for text in texts) / len(texts)
        weights.append(max(longest_word, min(mean, 40), 3))
    total = sum(weights)
    shares = [max(weight / total, 0.08) for weight in weights]
    return [width * share / sum(shares) for share in shares]


def _bare(*commands: tuple[Any, ...]) -> TableStyle:
    base: list[tuple[Any, ...]] = [
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 4),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
    ]
    return TableStyle([*base, *commands])


def _item(text: str, bullet: str, look: _Look) -> Paragraph:
    return Paragraph(escape(printable(text)), look.item, bulletText=bullet)


def _text(text: str, style: ParagraphStyle) -> Paragraph:
    """A paragraph of plain text: nothing in it is read as markup."""
    return Paragraph(escape(printable(text)), style)
