"""The small grammar in which example wordings are written (flows/<family>/phrases/<locale>.yaml).

A phrase is a row of words, matched by stem, with "filler" words allowed in between:

    word        any form of the word ("play" also reads "plays", "playing", "played")
    =word       exactly this form
    a|b         one of several (single words or classes)
    {name}      a word class: any entry of the cue kind `name`; {number}, {code} and {quote} are built in
    [a b]       may be missing
    ..  ...     up to 3 / up to 7 other words, within the clause
    ^  $        the clause begins / ends here
    @a,b        at the end: only for these device kinds ("?" = kind not known yet)
    ~0.7        at the end: certainty of this wording (0.95 otherwise)

Optional parts are multiplied out when the phrases are loaded, at most 64 rows a phrase.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from intakebot.errors import BadInputError

MAX_ROWS = 64
DEFAULT_CERTAINTY = 0.95
GAPS = {"..": 3, "...": 7}

_PIECE = re.compile(r"\[|\]|\S+?(?=[\[\]\s]|$)")

ElementKind = Literal["stem", "exact", "class", "any", "gap", "start", "end"]


@dataclass(frozen=True)
class Element:
    """One element of a row. `text`: the word or class name; `size`: most words of a gap; `options`: of a choice."""

    kind: ElementKind
    text: str = ""
    size: int = 0
    options: tuple[Element, ...] = ()


@dataclass(frozen=True)
class Phrase:
    """A parsed phrase: its rows (each a tuple of elements), device condition (empty = always), certainty."""

    source: str
    rows: tuple[tuple[Element, ...], ...]
    devices: frozenset[str]
    certainty: float


def parse_phrase(source: str, place: str = "phrase") -> Phrase:
    """Parse one phrase.

    Raises: BadInputError naming `place` for unbalanced brackets, a bad certainty, an empty phrase or too many rows.
    """
    pieces = _PIECE.findall(source.strip())
    devices: frozenset[str] = frozenset()
    certainty = DEFAULT_CERTAINTY
    while pieces and pieces[-1][0] in "@~" and len(pieces[-1]) > 1:
        last = pieces.pop()
        if last[0] == "@":
            devices = frozenset(last[1:].split(","))
            continue
        try:
            certainty = float(last[1:])
        except ValueError:
            raise BadInputError(place, source, "a certainty such as ~0.7") from None
        if not 0 < certainty <= 1:
            raise BadInputError(place, source, "a certainty above 0 and at most 1")
    rows, rest = _rows(pieces, 0, place, source, inside=False)
    if rest != len(pieces):
        raise BadInputError(place, source, "balanced brackets")
    unique = tuple(
        dict.fromkeys(row for row in rows if any(e.kind in ("stem", "exact", "class", "any") for e in row))
    )
    if not unique:
        raise BadInputError(place, source, "at least one word")
    return Phrase(source, unique, devices, certainty)


def _rows(
    pieces: list[str], at: int, place: str, source: str, *, inside: bool
) -> tuple[list[tuple[Element, ...]], int]:
    rows: list[tuple[Element, ...]] = [()]
    while at < len(pieces):
        piece = pieces[at]
        at += 1
        if piece == "]":
            if not inside:
                raise BadInputError(place, source, "balanced brackets")
            return rows, at
        if piece == "[":
            inner, at = _rows(pieces, at, place, source, inside=True)
            rows = [row + extra for row in rows for extra in [(), *inner]]
        else:
            choices = tuple(_element(part) for part in piece.split("|") if part)
            element = choices[0] if len(choices) == 1 else Element("any", piece, 0, choices)
            rows = [(*row, element) for row in rows]
        if len(rows) > MAX_ROWS:
            raise BadInputError(place, source, f"at most {MAX_ROWS} rows after multiplying out")
    if inside:
        raise BadInputError(place, source, "balanced brackets")
    return rows, at


def _element(piece: str) -> Element:
    if piece in GAPS:
        return Element("gap", piece, GAPS[piece])
    if piece == "^":
        return Element("start")
    if piece == "$":
        return Element("end")
    if piece.startswith("{") and piece.endswith("}"):
        return Element("class", piece[1:-1])
    if piece.startswith("=") and len(piece) > 1:
        return Element("exact", piece[1:])
    return Element("stem", piece)
