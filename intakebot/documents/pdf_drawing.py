"""A picture as a vector drawing for the PDF library, with print colours."""

from __future__ import annotations

from reportlab.graphics import shapes as pdf_shapes
from reportlab.lib.colors import Color, HexColor

from intakebot.documents.fonts import BOLD, REGULAR, printable
from intakebot.documents.pictures import Box, Line, Picture, Role, Shape

_COLOURS: dict[Role, Color] = {
    "ink": HexColor("#1c1b19"),
    "muted": HexColor("#7a756b"),
    "accent": HexColor("#2f4a63"),
    "warn": HexColor("#8a2a1b"),
    "fill": HexColor("#e9e4da"),
}
_WIDEST = 340.0
"""Pictures are narrow on paper as well: about 12 cm."""


def drawing(picture: Picture, width: float, height: float) -> pdf_shapes.Drawing:
    """The picture in at most this room (points), in its form for paper if it has one; type and lines shrink with it."""
    widest = width if picture.on_paper else _WIDEST
    picture = picture.on_paper or picture
    factor = min(min(width, widest) / picture.width, height / picture.height)
    result = pdf_shapes.Drawing(picture.width * factor, picture.height * factor)
    group = pdf_shapes.Group(transform=(factor, 0, 0, factor, 0, 0))
    for shape in picture.shapes:
        group.add(_shape(shape, picture.height))
    result.add(group)
    return result


def _shape(shape: Shape, height: float) -> pdf_shapes.Shape:
    colour = _COLOURS[shape.role]
    if isinstance(shape, Line):
        return pdf_shapes.Line(
            shape.x1,
            height - shape.y1,
            shape.x2,
            height - shape.y2,
            strokeColor=colour,
            strokeWidth=shape.width,
            strokeDashArray=[4, 3] if shape.dashed else None,
        )
    if isinstance(shape, Box):
        return pdf_shapes.Rect(
            shape.x,
            height - shape.y - shape.height,
            shape.width,
            shape.height,
            fillColor=colour if shape.solid else None,
            strokeColor=None if shape.solid else colour,
            strokeWidth=shape.stroke,
            strokeDashArray=[4, 3] if shape.dashed else None,
        )
    return pdf_shapes.String(
        shape.x,
        height - shape.y,
        printable(shape.text),
        fontName=BOLD if shape.bold else REGULAR,
        fontSize=shape.size,
        fillColor=colour,
        textAnchor=shape.anchor,
    )
