"""Putting together what the phrases, the numbers and the answer to the pending question say."""

from __future__ import annotations

from collections.abc import Sequence

from intakebot.definitions.facts import Value
from intakebot.definitions.model import Fact
from intakebot.understanding.answers import AnswerRead
from intakebot.understanding.facts_read import PhraseFacts
from intakebot.understanding.folding import Folded
from intakebot.understanding.heard import Expecting, HeardFact, Option, Span
from intakebot.understanding.lexicon import Lexicon
from intakebot.understanding.matching import Mark
from intakebot.understanding.role_facts import text_answer
from intakebot.understanding.scope import PEOPLE, Scopes
from intakebot.understanding.tokens import Token

CONFLICT_CERTAINTY = 0.5
"""'No, it spins fine': the bare answer and the sentence disagree; the sentence is taken, but doubted."""


def answer_facts(
    folded: Folded, tokens: Sequence[Token], marks: Sequence[Mark], scopes: Scopes, answer: AnswerRead,
    expecting: Expecting | None, expected: Fact | None, phrases: PhraseFacts, others: Sequence[HeardFact],
) -> list[HeardFact]:  # fmt: skip
    """Facts that follow from the answer to the pending question."""
    if expecting is None or not tokens:
        return []
    span = folded.span(*(answer.span or (tokens[0].start, tokens[-1].end)))
    certainty = min(
        [
            1.0,
            *(
                scopes.hedge[i]
                for i, t in enumerate(tokens)
                if answer.span and answer.span[0] <= t.start < answer.span[1]
            ),
        ]
    )
    if answer.options:
        return _from_options(folded, span, answer.options, expected, certainty)
    if expected is None:
        return []
    if answer.reply == "not_known":
        said = any(f.fact == expected.id and f.value is not None for f in (*phrases.facts, *others))
        return [] if said else [_fact(folded, expected.id, None, 1.0, span)]
    if answer.reply == "declined":
        return []
    if any(f.fact == expected.id for f in others):
        return []
    if expected.role == "attempt":
        value = _person(answer, tokens, marks, expected)
        return [_fact(folded, expected.id, value, certainty, span)] if value else []
    if answer.reply in ("yes", "no"):
        return _from_reply(folded, expected, answer.reply, certainty, span)
    if expected.type == "text" and expected.role not in ("email", "phone"):
        heard = text_answer(folded, tokens, marks, expected, phrases.used)
        return [heard] if heard else []
    return []


def _fact(folded: Folded, fact: str, value: Value | None, certainty: float, span: Span) -> HeardFact:
    return HeardFact(
        fact, value, round(certainty, 3), span, folded.original[span[0] : span[1]], False, "answer"
    )


def _from_options(
    folded: Folded, span: Span, options: Sequence[Option], expected: Fact | None, certainty: float
) -> list[HeardFact]:
    joined: dict[str, Value | None] = {}
    for option in options:
        for fact, value in option.sets.items():
            held = joined.get(fact)
            if isinstance(held, tuple) and isinstance(value, tuple):
                joined[fact] = tuple(dict.fromkeys((*held, *value)))
            elif (
                expected is not None
                and expected.type == "choices"
                and fact == expected.id
                and isinstance(value, str)
            ):
                before = held if isinstance(held, tuple) else ()
                joined[fact] = tuple(dict.fromkeys((*before, value)))
            else:
                joined[fact] = value
    return [_fact(folded, fact, value, certainty, span) for fact, value in joined.items()]


def _from_reply(folded: Folded, fact: Fact, reply: str, certainty: float, span: Span) -> list[HeardFact]:
    if fact.type == "yes_no":
        return [_fact(folded, fact.id, reply, certainty, span)]
    if reply == "no" and fact.type == "count" and (fact.minimum is None or fact.minimum <= 0):
        return [_fact(folded, fact.id, 0, certainty * 0.9, span)]
    if reply == "no" and fact.type == "choice" and "none" in fact.options:
        return [_fact(folded, fact.id, "none", certainty * 0.9, span)]
    return []


def _person(answer: AnswerRead, tokens: Sequence[Token], marks: Sequence[Mark], fact: Fact) -> str | None:
    """Who did it, from a short answer: "me", "a shop", "nobody", "no"."""
    named = [mark for mark in marks if mark.kind in PEOPLE]
    if answer.reply == "no":
        return "nobody"
    if named and sum(token.is_word for token in tokens) <= 8:
        best = min(named, key=lambda m: (PEOPLE.index(m.kind), m.start))
        who = best.kind.removeprefix("who.")
        return who if who in fact.options else "someone"
    return "someone" if answer.reply == "yes" and "someone" in fact.options else None


def merge_facts(
    stated: Sequence[HeardFact], others: Sequence[HeardFact], answered: Sequence[HeardFact], lexicon: Lexicon
) -> tuple[HeardFact, ...]:
    """One list, one value a fact, in the order of the message: the answer first, then sentences, then numbers."""
    merged: dict[str, HeardFact] = {}
    for heard in (*others, *stated):
        merged[heard.fact] = heard
    for heard in answered:
        held = merged.get(heard.fact)
        if held is None or held.value is None or held.source != "phrase":
            merged[heard.fact] = heard
        elif held.value == heard.value:
            merged[heard.fact] = heard if heard.certainty >= held.certainty else held
        elif heard.value is None:
            continue
        elif heard.value in ("yes", "no") or (heard.value == "someone" and held.value is not None):
            doubt = held.certainty if heard.value == "someone" else CONFLICT_CERTAINTY
            merged[heard.fact] = HeardFact(
                held.fact, held.value, doubt, held.span, held.quote, held.negated, held.source
            )
        else:
            merged[heard.fact] = heard
    return tuple(sorted(merged.values(), key=lambda h: (h.span, h.fact)))


def choice_of(answer: AnswerRead, expecting: Expecting | None, facts: Sequence[HeardFact]) -> str | None:
    """The option that was picked: said outright, or the only one whose facts the message states."""
    if answer.options:
        return answer.options[0].id
    if expecting is None:
        return None
    values = {heard.fact: heard.value for heard in facts}
    fitting = [
        option
        for option in expecting.options
        if option.sets
        and all(fact in values and values[fact] == value for fact, value in option.sets.items())
    ]
    return fitting[0].id if len(fitting) == 1 else None
