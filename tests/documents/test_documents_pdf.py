"""PDF sheets: read back with pypdf."""

from __future__ import annotations

import dataclasses
from datetime import date
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from intakebot.documents.drawn import packing_picture
from intakebot.documents.fonts import printable
from intakebot.documents.pdf import render_pdf
from intakebot.errors import BadInputError
from intakebot.packing.bench_queue import Queue
from intakebot.packing.sheet import packing_sheet
from intakebot.packing.sheet_words import packing_document
from intakebot.sheets import Section, Sheet, Table

TODAY = date(2026, 11, 25)


def sheet_of(*sections: Section, **more: Any) -> Sheet:
    return Sheet("id", "A sheet", "TD-1042", "en", sections, **more)


def packing(build: SimpleNamespace, locale: str = "en", **answers: Any) -> tuple[Sheet, dict[str, Any]]:
    known = {
        "device_kind": "console",
        "board_place": "loose",
        "boards": 3,
        "stuck": "yes",
        "stuck_class": "cd",
    } | answers
    sheet = packing_sheet(
        build.definitions(),
        "toy",
        build.answers(**known),
        TODAY,
        quote_expires=date(2026, 12, 29),
        queue=Queue(2, 0.4, 0.3),
    )
    texts = build.texts(locale)
    picture = packing_picture(sheet, texts, build.shop)
    document = packing_document(sheet, texts, reference="TD-1042", shop=build.shop)
    return document, {} if picture is None else {"box": picture}


# Sizes in points: A4 210 x 297 mm (ISO 216) = 595 x 842; US Letter 8.5 x 11 in = 612 x 792.
@pytest.mark.parametrize(("paper", "size"), [("A4", (595, 842)), ("LETTER", (612, 792))])
@pytest.mark.parametrize("locale", ["en", "de"])
def test_the_packing_sheet_is_two_pages_on_both_papers(
    build: SimpleNamespace, read_pdf: Any, paper: Any, size: tuple[int, int], locale: str
) -> None:
    document, pictures = packing(build, locale)

    pdf = read_pdf(render_pdf(document, paper=paper, pictures=pictures))

    assert (pdf.pages, pdf.size, pdf.lang) == (2, size, locale)


def test_everything_on_the_sheet_is_in_the_pdf(build: SimpleNamespace, read_pdf: Any) -> None:
    document, pictures = packing(build, stuck_title="Łódź & <Ärger> im Föhr")

    text = read_pdf(render_pdf(document, pictures=pictures)).text

    missing = [
        piece
        for section in document.sections
        for piece in (
            section.title,
            *section.paragraphs,
            *section.items,
            *section.notes,
            *(v for _, v in section.rows),
        )
        if " ".join(piece.split()) not in text
    ]
    assert missing == []
    assert "Łódź & <Ärger> im Föhr" in text


def test_every_page_carries_the_reference_and_its_number(build: SimpleNamespace, read_pdf: Any) -> None:
    document, pictures = packing(build)

    text = read_pdf(render_pdf(document, pictures=pictures)).text

    assert "1 / 2" in text
    assert "2 / 2" in text
    assert text.count("TD-1042 How to pack it") == 2


def test_the_title_says_what_and_which_case(read_pdf: Any) -> None:
    assert read_pdf(render_pdf(sheet_of(Section("s", "S", items=("a",))))).title == "A sheet TD-1042"


def test_fonts_are_inside_the_document(build: SimpleNamespace, read_pdf: Any) -> None:
    document, pictures = packing(build)

    fonts = read_pdf(render_pdf(document, pictures=pictures)).fonts
    embedded = [name for name, inside in fonts.items() if inside]

    assert any("DejaVuSans" in name for name in embedded)
    assert any("DejaVuSans-Bold" in name for name in embedded)


def test_the_same_sheet_gives_the_same_bytes(build: SimpleNamespace) -> None:
    document, pictures = packing(build)

    assert render_pdf(document, pictures=pictures) == render_pdf(document, pictures=pictures)


def test_a_stop_sign_comes_alone(build: SimpleNamespace, read_pdf: Any) -> None:
    document, pictures = packing(build, smoke="yes", stuck="no")

    pdf = read_pdf(render_pdf(document, pictures=pictures))

    assert pdf.pages == 1
    assert "Please do not send it yet" in pdf.text
    assert "Where to send it" not in pdf.text


def test_a_long_sheet_runs_over_pages_and_loses_nothing(read_pdf: Any) -> None:
    rows = tuple((f"row {number}", "value") for number in range(200))

    pdf = read_pdf(render_pdf(sheet_of(Section("s", "S", rows=rows))))

    assert pdf.pages > 3
    assert all(f"row {number} " in f"{pdf.text} " for number in range(200))


def test_one_page_is_kept_by_smaller_type_and_given_up_rather_than_cut(read_pdf: Any) -> None:
    def items(count: int) -> Sheet:
        return sheet_of(Section("s", "S", items=tuple(f"item {number}" for number in range(count))))

    fits = read_pdf(render_pdf(items(60), one_page=True))
    too_much = read_pdf(render_pdf(items(400), one_page=True))

    assert read_pdf(render_pdf(items(60))).pages == 2
    assert fits.pages == 1
    assert too_much.pages > 1
    assert "item 399" in too_much.text


@pytest.mark.parametrize("tone", ["plain", "stop", "warning", "note"])
def test_very_long_words_and_texts_do_not_break_a_page(read_pdf: Any, tone: Any) -> None:
    section = Section(
        "s",
        "T" * 200,
        tone=tone,
        paragraphs=("word " * 600, "x" * 1500),
        rows=(("l" * 90, "v" * 900),),
        items=("i" * 700,),
    )

    pdf = read_pdf(render_pdf(sheet_of(section)))

    assert pdf.text.count("word") == 600
    assert pdf.text.count("v") >= 900


@pytest.mark.parametrize("paper", ["A4", "LETTER"])
def test_nothing_is_printed_in_the_outer_centimetre(
    build: SimpleNamespace, draw_pdf: Any, paper: Any
) -> None:
    """Printers cannot print there, and a box of dirt and cut edges is a bad place for words."""
    document, pictures = packing(build, stuck_title="W" * 120)
    long = Section("s", "W" * 120, tone="stop", rows=(("W" * 60, "W" * 200),), items=("W" * 150,))
    pages = [
        *draw_pdf(render_pdf(document, paper=paper, pictures=pictures), 72),
        *draw_pdf(render_pdf(sheet_of(long), paper=paper), 72),
    ]
    centimetre = 28  # points
    for page in pages:
        left, top, right, bottom = page.point(lambda grey: 255 if grey < 200 else 0).getbbox()
        assert min(left, top, page.width - right, page.height - bottom) >= centimetre


@pytest.mark.parametrize(
    "section",
    [
        pytest.param(Section("s", "S", tone="stop", paragraphs=("word " * 3000,)), id="framed-paragraph"),
        pytest.param(Section("s", "S", rows=(("label", "word " * 3000),)), id="row"),
        pytest.param(Section("s", "S", tone="warning", rows=(("label", "word " * 3000),)), id="framed-row"),
        pytest.param(
            Section("s", "S", tables=(Table(("a", "b"), (("x", "word " * 3000),)),)), id="table-cell"
        ),
        pytest.param(Section("s", "S", tone="note", items=("word " * 3000,)), id="framed-item"),
    ],
)
def test_a_text_longer_than_a_page_runs_on_wherever_it_stands(read_pdf: Any, section: Section) -> None:
    pdf = read_pdf(render_pdf(sheet_of(section)))

    assert pdf.pages > 1
    assert pdf.text.count("word") == 3000


@pytest.mark.parametrize("tone", ["plain", "stop", "warning", "note"])
def test_a_heading_never_stands_alone_at_the_foot_of_a_page(read_pdf: Any, tone: Any) -> None:
    for lines in range(40, 60):
        filler = Section("f", "Filler", items=tuple(f"line {number}" for number in range(lines)))
        last = Section("s", "Heading", tone=tone, paragraphs=("First.", "Second."))
        pages = read_pdf(render_pdf(sheet_of(filler, last))).page_texts
        assert not any("Heading" in page and "First." not in page for page in pages)


def test_text_is_never_read_as_markup(read_pdf: Any) -> None:
    nasty = '<b>bold</b> <para> &amp; <img src="file:///etc/passwd"/> <font color=red>'

    assert nasty in read_pdf(render_pdf(sheet_of(Section("s", nasty, paragraphs=(nasty,))))).text


def test_characters_without_a_glyph_are_shown_as_missing_not_dropped() -> None:
    assert printable("Ünal 日本 \x07\nA") == "Ünal \ufffd\ufffd \ufffd A"


def test_tables_print_their_cells_and_caption(read_pdf: Any) -> None:
    table = Table(
        ("what", "amount"),
        (("Clean the lens", "30.00"), ("Sum", "30.00")),
        ("left", "right"),
        "In GBP",
        total=True,
    )

    text = read_pdf(render_pdf(sheet_of(Section("s", "Lines", tables=(table,))))).text

    assert "In GBP what amount Clean the lens 30.00 Sum 30.00" in text


def test_an_empty_sheet_is_still_a_page(read_pdf: Any) -> None:
    assert read_pdf(render_pdf(sheet_of())).pages == 1


def test_a_figure_without_its_picture_is_left_out(build: SimpleNamespace, read_pdf: Any) -> None:
    document, _ = packing(build)

    assert "Box and padding" in read_pdf(render_pdf(document)).text


def test_unknown_paper_is_refused() -> None:
    with pytest.raises(BadInputError, match="A4 or LETTER"):
        render_pdf(sheet_of(), paper="A5")  # type: ignore[arg-type]


sections = st.builds(
    Section,
    st.just("s"),
    st.text(max_size=40),
    st.sampled_from(["plain", "stop", "warning", "note"]),
    st.lists(st.text(max_size=300), max_size=3).map(tuple),
    st.lists(st.tuples(st.text(max_size=30), st.text(max_size=200)), max_size=5).map(tuple),
    st.lists(st.text(max_size=120), max_size=5).map(tuple),
    st.booleans(),
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(sections, max_size=4), st.booleans())
def test_any_text_at_all_makes_a_pdf(read_pdf: Any, parts: list[Section], one_page: bool) -> None:
    assert read_pdf(render_pdf(sheet_of(*parts), one_page=one_page)).pages >= 1


def test_a_sheet_in_another_order_is_another_document(build: SimpleNamespace) -> None:
    document, pictures = packing(build)
    turned = dataclasses.replace(document, sections=tuple(reversed(document.sections)))

    assert render_pdf(document, pictures=pictures) != render_pdf(turned, pictures=pictures)
