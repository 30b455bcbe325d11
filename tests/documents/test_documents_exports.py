"""CSV that is safe to open in a spreadsheet (OWASP, CSV injection), and JSON."""

from __future__ import annotations

import csv
import io
import json
import unicodedata
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intakebot.documents.exports import csv_bytes, json_bytes, safe_cell


def read(data: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))


# Source: OWASP, CSV injection: = + - @ TAB CR (and LF), also in full-width form; blanks in front do not help.
@pytest.mark.parametrize(
    "text",
    [
        "=1+1",
        "+44 1632 960100",
        "-2+3",
        "@SUM(A1)",
        "\t=1",
        "\tplain",
        "\rplain",
        "\nplain",
        "\r=1",
        "\n=1",
        "  =1",
        "\u00a0=1",
        "\u3000=1",
        "\u200b=1",
        "\ufeff=1",
        "\uff1d1+1",
        "\uff0b1",
        "\uff0d1",
        "\uff20A1",
        "\ufe62 1",
        "%0A=1",
        "|cmd",
        '=HYPERLINK("http://example.com","x")',
        "=cmd|' /C calc'!A0",
    ],
)
def test_a_text_that_could_start_a_formula_gets_an_apostrophe(text: str) -> None:
    assert safe_cell(text) == f"'{text}"


@pytest.mark.parametrize("text", ["", "plain", "a=b", "12 + 3", "Ünal", "'quoted'", "it's -5", "(555)"])
def test_other_texts_are_left_alone(text: str) -> None:
    assert safe_cell(text) == text


def test_numbers_and_dates_stay_what_they_are() -> None:
    assert [safe_cell(value) for value in (-5, Decimal("-12.30"), date(2026, 11, 25), None)] == [
        "-5",
        "-12.30",
        "2026-11-25",
        "",
    ]


@given(st.text(max_size=30))
def test_no_cell_starts_a_formula_for_any_text(text: str) -> None:
    cell = safe_cell(text)
    shown = "".join(c for c in cell if not c.isspace() and unicodedata.category(c) not in ("Cc", "Cf"))

    assert not unicodedata.normalize("NFKC", shown[:1]).startswith(("=", "+", "-", "@"))
    assert cell[:1] not in ("\t", "\r", "\n")


@given(st.lists(st.lists(st.text(max_size=20), min_size=2, max_size=2), max_size=5))
def test_what_is_written_is_read_back(rows: list[list[str]]) -> None:
    found = read(csv_bytes(("one", "two"), rows))

    assert found == [["one", "two"], *([safe_cell(cell) for cell in row] for row in rows)]


def test_the_file_is_utf8_with_mark_and_crlf() -> None:
    # RFC 4180: CRLF line ends, quotes doubled.
    assert csv_bytes(("name",), [('Ünal "U"',)]) == '\ufeff"name"\r\n"Ünal ""U"""\r\n'.encode()
    assert csv_bytes(("name",), [], mark=False) == b'"name"\r\n'


def test_column_names_are_made_safe_too() -> None:
    assert read(csv_bytes(("=evil",), [])) == [["'=evil"]]


def test_a_crooked_row_is_refused() -> None:
    with pytest.raises(ValueError, match="row 0 has 1 cells, expected 2"):
        csv_bytes(("a", "b"), [("only",)])


def test_json_keeps_order_and_letters() -> None:
    data = json_bytes({"b": "Größe", "a": [Decimal("12.50"), date(2026, 11, 25)]})

    assert data.decode() == '{\n  "b": "Größe",\n  "a": [\n    "12.50",\n    "2026-11-25"\n  ]\n}\n'
    assert json.loads(data) == {"b": "Größe", "a": ["12.50", "2026-11-25"]}


def test_json_refuses_what_it_cannot_write() -> None:
    with pytest.raises(TypeError, match="set cannot be exported"):
        json_bytes({"a": {1}})
