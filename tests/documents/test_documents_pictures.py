"""Pictures: well-formed, inside their frame, told in words too, and true to their numbers."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reportlab.graphics import renderPDF
from reportlab.pdfgen.canvas import Canvas

from intakebot.documents.box_picture import BoxLabels, box_picture
from intakebot.documents.fault_picture import chances_picture
from intakebot.documents.fonts import register_fonts
from intakebot.documents.ladder import LadderLabels, Rung, ladder_picture, ladder_text
from intakebot.documents.pdf_drawing import drawing
from intakebot.documents.pictures import Box, Line, Picture, Words, svg, words_width, wrapped
from intakebot.documents.price_picture import PriceLabels, price_picture
from intakebot.errors import BadInputError

PRICE = PriceLabels(
    "Price", "Most often {low} to {high}", "In the middle {price}", "At most {price}", "Your limit {price}"
)
LADDER = LadderLabels(
    "Plan", "solved", "so far", "{minutes} min", "play test", "Maximum {maximum}", "Nothing to do"
)
BOX = BoxLabels("Box", "Device", "Padding 5 cm", "46 cm wide", "22 cm high")
RUNGS = (
    Rung("Clean the lens", 15, 3, 0.46, Decimal(34), False),
    Rung("Reseat the flat cable", 8, 2, 0.55, Decimal(41), True),
    Rung("Replace the pickup", 45, 4, 0.88, Decimal(118), True, allowed=False),
)


def money(amount: Decimal) -> str:
    return f"£{amount:.2f}"


def price(**changes: Any) -> Picture:
    values: dict[str, Any] = {
        "p10": Decimal(39),
        "p50": Decimal(62),
        "p90": Decimal(118),
        "maximum": Decimal(125),
        "labels": PRICE,
        "money": money,
    }
    return price_picture(**(values | changes))


def every_picture() -> list[Any]:
    chances = chances_picture([("Dirty lens", 0.46, "even"), ("Wrong board", 0.2, "unlikely")], "Causes")
    return [
        pytest.param(price(), id="price"),
        pytest.param(price(limit=Decimal(120)), id="price-with-limit"),
        pytest.param(ladder_picture(RUNGS, LADDER, money, Decimal(125)), id="ladder"),
        pytest.param(ladder_picture((), LADDER, money), id="empty-ladder"),
        pytest.param(chances, id="chances"),
        pytest.param(box_picture((460, 400, 220), (340, 300, 85), BOX), id="box"),
        pytest.param(box_picture((460, 400, 220), (340, 300, 85), BOX, (600, 480, 330)), id="two-boxes"),
    ]


def extent(picture: Picture) -> list[float]:
    """Every x and y that lies outside the frame (words by their estimated width)."""
    outside: list[float] = []
    for shape in picture.shapes:
        if isinstance(shape, Line):
            points = [(shape.x1, shape.y1), (shape.x2, shape.y2)]
        elif isinstance(shape, Box):
            points = [(shape.x, shape.y), (shape.x + shape.width, shape.y + shape.height)]
        else:
            width = words_width(shape.text, shape.size)
            left = shape.x - width * {"start": 0, "middle": 0.5, "end": 1}[shape.anchor]
            points = [(left, shape.y - shape.size), (left + width, shape.y)]
        outside += [x for x, _ in points if not -0.51 <= x <= picture.width + 0.51]
        outside += [y for _, y in points if not -0.51 <= y <= picture.height + 0.51]
    return outside


@pytest.mark.parametrize("picture", every_picture())
def test_svg_is_well_formed_and_speaks(picture: Picture) -> None:
    root = ElementTree.fromstring(svg(picture))

    assert root.get("role") == "img"
    assert root.get("aria-label") == f"{picture.title}. {picture.description}"
    assert [child.tag.split("}")[1] for child in root][:2] == ["title", "desc"]


@pytest.mark.parametrize("picture", every_picture())
def test_svg_has_no_inline_style_script_or_fixed_colour(picture: Picture) -> None:
    text = svg(picture)

    assert not re.search(r"style=|<script|on\w+=|href|#[0-9a-f]{3}|rgb\(|\bid=", text)
    assert set(re.findall(r'(?:fill|stroke)="([^"]+)"', text)) <= {"currentColor", "none"}


@pytest.mark.parametrize("picture", every_picture())
def test_nothing_is_drawn_outside_the_frame(picture: Picture) -> None:
    assert extent(picture) == []


@pytest.mark.parametrize("picture", every_picture())
def test_each_picture_is_drawn_in_a_pdf_too(picture: Picture, read_pdf: Any, tmp_path: Any) -> None:
    register_fonts()
    shown = picture.on_paper or picture
    canvas = Canvas(str(tmp_path / "p.pdf"), pagesize=(400, 900))
    drawn = drawing(picture, 340, 800)
    renderPDF.draw(drawn, canvas, 10, 10)
    canvas.save()
    text = read_pdf((tmp_path / "p.pdf").read_bytes()).text

    assert all(shape.text in text for shape in shown.shapes if isinstance(shape, Words))
    assert drawn.width <= 340


def test_words_cannot_break_out_of_the_svg() -> None:
    nasty = '"><script>alert(1)</script>&'
    text = svg(chances_picture([(nasty, 0.5, nasty)], nasty))

    assert "<script" not in text
    assert ElementTree.fromstring(text).get("aria-label", "").startswith(nasty)


# ---- price -------------------------------------------------------------------------------------------------------------


def marks(picture: Picture) -> dict[float, float]:
    """Width of the upright marks on the axis -> their x."""
    return {
        line.width: line.x1
        for line in picture.shapes
        if isinstance(line, Line) and line.x1 == line.x2 and line.width > 1
    }


def test_marks_stand_in_proportion_to_the_price() -> None:
    found = marks(price())

    # scale: (308 - 12) / 125 a pound; 62 -> 12 + 62 * 2.368 = 158.8; 125 -> 308
    assert round(found[3], 1) == 158.8
    assert found[4] == 308


def test_the_description_says_every_figure() -> None:
    assert price(limit=Decimal(120)).description == (
        "Most often £39.00 to £118.00. In the middle £62.00. At most £125.00. Your limit £120.00"
    )


def test_the_maximum_is_said_larger_than_the_expectation() -> None:
    sizes = {shape.text: shape.size for shape in price().shapes if isinstance(shape, Words)}

    assert sizes["At most £125.00"] > sizes["In the middle £62.00"]


amounts = st.decimals("0", "5000", places=2)


@given(st.lists(amounts, min_size=3, max_size=3), st.decimals("0.01", "5000", places=2), st.none() | amounts)
def test_no_prices_put_words_or_marks_outside_or_across(
    points: list[Decimal], top: Decimal, limit: Decimal | None
) -> None:
    p10, p50, p90 = sorted(points)
    picture = price(p10=p10, p50=p50, p90=p90, maximum=max(top, p90, Decimal("0.01")), limit=limit)

    words = [shape for shape in picture.shapes if isinstance(shape, Words)]
    upright = [
        line for line in picture.shapes if isinstance(line, Line) and line.x1 == line.x2 and line.width == 1
    ]
    crossed = [
        (line.x1, word.text)
        for line in upright
        for word in words
        if word.anchor == "end"
        and word.x - words_width(word.text, word.size) < line.x1 < word.x - 1
        and line.y1 < word.y - 4 < line.y2
    ]

    assert extent(picture) == []
    assert crossed == []


@pytest.mark.parametrize(
    "changes", [{"p10": Decimal(70)}, {"p90": Decimal(10)}, {"p10": Decimal(-1)}, {"maximum": Decimal(0)}]
)
def test_prices_out_of_order_are_refused(changes: dict[str, Decimal]) -> None:
    with pytest.raises(BadInputError, match="prices"):
        price(**changes)


# ---- ladder ------------------------------------------------------------------------------------------------------------


def test_the_ladder_in_plain_text() -> None:
    assert ladder_text(RUNGS, LADDER, money, Decimal(100)).splitlines() == [
        " 1        Clean the lens          15 min  #####.....  46 %  £34.00",
        " 2      Reseat the flat cable      8 min  ######....  55 %  £41.00",
        "        == play test",
        "---- Maximum £100.00 ----",
        " 3          Replace the pickup    45 min  #########.  88 %  £118.00",
        "            == play test",
    ]


def test_deeper_steps_are_indented_further() -> None:
    uprights = [
        line.x1
        for line in ladder_picture(RUNGS, LADDER, money).shapes
        if isinstance(line, Line) and line.x1 == line.x2
    ]

    # depth 3, 2, 4 at 9 px each from 4
    assert uprights == [31, 22, 40]


def test_bars_grow_with_chance_and_money() -> None:
    solid = [
        box.width for box in ladder_picture(RUNGS, LADDER, money).shapes if isinstance(box, Box) and box.solid
    ]

    # 60 px wide: chances .46 .55 .88 and shares of the largest amount 34/118, 41/118, 1
    expected = [27.6, 60 * 34 / 118, 33.0, 60 * 41 / 118, 52.8, 60.0]
    assert [round(width, 3) for width in solid] == [round(width, 3) for width in expected]


def test_the_maximum_cuts_across_once_before_the_first_rung_beyond_it() -> None:
    picture = ladder_picture(RUNGS, LADDER, money, Decimal(100))
    across = [line for line in picture.shapes if isinstance(line, Line) and line.role == "warn"]
    beyond = next(shape for shape in picture.shapes if isinstance(shape, Words) and "pickup" in shape.text)

    assert [(line.x1, line.x2) for line in across] == [(0, picture.width)]
    assert across[0].y1 < beyond.y


def test_without_a_maximum_nothing_cuts_across() -> None:
    assert not [
        s for s in ladder_picture(RUNGS, LADDER, money).shapes if isinstance(s, Line) and s.role == "warn"
    ]


def test_an_empty_plan_says_so() -> None:
    assert ladder_text((), LADDER, money) == "Nothing to do"
    assert ladder_picture((), LADDER, money).description == "Nothing to do"


rungs = st.lists(
    st.builds(
        Rung,
        st.text(st.characters(codec="ascii", categories=("L", "Zs")), min_size=1, max_size=60).filter(
            str.strip
        ),
        st.floats(0, 600),
        st.integers(0, 6),
        st.floats(0, 1),
        st.decimals("0", "9999", places=2),
        st.booleans(),
        st.booleans(),
    ),
    max_size=14,
)


@given(rungs, st.none() | st.decimals("0", "9999", places=2))
def test_any_plan_stays_inside_its_frame_unless_a_word_is_too_long(
    plan: list[Rung], maximum: Decimal | None
) -> None:
    short = [rung for rung in plan if max(map(len, rung.name.split())) <= 18]
    picture = ladder_picture(short, LADDER, money, maximum)

    assert extent(picture) == []
    assert picture.on_paper is not None
    assert extent(picture.on_paper) == []
    assert ElementTree.fromstring(svg(picture)) is not None


@pytest.mark.parametrize(
    ("changes", "where"), [({"chance_solved": 1.2}, "chance_solved"), ({"money": Decimal(-1)}, "money")]
)
def test_impossible_rungs_are_refused(changes: dict[str, Any], where: str) -> None:
    values: dict[str, Any] = {
        "name": "x", "minutes": 1, "depth": 0, "chance_solved": 0.5, "money": Decimal(1), "test_after": False,
    }  # fmt: skip

    with pytest.raises(BadInputError, match=where):
        ladder_text([Rung(**(values | changes))], LADDER, money)


# ---- chances and box -----------------------------------------------------------------------------------------------------


def test_chance_bars_are_on_one_scale() -> None:
    picture = chances_picture([("a", 0.46, "x"), ("b", 0.2, "y"), ("c", 0.0, "z")], "Causes")
    solid = [box.width for box in picture.shapes if isinstance(box, Box) and box.solid]

    # 120 px for 100 %; an impossible one still shows a hairline
    assert [round(width, 6) for width in solid] == [55.2, 24.0, 0.5]
    assert picture.description == "a: x; b: y; c: z"


@pytest.mark.parametrize("chance", [-0.1, 1.1, float("nan")])
def test_impossible_chances_are_refused(chance: float) -> None:
    with pytest.raises(BadInputError, match="chance"):
        chances_picture([("a", chance, "")], "Causes")


def test_the_box_is_drawn_to_scale() -> None:
    frames = [
        s
        for s in box_picture((460, 400, 220), (340, 300, 85), BOX).shapes
        if isinstance(s, Box) and not s.solid
    ]
    inner, device = frames

    # 230 px / 460 mm = .5 px a mm: box 230 x 110, device 170 x 42.5
    assert [(round(f.width, 6), round(f.height, 6)) for f in (inner, device)] == [(230, 110), (170, 42.5)]


@pytest.mark.parametrize(
    ("inner", "device", "second"),
    [((460, 400, 220), (460, 300, 85), None), ((460, 400, 220), (340, 300, 85), (470, 400, 300))],
)
def test_what_does_not_fit_is_refused(inner: Any, device: Any, second: Any) -> None:
    with pytest.raises(BadInputError):
        box_picture(inner, device, BOX, second)


@given(st.text(st.characters(codec="ascii", categories=("L", "Zs")), max_size=80), st.integers(60, 300))
def test_wrapping_keeps_every_word_in_order(text: str, room: int) -> None:
    assert " ".join(wrapped(text, 13, room)).split() == text.split()
