"""Checklists: questions with `several`, answered by picking all that fits from a short list.

What is picked was said. What was listed and not picked is weaker (`Choice.else_sets`), and yields to what a picked choice
says or implies. Picking nothing at all says of every listed choice that it is not so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from intakebot.definitions.facts import Answers, Value, holds
from intakebot.definitions.model import Choice, Fact, Question

MOST_LISTED = 10
"""Choices listed at a time, "none of these" not counted."""
UNPICKED_CERTAINTY = 0.9
"""How sure it is that a listed choice that was not picked is not so (common practice, no source)."""
NONE, NOT_SURE = "none", "not_sure"
RESERVED = (NONE, NOT_SURE)
"""Ids the talk gives to the answers it adds itself."""


@dataclass(frozen=True)
class Meaning:
    """said: facts set by picks (None: two picks contradict each other). left: facts set by what was not picked."""

    said: Mapping[str, Value | None]
    left: Mapping[str, Value | None]


def listable(question: Question, answers: Answers) -> tuple[Choice, ...]:
    """The choices that may be listed: `when` holds, and nothing is held yet about any fact they set."""
    return tuple(
        choice
        for choice in question.choices
        if (choice.when is None or holds(choice.when, answers) is True)
        and not any(fact in answers for fact in choice.sets)
    )


def bundles(choices: Sequence[Choice]) -> tuple[tuple[Choice, ...], ...]:
    """Choices about the same fact, together in the order of the first: they are listed all or not at all."""
    found: dict[frozenset[str], list[Choice]] = {}
    for choice in choices:
        facts = frozenset(choice.sets)
        key = next((key for key in found if key & facts), facts)
        members = found.pop(key, [])
        found[key | facts] = [*members, choice]
    order = {choice.id: place for place, choice in enumerate(choices)}
    return tuple(sorted((tuple(members) for members in found.values()), key=lambda each: order[each[0].id]))


def meaning(facts: Mapping[str, Fact], listed: Sequence[Choice], picked: Sequence[str]) -> Meaning:
    """What picking `picked` (ids of listed choices) from `listed` says; an empty pick says no to each."""
    chosen = [choice for choice in listed if choice.id in picked]
    others = [choice for choice in listed if choice.id not in picked]
    said: dict[str, Value | None] = {}
    for choice in chosen:
        for fact, value in choice.sets.items():
            said[fact] = value if said.get(fact, value) == value else None
    implied = {
        implication.fact
        for fact, value in said.items()
        if value is not None
        for implication in facts[fact].implies
        if implication.value == value
    }
    left: dict[str, Value | None] = {}
    for choice in others:
        for fact, value in choice.else_sets.items():
            if fact not in said and fact not in implied:
                left.setdefault(fact, value)
    return Meaning(said, left) if chosen else Meaning(left, {})
