"""The small grammar in which example wordings are written (flows/<family>/phrases/<locale>.yaml).

A phrase is a row of words, matched by stem, with "filler" words allowed in between:

    word        any form of the word ("play" also reads "plays", "playing", "played")
    =word       exactly this form
    a|b         one of several (single words or classes)
    (a b|c)     one of several, of any length
    {name}      a word class: any entry of the cue kind `name`; {number} and {code} are built in
    [a b]       may be missing
    ..  ...     up to 3 / up to 7 other words, within the clause; the longer one may end behind a comma
    ^  $        the clause begins / ends here
    @a,b        at the end: only for these device kinds ("?" = kind not known yet)
    @asked      at the end: only as an answer to the question for this fact
    @said:a,b   at the end: only when the message says, or it is known, that fact a or b (or a fact of that role) is so:
                any value but "no" and "nobody"
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

_PIECE = re.compile(r"[\[\]()]|[^\s\[\]()]+")

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
    """A parsed phrase: its rows (each a tuple of elements), device condition (empty = always), certainty, and the facts
    or roles of which one must have been said (empty = none)."""

    source: str
    rows: tuple[tuple[Element, ...], ...]
    devices: frozenset[str]
    certainty: float
    said: frozenset[str] = frozenset()


def parse_phrase(source: str, place: str = "phrase") -> Phrase:
    """Parse one phrase.

    Raises: BadInputError naming `place` for unbalanced brackets, a bad certainty, an empty phrase or too many rows.
    """
    pieces = _pieces(source)
    devices: frozenset[str] = frozenset()
    said: frozenset[str] = frozenset()
    certainty = DEFAULT_CERTAINTY
    while pieces and pieces[-1][0] in "@~" and len(pieces[-1]) > 1:
        last = pieces.pop()
        if last.startswith("@said:"):
            said = frozenset(last.removeprefix("@said:").split(","))
            continue
        if last[0] == "@":
            devices = frozenset(last[1:].split(","))
            continue
        try:
            certainty = float(last[1:])
        except ValueError:
            raise BadInputError(place, source, "a certainty such as ~0.7") from None
        if not 0 < certainty <= 1:
            raise BadInputError(place, source, "a certainty above 0 and at most 1")
    rows, rest = _rows(pieces, 0, place, source, closing="")
    if rest != len(pieces):
        raise BadInputError(place, source, "balanced brackets")
    unique = tuple(
        dict.fromkeys(row for row in rows if any(e.kind in ("stem", "exact", "class", "any") for e in row))
    )
    if not unique:
        raise BadInputError(place, source, "at least one word")
    return Phrase(source, unique, devices, certainty, said)


def _rows(
    pieces: list[str], at: int, place: str, source: str, *, closing: str
) -> tuple[list[tuple[Element, ...]], int]:
    """Rows of pieces[at:] up to `closing` ("" at the outside), and the place after it."""
    rows: list[tuple[Element, ...]] = [()]
    done: list[tuple[Element, ...]] = []
    while at < len(pieces):
        piece = pieces[at]
        at += 1
        if piece in ("]", ")"):
            if piece != closing:
                raise BadInputError(place, source, "balanced brackets")
            return done + rows, at
        if piece == "[":
            inner, at = _rows(pieces, at, place, source, closing="]")
            rows = [row + extra for row in rows for extra in [(), *inner]]
        elif piece == "(":
            inner, at = _rows(pieces, at, place, source, closing=")")
            rows = [row + extra for row in rows for extra in inner]
        elif piece == "|" and closing == ")":
            done, rows = done + rows, [()]
        else:
            rows = [(*row, _choice(piece, place, source)) for row in rows]
        if len(rows) + len(done) > MAX_ROWS:
            raise BadInputError(place, source, f"at most {MAX_ROWS} rows after multiplying out")
    if closing:
        raise BadInputError(place, source, "balanced brackets")
    return rows, at


def _choice(piece: str, place: str, source: str) -> Element:
    if piece.startswith("|") or piece.endswith("|"):
        raise BadInputError(place, source, "single words on both sides of |")
    choices = tuple(_element(part) for part in piece.split("|"))
    return choices[0] if len(choices) == 1 else Element("any", piece, 0, choices)


def _pieces(source: str) -> list[str]:
    """Words and brackets; inside round brackets the bars stand alone."""
    pieces: list[str] = []
    depth = 0
    for piece in _PIECE.findall(source):
        depth += (piece == "(") - (piece == ")")
        if depth and piece not in "()[]" and "|" in piece:
            parts = re.split(r"(\|)", piece)
            pieces.extend(part for part in parts if part)
        else:
            pieces.append(piece)
    return pieces


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
