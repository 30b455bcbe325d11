"""Controls: words that steer the talk itself, recognised only when they are the whole message.

The words of each language are data: keys `control.<name>` in flows/common/texts/<locale>/conversation.yaml. The words
of every shipped language count in every conversation. `STOP` is an opt-out, `it won't stop spinning` is not; asking in
any reasonable words not to be written to is one too, see `opt_out`, and what a message strongly leans to, see `leanings`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from intakebot.conversation.guard import key
from intakebot.conversation.leanings import SURE, leanings
from intakebot.conversation.opt_out import LISTS, Wishes, compile_wishes, wants_out
from intakebot.definitions.model import Definitions
from intakebot.definitions.texts import Texts

ControlName = Literal[
    "stop", "start", "help", "person", "back", "skip", "not_sure", "pause", "resume", "language", "other_language",
    "start_again", "erase", "repeat", "wrong", "form", "price", "accept", "decline",
]  # fmt: skip
CONTROLS: tuple[ControlName, ...] = (
    "stop", "start", "help", "person", "back", "skip", "not_sure", "pause", "resume", "start_again", "erase",
    "repeat", "wrong", "form", "price", "accept", "decline", "other_language",
)  # fmt: skip
_PIECES = re.compile(r"[.,;!?\n]+")
MOST_CHARACTERS = 120
"""A longer message is no control word."""
WISHES: tuple[Literal["stop", "person"], ...] = ("stop", "person")
PLAIN_LISTS = ("fillers", "joiners", "nones", "alls")


@dataclass(frozen=True)
class Control:
    """locale: the language asked for, with `language`."""

    name: ControlName
    locale: str | None = None


@dataclass(frozen=True)
class ControlWords:
    """Compiled words: folded whole message -> control; wishes not to be written to; politeness that may surround a control;
    fillers that may stand before a choice; how picks of a checklist are joined, and how all or none of them is said."""

    whole: dict[str, Control]
    wishes: tuple[Wishes, ...]
    polite: frozenset[str]
    anger: tuple[str, ...]
    fillers: frozenset[str]
    joiners: frozenset[str]
    nones: frozenset[str]
    alls: frozenset[str]


def control_of(text: str, words: ControlWords) -> Control | None:
    """The control a message consists of, or None when it is content."""
    folded = key(text)
    if not folded:
        return None
    if len(folded) <= MOST_CHARACTERS:
        if folded in words.whole:
            return words.whole[folded]
        found = words.whole.get(" ".join(_without_politeness(folded.split(), words.polite)))
        if found is not None:
            return found
    if _ends_with_stop(text, words) or wants_out(text, words.wishes):
        return Control("stop")
    chances = leanings(text)
    for wish in WISHES:
        if chances[wish] >= SURE[wish]:
            return Control(wish)
    return None


def _ends_with_stop(text: str, words: ControlWords) -> bool:
    """A short message whose last sentence is an opt-out by itself: `Not interested, stop`."""
    pieces = [piece for piece in _PIECES.split(text) if key(piece)]
    if len(pieces) < 2 or len(key(text).split()) > 10:
        return False
    found = words.whole.get(key(pieces[-1]))
    return found is not None and found.name == "stop"


def is_angry(text: str, words: ControlWords) -> bool:
    """True when the message holds one of the anger words or phrases of any shipped language."""
    folded = f" {key(text)} "
    return any(f" {phrase} " in folded for phrase in words.anger)


class _Same:
    """Definitions compared by identity: they are frozen, but hold mappings and so have no hash of their own."""

    def __init__(self, definitions: Definitions) -> None:
        self.definitions = definitions

    def __hash__(self) -> int:
        return id(self.definitions)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.definitions is self.definitions


def compile_words(definitions: Definitions) -> ControlWords:
    """The control words of all shipped languages (kept for the definitions used last: needed in every turn)."""
    return _words_of(_Same(definitions))


@lru_cache(maxsize=8)
def _words_of(same: _Same) -> ControlWords:
    definitions = same.definitions
    wordings = []
    for locale in definitions.locales:
        texts = Texts(definitions, None, locale)
        names = [*CONTROLS, "own_language", *LISTS, "polite", "anger", *PLAIN_LISTS]
        wordings.append((locale, tuple((name, _all(texts, f"control.{name}")) for name in names)))
    return _compiled(tuple(wordings))


def _all(texts: Texts, text_key: str) -> tuple[str, ...]:
    return tuple(texts.say(text_key, wording) for wording in range(texts.wordings(text_key)))


@lru_cache(maxsize=8)
def _compiled(wordings: tuple[tuple[str, tuple[tuple[str, tuple[str, ...]], ...]], ...]) -> ControlWords:
    whole: dict[str, Control] = {}
    wishes: list[Wishes] = []
    polite: set[str] = set()
    anger: list[str] = []
    plain: dict[str, set[str]] = {name: set() for name in PLAIN_LISTS}
    for locale, lists in wordings:
        wishes.append(compile_wishes(dict(lists)))
        for name, words in lists:
            if name in LISTS:
                continue
            if name == "polite":
                polite.update(key(word) for word in words)
            elif name == "anger":
                anger.extend(key(word) for word in words)
            elif name in plain:
                plain[name].update(key(word) for word in words)
            else:
                control = Control("language", locale) if name == "own_language" else Control(name)  # type: ignore[arg-type]
                for word in words:
                    whole.setdefault(key(word), control)
    return ControlWords(
        whole,
        tuple(wishes),
        frozenset(polite),
        tuple(anger),
        *(frozenset(plain[name]) for name in PLAIN_LISTS),
    )


def _without_politeness(words: list[str], polite: frozenset[str]) -> list[str]:
    start, end = 0, len(words)
    while start < end and words[start] in polite:
        start += 1
    while end > start and words[end - 1] in polite:
        end -= 1
    return words[start:end] or words
