"""Whether a message asks not to be written to any more, in whatever words: patterns as data, a sentence at a time.

Any reasonable wording counts (47 CFR 64.1200(a)(10), as in force from 11 April 2025), but a word about the device or the order
is no wish: `it won't stop spinning`, `stop the repair`. A pattern (`control.stop_said`) is a row of words: `a|b` alternatives,
`[a]` may be left out, `..` up to four words, `...` up to twelve, `^` the start, `$` the end (also as an alternative), `@name` the words of `control.stop_<name>`. `control.stop_unless`
has patterns of the same kind: a sentence with one of them sets a limit or means the opposite (`not before nine`, `don't
stop`), and is content. A message, or its last sentence, of `control.stop_word` with nothing but
`control.stop_around` beside it is a wish, also with letters swapped or repeated.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rapidfuzz.distance import OSA

from intakebot.conversation.guard import key

CLASSES = ("ending", "doing", "do", "done", "things")
LISTS = (
    "stop_said",
    "stop_unless",
    "stop_word",
    "stop_around",
    "signature",
    *(f"stop_{name}" for name in CLASSES),
)
"""The lists of one language, as keys below `control`."""
MOST_CHARACTERS = 500
MOST_LETTERS, MOST_WORDS = 20, 8
LONG_WORD = 8
"""Letters from which a word with two of them wrong is still that word."""
_SENTENCES = re.compile(r"\n+|[.;!?]+(?=\s|$)")
_NAMED = re.compile(r"([^-,\u2013\u2014]+)[-,\u2013\u2014]+\s*[A-Z]\w+[.!]?")
"""A message with the sender's name below it: `Stop - Dolores`."""
_REPEATED = re.compile(r"(.)\1+")
_GAPS = {"..": r"(?: \w+){0,4}", "...": r"(?: \w+){0,12}"}


@dataclass(frozen=True)
class Wishes:
    """One language's patterns, compiled."""

    said: re.Pattern[str]
    unless: re.Pattern[str]
    bare: re.Pattern[str]
    words: frozenset[str]
    signatures: tuple[str, ...]

    def signs(self, sentence: str) -> bool:
        """Whether this is the line a phone puts below a message."""
        return sentence.startswith(self.signatures)

    def in_sentence(self, sentence: str) -> bool:
        """sentence: folded by `guard.key`."""
        padded = f" {' '.join(map(self._spelt, sentence.split()))} "
        return self.said.search(padded) is not None and self.unless.search(padded) is None

    def is_bare(self, sentence: str) -> bool:
        """Nothing but one of the words, politeness and the like beside it."""
        words = sentence.split()
        if len(words) > MOST_WORDS:
            return False
        return (
            self.bare.fullmatch(f" {sentence} ") is not None
            or self.bare.fullmatch(f" {' '.join(self._spelt(word, short=True) for word in words)} ")
            is not None
        )

    def _spelt(self, said: str, short: bool = False) -> str:
        """A word meant for one of the words: with a letter or two wrong when it is long; else (`short`) with two letters swapped or a
        letter repeated."""
        if said in self.words or len(said) > MOST_LETTERS or (len(said) < LONG_WORD - 1 and not short):
            return said
        bare = _REPEATED.sub(r"\1", said)
        return next((word for word in self.words if _alike(bare, _REPEATED.sub(r"\1", word))), said)


def _alike(said: str, word: str) -> bool:
    if len(word) >= LONG_WORD:
        return said[:1] == word[0] and bool(OSA.distance(said, word, score_cutoff=2) <= 2)
    return said == word or (
        len(said) == len(word)
        and sorted(said) == sorted(word)
        and said[0] == word[0]
        and OSA.distance(said, word) == 1
    )


def compile_wishes(lists: Mapping[str, Sequence[str]]) -> Wishes:
    """lists: the strings below each of `LISTS`. Raises: KeyError for an unknown `@name`."""
    classes = {name: [key(word) for word in lists[f"stop_{name}"]] for name in CLASSES}
    stops, around = ([key(word) for word in lists[name]] for name in ("stop_word", "stop_around"))
    beside = f"(?: (?:{'|'.join(around)}))*"
    said = "|".join(sorted(stops, key=len, reverse=True))
    return Wishes(
        said=_any(lists["stop_said"], classes),
        unless=_any(lists["stop_unless"], classes),
        bare=re.compile(f"{beside}(?: (?:{said}){beside})+ "),
        words=frozenset(word for word in stops if " " not in word),
        signatures=tuple(key(word) for word in lists["signature"]),
    )


def wants_out(text: str, wishes: Sequence[Wishes]) -> bool:
    """True when a sentence of the message is such a wish in one of the languages."""
    text = text[:MOST_CHARACTERS]
    sentences = [sentence for sentence in map(key, _SENTENCES.split(text)) if sentence]
    last = sentences[-1] if sentences else ""
    if len(sentences) > 1 and any(each.signs(last) for each in wishes):
        sentences.pop()
    whole = " ".join(sentences)
    named = _NAMED.fullmatch(text.strip())
    if named is not None and any(each.is_bare(key(named.group(1))) for each in wishes):
        return True
    return any(
        each.is_bare(whole) or each.is_bare(sentences[-1]) or any(map(each.in_sentence, sentences))
        for each in wishes
        if sentences
    )


def _any(patterns: Sequence[str], classes: Mapping[str, Sequence[str]]) -> re.Pattern[str]:
    return re.compile("|".join(_pattern(pattern, classes) for pattern in patterns) or "(?!)")


def _pattern(pattern: str, classes: Mapping[str, Sequence[str]]) -> str:
    parts = []
    for word in pattern.split():
        if word in _GAPS:
            parts.append(_GAPS[word])
        elif word == "^":
            parts.append("^")
        elif word == "$":
            parts.append(r"(?= $)")
        elif word.endswith("|$"):
            parts.append(f"(?: {_words(word[:-2], classes)}|(?= $))")
        elif word.startswith("$|"):
            parts.append(f"(?: {_words(word[2:], classes)}|(?= $))")
        elif word.startswith("["):
            parts.append(f"(?: {_words(word[1:-1], classes)})?")
        else:
            parts.append(f" {_words(word, classes)}")
    return "".join(parts) + r"(?= )"


def _words(word: str, classes: Mapping[str, Sequence[str]]) -> str:
    found: list[str] = []
    for each in word.split("|"):
        found += classes[each[1:]] if each.startswith("@") else [each]
    return "(?:" + "|".join(re.escape(each) for each in found) + ")"
