"""Small pictures as plain shapes, drawn the same as SVG on a page and as vectors in a PDF.

A picture knows roles (ink, muted, accent, warn, fill), not colours: on a page CSS classes `pic-ink` ... decide, with
`currentColor` underneath, so both themes work; in a PDF `pdf_drawing` decides. Sizes are in CSS pixels at 1:1; y grows
downwards. Nothing is told by colour alone: every mark has its words.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal
from xml.sax.saxutils import escape, quoteattr

Role = Literal["ink", "muted", "accent", "warn", "fill"]
Anchor = Literal["start", "middle", "end"]
CHARACTER_WIDTH = 0.56
"""Average width of a character over the font size, a little generous; used to wrap and to keep words inside."""


@dataclass(frozen=True)
class Line:
    x1: float
    y1: float
    x2: float
    y2: float
    role: Role = "ink"
    width: float = 1
    dashed: bool = False


@dataclass(frozen=True)
class Box:
    """A rectangle: filled when `solid`, else outlined."""

    x: float
    y: float
    width: float
    height: float
    role: Role = "ink"
    solid: bool = False
    dashed: bool = False
    stroke: float = 1


@dataclass(frozen=True)
class Words:
    """One line of text; y is the baseline."""

    x: float
    y: float
    text: str
    role: Role = "ink"
    size: float = 13
    anchor: Anchor = "start"
    bold: bool = False


Shape = Line | Box | Words


@dataclass(frozen=True)
class Picture:
    """title: what it is; description: what it shows, in words, for those who do not see it.

    on_paper: the same picture laid out for the width of a printed page, if the narrow one would waste it.
    """

    width: float
    height: float
    title: str
    description: str
    shapes: tuple[Shape, ...]
    on_paper: Picture | None = None


def words_width(text: str, size: float) -> float:
    """Estimated width of a line of text."""
    return len(text) * size * CHARACTER_WIDTH


def wrapped(text: str, size: float, room: float) -> tuple[str, ...]:
    """Text broken at blanks into lines that fit `room`; a longer word stays whole."""
    lines: list[str] = []
    for word in text.split():
        if lines and words_width(f"{lines[-1]} {word}", size) <= room:
            lines[-1] = f"{lines[-1]} {word}"
        else:
            lines.append(word)
    return tuple(lines)


def svg(picture: Picture) -> str:
    """The picture as inline SVG, without style attributes, scripts or ids (several may stand on a page)."""
    body = "".join(_shape_svg(shape) for shape in picture.shapes)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="picture" role="img" '
        f'viewBox="0 0 {picture.width:g} {picture.height:g}" '
        f"aria-label={quoteattr(f'{picture.title}. {picture.description}')}>"
        f"<title>{escape(picture.title)}</title><desc>{escape(picture.description)}</desc>{body}</svg>"
    )


def _shape_svg(shape: Shape) -> str:
    if isinstance(shape, Line):
        dash = ' stroke-dasharray="4 3"' if shape.dashed else ""
        return (
            f'<line class="pic-{shape.role}" x1="{shape.x1:g}" y1="{shape.y1:g}" x2="{shape.x2:g}" '
            f'y2="{shape.y2:g}" stroke="currentColor" stroke-width="{shape.width:g}"{dash}/>'
        )
    if isinstance(shape, Box):
        dash = ' stroke-dasharray="4 3"' if shape.dashed else ""
        paint = 'fill="currentColor" stroke="none"' if shape.solid else 'fill="none" stroke="currentColor"'
        faint = ' fill-opacity="0.15"' if shape.role == "fill" else ""
        return (
            f'<rect class="pic-{shape.role}" x="{shape.x:g}" y="{shape.y:g}" width="{shape.width:g}" '
            f'height="{shape.height:g}" {paint} stroke-width="{shape.stroke:g}"{dash}{faint}/>'
        )
    weight = ' font-weight="bold"' if shape.bold else ""
    return (
        f'<text class="pic-{shape.role}" x="{shape.x:g}" y="{shape.y:g}" font-size="{shape.size:g}" '
        f'text-anchor="{shape.anchor}" fill="currentColor"{weight}>{escape(shape.text)}</text>'
    )
