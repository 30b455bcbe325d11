"""The wordings of answers (flows/<family>/answers/<locale>.yaml) compiled beside the phrases: a word graph a question.

The answer words of the language are word classes, so that a family can build on them (`{like.fine}`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from intakebot.definitions.model import AnswerWords
from intakebot.understanding.answer_words import WORDS
from intakebot.understanding.lexicon import (
    Lexicon,
    Members,
    Node,
    Reading,
    insert,
    insert_row,
    merge,
    stems_of,
)
from intakebot.understanding.phrase_grammar import parse_phrase

OPEN_END = ".."
"""Mark of a wording that ends in a gap: other words may follow it, or none."""


def with_answers(lexicon: Lexicon) -> Lexicon:
    """The lexicon with the wordings of its family's answers.

    Raises: BadInputError for a phrase that cannot be parsed.
    """
    locale = lexicon.language.locale
    answers = lexicon.family.answers.get(locale)
    kinds = merge(WORDS.get(locale, {}), answers.kinds if answers else {})
    words = set(lexicon.words)
    members = Members(merge(lexicon.cues, kinds), lexicon.language, words)
    for kind in sorted(kinds):
        for row in members.of(kind):
            node = insert(lexicon.classes, list(row))
            if kind not in node.members:
                node.members.append(kind)
    roots: dict[str, Node] = {}
    for question, source, reading in _readings(answers) if answers else ():
        place = f"answers/{locale}: {question}, {reading.fact or reading.value}"
        phrase = parse_phrase(source, place)
        for elements in phrase.rows:
            open_end = elements[-1].kind == "gap" and len(elements) > 1
            node = insert_row(
                roots.setdefault(question, Node()),
                elements[:-1] if open_end else elements,
                lexicon.language,
                words,
            )
            devices = frozenset({OPEN_END}) if open_end else frozenset()
            final = replace(reading, certainty=phrase.certainty, devices=devices)
            if final not in node.accepts:
                node.accepts.append(final)
    return replace(
        lexicon,
        answer_words=frozenset(words - lexicon.words),
        answers=roots,
        asked_words=_asked_words(lexicon, locale),
        over={question: frozenset(facts) for question, facts in answers.over.items()} if answers else {},
    )


def _readings(answers: AnswerWords) -> Iterator[tuple[str, str, Reading]]:
    """(question, phrase, reading); a choice is a reading without a fact."""
    for question, choices in answers.choices.items():
        for choice, phrases in choices.items():
            for source in phrases:
                yield question, source, Reading("fact", "", choice)
    for question, facts in answers.facts.items():
        for fact, values in facts.items():
            for value, phrases in values.items():
                for source in phrases:
                    yield question, source, Reading("fact", fact, value)


def _asked_words(lexicon: Lexicon, locale: str) -> dict[str, frozenset[str]]:
    """question -> stems of its own wordings: said again in an answer they add nothing ("the buttons are fine")."""
    out: dict[str, frozenset[str]] = {}
    texts = lexicon.family.texts.get(locale, {})
    for question in lexicon.family.questions:
        text = texts.get(f"question.{question}", ())
        said = text if isinstance(text, str) else " ".join(text)
        out[question] = frozenset(stems_of(said, lexicon.language, set())) - lexicon.language.negators
    return out
