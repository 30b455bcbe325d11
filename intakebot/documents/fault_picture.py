"""The chances of the likeliest faults as bars, for the technician."""

from __future__ import annotations

from collections.abc import Sequence

from intakebot.documents.pictures import Box, Picture, Shape, Words, wrapped
from intakebot.errors import BadInputError

WIDTH = 360.0
_BAR_X, _BAR = 188.0, 120.0


def chances_picture(rows: Sequence[tuple[str, float, str]], title: str) -> Picture:
    """One bar a fault, on a scale from 0 to 100 %.

    Args:
        rows: (name, chance, chance in words and figures), likeliest first.
    Raises:
        BadInputError: a chance outside [0, 1].
    """
    shapes: list[Shape] = []
    y = 4.0
    for number, (name, chance, _) in enumerate(rows):
        if not 0 <= chance <= 1:
            raise BadInputError(f"rows[{number}]", chance, "a chance from 0 to 1")
        lines = wrapped(name, 13, _BAR_X - 8)
        for index, text in enumerate(lines):
            shapes.append(Words(0, y + 13 + index * 16, text, bold=number == 0))
        shapes += [
            Box(_BAR_X, y + 3, _BAR, 12, "muted"),
            Box(_BAR_X, y + 3, max(_BAR * chance, 0.5), 12, "accent", solid=True),
            Words(_BAR_X + _BAR + 6, y + 14, f"{round(chance * 100)} %", size=12),
        ]
        y += 16 * len(lines) + 10
    description = "; ".join(f"{name}: {said}" for name, _, said in rows)
    return Picture(WIDTH, y, title, description, tuple(shapes))
