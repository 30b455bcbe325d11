"""The structure all documents share, and its plain-text form."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intakebot.sheets import Section, Sheet, Table, sheet_text

FULL = Section(
    "all",
    "Everything",
    paragraphs=("One.",),
    rows=(("Price", "62.00"),),
    items=("first", "second"),
    tables=(
        Table(
            ("what", "amount"), (("lens", "9.00"), ("sum", "9.00")), ("left", "right"), "Lines", total=True
        ),
    ),
    notes=("Small print.",),
)
SHEET = Sheet("id", "Title", "TD-1", "en", (FULL,), subtitle="Sub", footer="Foot")


def test_plain_text_keeps_the_order_of_a_section() -> None:
    assert sheet_text(SHEET) == (
        "Title  TD-1\n===========\n\nSub\n\nEverything\n----------\nOne.\nPrice: 62.00\n- first\n- second\nLines\n"
        "what  amount\nlens    9.00\nsum     9.00\nSmall print.\n\nFoot\n"
    )


def test_tick_items_have_a_box_and_stop_signs_a_mark() -> None:
    sheet = Sheet("id", "T", "R", "en", (Section("s", "Wait", tone="stop", items=("look",), ticks=True),))

    assert "!! Wait" in sheet_text(sheet)
    assert "[ ] look" in sheet_text(sheet)


def test_a_table_too_wide_for_the_line_becomes_one_block_a_row() -> None:
    table = Table(("what", "why"), (("lens " * 6, "because " * 8),))
    text = sheet_text(Sheet("id", "T", "R", "en", (Section("s", "S", tables=(table,)),)), width=40)

    assert "what: lens lens" in text
    assert max(map(len, text.splitlines())) <= 40


def test_empty_sections_are_not_printed() -> None:
    assert "Nothing" not in sheet_text(Sheet("id", "T", "R", "en", (Section("s", "Nothing"),)))


def test_the_mapping_is_json_and_complete() -> None:
    mapping = json.loads(json.dumps(SHEET.to_mapping()))

    assert mapping["sections"][0]["rows"] == [{"label": "Price", "value": "62.00"}]
    assert mapping["sections"][0]["tables"][0]["align"] == ["left", "right"]
    assert set(mapping) == {
        "id",
        "title",
        "subtitle",
        "reference",
        "locale",
        "audience",
        "footer",
        "sections",
    }


def test_a_section_is_found_by_its_id() -> None:
    assert SHEET.section("all") is FULL
    with pytest.raises(KeyError):
        SHEET.section("other")


def test_a_crooked_table_is_refused() -> None:
    with pytest.raises(ValueError, match="row 0 has 1 cells, expected 2"):
        Table(("a", "b"), (("only",),))
    with pytest.raises(ValueError, match="1 shares, expected 2"):
        Table(("a", "b"), (), shares=(1.0,))


words = st.text(st.characters(codec="ascii", categories=("L", "N")), min_size=1, max_size=12)
lines = st.lists(words, min_size=1, max_size=20).map(" ".join)


@given(st.lists(lines, max_size=4), st.lists(st.tuples(lines, lines), max_size=4), st.integers(30, 90))
def test_no_line_is_longer_than_asked(paragraphs: list[str], rows: list[tuple[str, str]], width: int) -> None:
    section = Section("s", "Heading", paragraphs=tuple(paragraphs), rows=tuple(rows), items=tuple(paragraphs))

    text = sheet_text(Sheet("id", "Title", "R", "en", (section,)), width)

    assert all(len(line) <= width for line in text.splitlines())
