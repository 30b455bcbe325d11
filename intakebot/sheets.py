"""One plain structure for everything the shop hands over: estimate, packing sheet, pre-triage, bench record.

A `Sheet` holds finished strings in the reader's language, grouped in sections. Each output (PDF, HTML, JSON, plain
text) is drawn from the same sheet, so no two of them can say different things. Nothing here formats money or dates:
that is done by whoever builds the sheet.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import Any, Literal

Tone = Literal["plain", "stop", "warning", "note"]
Audience = Literal["customer", "bench"]
Align = Literal["left", "right"]


@dataclass(frozen=True)
class Table:
    """Rows of finished strings.

    align: may be shorter than the columns (rest: left). total: the last row is a total. shares: of the width, one a column
    (empty: by the length of the texts), so that several tables on a sheet line up.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    align: tuple[Align, ...] = ()
    caption: str = ""
    total: bool = False
    shares: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if self.shares and len(self.shares) != len(self.columns):
            raise ValueError(f"{len(self.shares)} shares, expected {len(self.columns)}")
        for number, row in enumerate(self.rows):
            if len(row) != len(self.columns):
                raise ValueError(f"row {number} has {len(row)} cells, expected {len(self.columns)}")

    def alignment(self, column: int) -> Align:
        return self.align[column] if column < len(self.align) else "left"


@dataclass(frozen=True)
class Section:
    """A titled block: paragraphs, label/value rows, a list, tables, a picture, and small notes last, in this order.

    tone: `stop` takes the whole width and comes first; `warning` and `note` are set apart.
    ticks: the items are drawn with a box to tick. figure: id of a picture handed to the renderer.
    """

    id: str
    title: str
    tone: Tone = "plain"
    paragraphs: tuple[str, ...] = ()
    rows: tuple[tuple[str, str], ...] = ()
    items: tuple[str, ...] = ()
    ticks: bool = False
    tables: tuple[Table, ...] = ()
    figure: str | None = None
    notes: tuple[str, ...] = ()

    @property
    def is_empty(self) -> bool:
        return not (self.paragraphs or self.rows or self.items or self.tables or self.figure or self.notes)


@dataclass(frozen=True)
class Sheet:
    """A document. `reference` is the case's human-readable number, printed on every page."""

    id: str
    title: str
    reference: str
    locale: str
    sections: tuple[Section, ...]
    subtitle: str = ""
    footer: str = ""
    audience: Audience = "customer"

    def section(self, section_id: str) -> Section:
        """The section with an id. Raises: KeyError."""
        for section in self.sections:
            if section.id == section_id:
                return section
        raise KeyError(section_id)

    def to_mapping(self) -> dict[str, Any]:
        """The sheet as JSON values."""
        return {
            "id": self.id,
            "title": self.title,
            "subtitle": self.subtitle,
            "reference": self.reference,
            "locale": self.locale,
            "audience": self.audience,
            "footer": self.footer,
            "sections": [_section_mapping(section) for section in self.sections],
        }


def _section_mapping(section: Section) -> dict[str, Any]:
    return {
        "id": section.id,
        "title": section.title,
        "tone": section.tone,
        "paragraphs": list(section.paragraphs),
        "rows": [{"label": label, "value": value} for label, value in section.rows],
        "items": list(section.items),
        "ticks": section.ticks,
        "tables": [
            {
                "caption": table.caption,
                "columns": list(table.columns),
                "align": [table.alignment(column) for column in range(len(table.columns))],
                "rows": [list(row) for row in table.rows],
                "total": table.total,
            }
            for table in section.tables
        ],
        "figure": section.figure,
        "notes": list(section.notes),
    }


def sheet_text(sheet: Sheet, width: int = 72) -> str:
    """The sheet as plain text, readable in a mail or a terminal; no line is longer than `width` unless a word is."""
    blocks = [_heading(f"{sheet.title}  {sheet.reference}".rstrip(), "=", width)]
    if sheet.subtitle:
        blocks.append(_wrap(sheet.subtitle, width))
    blocks.extend(_section_text(section, width) for section in sheet.sections if not section.is_empty)
    if sheet.footer:
        blocks.append(_wrap(sheet.footer, width))
    return "\n\n".join(blocks) + "\n"


def _heading(text: str, underline: str, width: int) -> str:
    lines = textwrap.wrap(text, width) or [text]
    return "\n".join([*lines, underline * max(len(line) for line in lines)])


def _wrap(text: str, width: int, first: str = "", rest: str = "") -> str:
    return textwrap.fill(text, width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)


def _section_text(section: Section, width: int) -> str:
    title = {"stop": f"!! {section.title}", "warning": f"! {section.title}"}.get(section.tone, section.title)
    lines = [_heading(title, "-", width)]
    lines += [_wrap(paragraph, width) for paragraph in section.paragraphs]
    lines += [_wrap(f"{label}: {value}", width, rest="  ") for label, value in section.rows]
    bullet = "[ ] " if section.ticks else "- "
    lines += [_wrap(item, width, bullet, " " * len(bullet)) for item in section.items]
    lines += [_table_text(table, width) for table in section.tables]
    lines += [_wrap(note, width) for note in section.notes]
    return "\n".join(lines)


def _table_text(table: Table, width: int) -> str:
    """Columns side by side when they fit, else one `column: value` block a row."""
    cells = [table.columns, *table.rows]
    widths = [max(len(row[column]) for row in cells) for column in range(len(table.columns))]
    if sum(widths) + 2 * (len(widths) - 1) > width:
        return _table_as_blocks(table, width)
    lines = [
        "  ".join(
            cell.rjust(size) if table.alignment(column) == "right" else cell.ljust(size)
            for column, (cell, size) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in cells
    ]
    if table.caption:
        lines.insert(0, table.caption)
    return "\n".join(lines)


def _table_as_blocks(table: Table, width: int) -> str:
    blocks = [table.caption] if table.caption else []
    for row in table.rows:
        pairs = zip(table.columns, row, strict=True)
        blocks.append(
            "\n".join(_wrap(f"{column}: {cell}", width, rest="  ") for column, cell in pairs if cell)
        )
    return "\n".join(blocks)
