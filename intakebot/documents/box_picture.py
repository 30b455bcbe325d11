"""The box cut open: the device in the middle, padding around, every measure written on it."""

from __future__ import annotations

from dataclasses import dataclass

from intakebot.documents.pictures import Box, Line, Picture, Role, Shape, Words
from intakebot.errors import BadInputError

WIDTH = 320.0
_ROOM_W, _ROOM_H = 230.0, 170.0
_MARGIN = 34.0


@dataclass(frozen=True)
class BoxLabels:
    """Finished words: measures with their unit, in the reader's language."""

    title: str
    device: str
    padding: str
    inner_width: str
    inner_height: str
    second: str = ""
    second_gap: str = ""


def box_picture(
    inner_mm: tuple[int, int, int],
    device_mm: tuple[int, int, int],
    labels: BoxLabels,
    second_mm: tuple[int, int, int] | None = None,
) -> Picture:
    """Seen from the front: width (first side) by height (third side), to scale.

    Raises: BadInputError unless the device is smaller than the box, and the box smaller than the second one.
    """
    outermost = second_mm or inner_mm
    if not all(small < big for small, big in zip(device_mm, inner_mm, strict=True)):
        raise BadInputError("device_mm", device_mm, f"smaller than the box {inner_mm}")
    if second_mm and not all(small < big for small, big in zip(inner_mm, second_mm, strict=True)):
        raise BadInputError("second_mm", second_mm, f"larger than the box {inner_mm}")
    scale = min(_ROOM_W / outermost[0], _ROOM_H / outermost[2])
    centre_x = _MARGIN + outermost[0] * scale / 2
    centre_y = 12 + outermost[2] * scale / 2
    bottom = 12 + outermost[2] * scale

    def frame(sides: tuple[int, int, int]) -> tuple[float, float, float, float]:
        width, height = sides[0] * scale, sides[2] * scale
        return centre_x - width / 2, centre_y - height / 2, width, height

    shapes: list[Shape] = []
    if second_mm:
        shapes.append(Box(*frame(second_mm), "muted", stroke=2, dashed=True))
    x, y, width, height = frame(inner_mm)
    shapes += [Box(x, y, width, height, "fill", solid=True), Box(x, y, width, height, "ink", stroke=2)]
    dx, dy, dwidth, dheight = frame(device_mm)
    shapes += [Box(dx, dy, dwidth, dheight, "accent", stroke=2)]
    shapes += _across(x, dx, centre_y)
    shapes += _across(dx + dwidth, x + width, centre_y)
    shapes += _down(y, dy, centre_x)
    shapes += _down(dy + dheight, y + height, centre_x)
    shapes += _down(y, y + height, x + width + 14 + (outermost[0] * scale - width) / 2)
    lines = [labels.device, labels.padding, f"{labels.inner_width}; {labels.inner_height}"]
    lines += [text for text in (labels.second, labels.second_gap) if text]
    for number, text in enumerate(lines):
        role: Role = "accent" if number == 0 else "ink"
        shapes.append(Words(_MARGIN, bottom + 24 + number * 18, text, role, 13))
    height_total = bottom + 24 + len(lines) * 18
    return Picture(WIDTH, height_total, labels.title, ". ".join(lines), tuple(shapes))


def _across(x1: float, x2: float, y: float) -> list[Shape]:
    return [Line(x1, y, x2, y, "ink", 1), Line(x1, y - 4, x1, y + 4), Line(x2, y - 4, x2, y + 4)]


def _down(y1: float, y2: float, x: float) -> list[Shape]:
    return [Line(x, y1, x, y2, "ink", 1), Line(x - 4, y1, x + 4, y1), Line(x - 4, y2, x + 4, y2)]
