"""Controls: words that steer the talk itself, recognised only when they are the whole message.

The words of each language are data: keys `control.<name>` in flows/common/texts/<locale>/conversation.yaml. The words
of every shipped language count in every conversation. `STOP` is an opt-out, `it won't stop spinning` is not; asking in
any reasonable words not to be written to is one too (47 CFR 64.1200(a)(10), as in force from 11 April 2025). It is known
by a closed vocabulary: every word of the message is in one language's lists, one of them ends something, and one is about
our messages (`stop sending me these texts`) or about a list of numbers (`take me off your list`). One word about a device
or a disc, and it is content.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from intakebot.conversation.guard import key
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
STOP_LISTS = (
    "stop_strong", "stop_weak", "stop_plain", "stop_about", "stop_filler", "list_words", "list_about",
)  # fmt: skip
"""In the order of the fields of `StopWords`."""
PLAIN_LISTS = ("fillers", "joiners", "nones", "alls")


@dataclass(frozen=True)
class Control:
    """locale: the language asked for, with `language`."""

    name: ControlName
    locale: str | None = None


@dataclass(frozen=True)
class StopWords:
    """One language's closed vocabulary of wishes not to be written to.

    strong: end something by themselves. weak: only together with one of `plain`. about: our messages.
    """

    strong: frozenset[str]
    weak: frozenset[str]
    plain: frozenset[str]
    about: frozenset[str]
    filler: frozenset[str]
    list_words: frozenset[str]
    list_about: frozenset[str]

    def fit(self, words: frozenset[str]) -> bool:
        """Whether these are all the words of such a wish."""
        ends = words & self.strong or (words & self.weak and words & self.plain)
        if ends and words & self.about and words <= self.strong | self.weak | self.about | self.filler:
            return True
        if words & self.strong and words & self.list_about and words & self.about:
            return words <= self.strong | self.about | self.list_about | self.filler
        listed = words & self.list_words and words & self.list_about
        return bool(listed) and words <= self.list_words | self.list_about | self.filler


@dataclass(frozen=True)
class ControlWords:
    """Compiled words: folded whole message -> control; stop vocabularies; politeness that may surround a control;
    fillers that may stand before a choice; how picks of a checklist are joined, and how all or none of them is said."""

    whole: dict[str, Control]
    stops: tuple[StopWords, ...]
    polite: frozenset[str]
    anger: tuple[str, ...]
    fillers: frozenset[str]
    joiners: frozenset[str]
    nones: frozenset[str]
    alls: frozenset[str]


def control_of(text: str, words: ControlWords) -> Control | None:
    """The control a message consists of, or None when it is content."""
    folded = key(text)
    if not folded or len(folded) > 120:
        return None
    if folded in words.whole:
        return words.whole[folded]
    bare = _without_politeness(folded.split(), words.polite)
    found = words.whole.get(" ".join(bare))
    if found is not None:
        return found
    if any(stops.fit(frozenset(bare)) for stops in words.stops) or _ends_with_stop(text, words):
        return Control("stop")
    return None


def _ends_with_stop(text: str, words: ControlWords) -> bool:
    """A short message whose last sentence is an opt-out by itself: `Not interested, stop`."""
    pieces = [piece for piece in _PIECES.split(text) if key(piece)]
    if len(pieces) < 2 or len(key(text).split()) > 10:
        return False
    last = key(pieces[-1])
    found = words.whole.get(last)
    if found is not None:
        return found.name == "stop"
    return any(stops.fit(frozenset(last.split())) for stops in words.stops)


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
        names = [*CONTROLS, "own_language", *STOP_LISTS, "polite", "anger", *PLAIN_LISTS]
        wordings.append((locale, tuple((name, _all(texts, f"control.{name}")) for name in names)))
    return _compiled(tuple(wordings))


def _all(texts: Texts, text_key: str) -> tuple[str, ...]:
    return tuple(texts.say(text_key, wording) for wording in range(texts.wordings(text_key)))


@lru_cache(maxsize=8)
def _compiled(wordings: tuple[tuple[str, tuple[tuple[str, tuple[str, ...]], ...]], ...]) -> ControlWords:
    whole: dict[str, Control] = {}
    stops: list[StopWords] = []
    polite: set[str] = set()
    anger: list[str] = []
    plain: dict[str, set[str]] = {name: set() for name in PLAIN_LISTS}
    for locale, lists in wordings:
        folded = {name: frozenset(key(word) for word in words) for name, words in lists}
        stops.append(StopWords(*(folded[name] for name in STOP_LISTS)))
        for name, words in lists:
            if name in STOP_LISTS:
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
        tuple(stops),
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
