"""Words, sentences and clauses of a folded message.

A token keeps its place in the folded text. Contractions become several tokens at the same place. A clause ends at
punctuation or before a word that begins a new one ("but", "because"); commas end a clause too, lists are looked
after where denials are worked out.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from intakebot.understanding.language import Language

_TOKEN = re.compile(r"\d+(?:[.,]\d+)+(?!\w)|\w+(?:'\w+)?|[^\w\s]|\n")
"""A number with inner points or commas, a word with at most one inner apostrophe, one other sign, or a line end.
Each repetition begins with a sign the one before cannot hold, so matching takes linear time."""

HARD = frozenset(".!?;:\n")
SOFT = frozenset(",()[]")
QUOTES = frozenset("\"'")
_MAX_TOKENS = 1500


@dataclass(frozen=True)
class Token:
    """`word` as matched (after expansion and spelling repair), `stem`, and where it stands in the folded text."""

    word: str
    stem: str
    start: int
    end: int
    is_word: bool


@dataclass(frozen=True)
class Sentence:
    """Token indices [start, end) between hard breaks, and the clauses in it as (start, end) pairs."""

    start: int
    end: int
    clauses: tuple[tuple[int, int], ...]
    is_question: bool


def raw_words(folded: str) -> list[tuple[str, int, int]]:
    """(written, start, end) of every word and sign. A dash between spaces is a break, inside a word it is
    dropped, and so are quotes."""
    out: list[tuple[str, int, int]] = []
    for found in _TOKEN.finditer(folded):
        written, start, end = found.group(), found.start(), found.end()
        if written == "-":
            spaced = (start == 0 or folded[start - 1].isspace()) or (
                end == len(folded) or folded[end].isspace()
            )
            if not spaced:
                continue
            written = "-"
        if written in QUOTES:
            continue
        out.append((written, start, end))
        if len(out) >= _MAX_TOKENS:
            break
    return out


def split_digits(written: str) -> list[str]:
    """ "2yrs" -> ["2", "yrs"]; codes such as "ab12" stay whole."""
    found = re.match(r"\d+", written)
    if found and found.end() < len(written) and written[found.end() :].isalpha():
        return [found.group(), written[found.end() :]]
    return [written]


def expand(written: str, language: Language) -> tuple[str, ...]:
    """The words a written form stands for, possessive endings dropped."""
    if written in language.expansions:
        return language.expansions[written]
    if "'" in written:
        head, _, tail = written.partition("'")
        if tail in ("s", ""):
            return language.expansions.get(head, (head,)) if tail else (head,)
        if head and f"{head}{tail}" in language.expansions:
            return language.expansions[f"{head}{tail}"]
        return tuple(word for word in (head, tail) if word)
    return (written,)


def make_token(word: str, start: int, end: int, language: Language) -> Token:
    is_word = word[:1].isalnum()
    return Token(word, language.stem(word) if is_word else word, start, end, is_word)


def sentences_of(tokens: list[Token], language: Language) -> list[Sentence]:
    """Split tokens into sentences and clauses."""
    out: list[Sentence] = []
    start = 0
    for index in range(len(tokens) + 1):
        at_end = index == len(tokens)
        if not at_end and not (tokens[index].word in HARD or tokens[index].word == "-"):
            continue
        if index > start:
            out.append(
                Sentence(
                    start,
                    index,
                    _clauses(tokens, start, index, language),
                    not at_end and tokens[index].word == "?",
                )
            )
        start = index + 1
    return out


def _clauses(tokens: list[Token], start: int, end: int, language: Language) -> tuple[tuple[int, int], ...]:
    out: list[tuple[int, int]] = []
    begin = start
    for index in range(start, end):
        word = tokens[index].word
        if word in SOFT:
            if index > begin:
                out.append((begin, index))
            begin = index + 1
        elif word in language.breaks and index > begin:
            out.append((begin, index))
            begin = index
    if end > begin:
        out.append((begin, end))
    return tuple(out)
