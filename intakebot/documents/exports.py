"""Exports: JSON as it is, CSV safe to open in a spreadsheet.

A spreadsheet runs a cell that starts with `=`, `+`, `-` or `@` as a formula, also after blanks, in full-width form, or
behind a tab or line end (OWASP, CSV injection). Such a text gets an apostrophe in front; numbers stay numbers.
"""

from __future__ import annotations

import csv
import io
import json
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

_STARTS = frozenset("=+-@|%")
_CONTROLS = frozenset("\t\r\n\x00")
BYTE_ORDER_MARK = "\ufeff"

Cell = str | int | Decimal | date | None


def safe_cell(value: Cell) -> str:
    """A cell's text, never read as a formula.

    Numbers and dates are written plainly (a negative number is no formula); text that could start one gets `'`.
    """
    if value is None:
        return ""
    if isinstance(value, int | Decimal | date):
        return value.isoformat() if isinstance(value, date) else str(value)
    text = value.replace("\x00", "")
    visible = text.lstrip("".join(character for character in text if _is_blank(character)))
    first = unicodedata.normalize("NFKC", visible[:1])[:1]
    if first in _STARTS or text[:1] in _CONTROLS:
        return f"'{text}"
    return text


def csv_bytes(columns: Sequence[str], rows: Iterable[Sequence[Cell]], *, mark: bool = True) -> bytes:
    """A CSV file (RFC 4180: CRLF, quotes doubled) in UTF-8.

    Args:
        mark: put the byte order mark in front, without which some spreadsheets misread umlauts.
    Raises:
        ValueError: a row with another number of cells than there are columns.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n", quoting=csv.QUOTE_ALL)
    writer.writerow([safe_cell(column) for column in columns])
    for number, row in enumerate(rows):
        if len(row) != len(columns):
            raise ValueError(f"row {number} has {len(row)} cells, expected {len(columns)}")
        writer.writerow([safe_cell(cell) for cell in row])
    return ((BYTE_ORDER_MARK if mark else "") + out.getvalue()).encode()


def json_bytes(mapping: Mapping[str, Any]) -> bytes:
    """Indented JSON, keys in the given order, ending in a line end. Decimals and dates become strings."""
    return (json.dumps(mapping, ensure_ascii=False, indent=2, default=_plain) + "\n").encode()


def _plain(value: object) -> str:
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} cannot be exported")


def _is_blank(character: str) -> bool:
    """Blanks, controls and invisible format characters."""
    return character.isspace() or unicodedata.category(character) in ("Cc", "Cf", "Zs", "Zl", "Zp")
