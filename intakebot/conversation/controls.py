"""Controls: words that steer the talk itself, recognised only when they are the whole message.

The words of each language are data: keys `control.<name>` in flows/common/texts/<locale>/conversation.yaml. The words
of every shipped language count in every conversation. `STOP` is an opt-out, `it won't stop spinning` is not; asking in
any reasonable words not to be written to is one too (47 CFR 64.1200(a)(10), as in force from 11 April 2025), which
`control.stop_phrases` describes as patterns over words:  `a|b` is a choice, `[a|b]` may be left out, `*` is any one word.
"""

from __future__ import annotations

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


@dataclass(frozen=True)
class Control:
    """locale: the language asked for, with `language`."""

    name: ControlName
    locale: str | None = None


@dataclass(frozen=True)
class ControlWords:
    """Compiled words: folded whole message -> control; stop patterns; politeness that may surround a control."""

    whole: dict[str, Control]
    stop_patterns: tuple[tuple[tuple[frozenset[str], bool], ...], ...]
    polite: frozenset[str]
    anger: tuple[str, ...]


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
    if any(_matches(pattern, tuple(bare)) for pattern in words.stop_patterns):
        return Control("stop")
    return None


def is_angry(text: str, words: ControlWords) -> bool:
    """True when the message holds one of the anger words or phrases of any shipped language."""
    folded = f" {key(text)} "
    return any(f" {phrase} " in folded for phrase in words.anger)


def compile_words(definitions: Definitions) -> ControlWords:
    """The control words of all shipped languages (cached by the definitions' version)."""
    wordings = []
    for locale in definitions.locales:
        texts = Texts(definitions, None, locale)
        names = [*CONTROLS, "own_language", "stop_phrases", "polite", "anger"]
        wordings.append((locale, tuple((name, _all(texts, f"control.{name}")) for name in names)))
    return _compiled(tuple(wordings))


def _all(texts: Texts, text_key: str) -> tuple[str, ...]:
    return tuple(texts.say(text_key, wording) for wording in range(texts.wordings(text_key)))


@lru_cache(maxsize=8)
def _compiled(wordings: tuple[tuple[str, tuple[tuple[str, tuple[str, ...]], ...]], ...]) -> ControlWords:
    whole: dict[str, Control] = {}
    patterns: list[tuple[tuple[frozenset[str], bool], ...]] = []
    polite: set[str] = set()
    anger: list[str] = []
    for locale, lists in wordings:
        for name, words in lists:
            if name == "stop_phrases":
                patterns.extend(_pattern(phrase) for phrase in words)
            elif name == "polite":
                polite.update(key(word) for word in words)
            elif name == "anger":
                anger.extend(key(word) for word in words)
            else:
                control = Control("language", locale) if name == "own_language" else Control(name)  # type: ignore[arg-type]
                for word in words:
                    whole.setdefault(key(word), control)
    return ControlWords(whole, tuple(patterns), frozenset(polite), tuple(anger))


def _pattern(phrase: str) -> tuple[tuple[frozenset[str], bool], ...]:
    """`stop|quit texting|messaging [me|us]` -> a tuple of (allowed words, may be left out)."""
    items = []
    for item in phrase.split():
        optional = item.startswith("[")
        items.append((frozenset(key(word) or word for word in item.strip("[]").split("|")), optional))
    return tuple(items)


def _matches(pattern: tuple[tuple[frozenset[str], bool], ...], words: tuple[str, ...]) -> bool:
    """Whether the whole message is an instance of the pattern (both are short, so plain recursion will do)."""
    if not pattern:
        return not words
    (allowed, optional), rest = pattern[0], pattern[1:]
    if words and (words[0] in allowed or "*" in allowed) and _matches(rest, words[1:]):
        return True
    return optional and _matches(rest, words)


def _without_politeness(words: list[str], polite: frozenset[str]) -> list[str]:
    start, end = 0, len(words)
    while start < end and words[start] in polite:
        start += 1
    while end > start and words[end - 1] in polite:
        end -= 1
    return words[start:end] or words
