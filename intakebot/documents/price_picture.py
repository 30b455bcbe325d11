"""The price range in one look, for the customer: usual range, middle, most, and their own limit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from intakebot.documents.pictures import Box, Line, Picture, Role, Shape, Words, words_width
from intakebot.errors import BadInputError

WIDTH, LEFT, RIGHT = 320.0, 12.0, 308.0
_ROW = 22.0


@dataclass(frozen=True)
class PriceLabels:
    """Words with `{low}`, `{high}`, `{price}` in them; title and description of the picture."""

    title: str
    usual: str
    middle: str
    most: str
    limit: str


def price_picture(
    *,
    p10: Decimal,
    p50: Decimal,
    p90: Decimal,
    maximum: Decimal,
    labels: PriceLabels,
    money: Callable[[Decimal], str],
    limit: Decimal | None = None,
) -> Picture:
    """A bar from the 10 to the 90 % point, a mark at the middle, a strong line at the maximum, a dashed one at the limit.

    Raises: BadInputError unless 0 <= p10 <= p50 <= p90 and 0 < maximum.
    """
    if not (0 <= p10 <= p50 <= p90 and maximum > 0):
        raise BadInputError(
            "prices", (p10, p50, p90, maximum), "0 <= p10 <= p50 <= p90 and a maximum above 0"
        )
    largest = max(p90, maximum, limit or Decimal(0))

    def x(price: Decimal) -> float:
        return LEFT + float(price / largest) * (RIGHT - LEFT)

    axis = 58.0
    usual = labels.usual.format(low=money(p10), high=money(p90))
    middle = labels.middle.format(price=money(p50))
    most = labels.most.format(price=money(maximum))
    shapes: list[Shape] = [
        Words(_inside((x(p10) + x(p90)) / 2, usual), 30, usual, anchor="middle"),
        Line(LEFT, axis, RIGHT, axis, "muted"),
        Box(x(p10), axis - 12, max(x(p90) - x(p10), 2), 24, "fill", solid=True),
        Box(x(p10), axis - 12, max(x(p90) - x(p10), 2), 24, "ink"),
        Line(x(p50), axis - 12, x(p50), axis + 12, "accent", 3),
        Line(x(maximum), axis - 20, x(maximum), axis + 20, "ink", 4),
    ]
    marks: list[tuple[Decimal, str, Role, bool]] = [
        (p50, middle, "accent", False),
        (maximum, most, "ink", True),
    ]
    if limit is not None:
        shapes.append(Line(x(limit), axis - 20, x(limit), axis + 20, "warn", 2, dashed=True))
        marks.append((limit, labels.limit.format(price=money(limit)), "warn", False))
    taken: list[tuple[float, float, float]] = []
    for row, (price, text, role, bold) in enumerate(sorted(marks, key=lambda mark: mark[0]), start=1):
        baseline = axis + 20 + row * _ROW
        size = 15.0 if bold else 13.0
        end = min(max(x(price), LEFT + words_width(text, size)), RIGHT)
        shapes += _leader(x(price), axis + 12, baseline - size, taken, role)
        shapes.append(Words(end, baseline, text, role, size, "end", bold))
        taken.append((end - words_width(text, size), end, baseline))
    height = axis + 20 + (len(marks) + 0.5) * _ROW
    description = ". ".join((usual, *(text for _, text, _, _ in marks)))
    return Picture(WIDTH, height, labels.title, description, tuple(shapes))


def _leader(
    x: float, top: float, bottom: float, taken: list[tuple[float, float, float]], role: Role
) -> list[Shape]:
    """A line from a mark down to its words, broken where it would cross other words (left, right, baseline)."""
    pieces = []
    for left, right, baseline in taken:
        if left - 2 < x < right - 1:
            pieces.append(Line(x, top, x, baseline - 15, role))
            top = baseline + 5
    return [*(piece for piece in pieces if piece.y2 > piece.y1), Line(x, top, x, bottom, role)]


def _inside(middle: float, text: str) -> float:
    """The middle moved so that the centred text stays between the edges."""
    half = min(words_width(text, 13) / 2, WIDTH / 2)
    return min(max(middle, half), WIDTH - half)
