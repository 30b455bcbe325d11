"""Reading answers by role, so that no module here knows a family's fact ids."""

from __future__ import annotations

from collections.abc import Iterator

from intakebot.definitions.facts import Answer, Answers, Value
from intakebot.definitions.model import Device, Fact, Family, Role


def facts_with(family: Family, role: Role) -> Iterator[Fact]:
    """The family's facts that have a role, in the family's order."""
    return (fact for fact in family.facts.values() if fact.role == role)


def answer_for(family: Family, answers: Answers, role: Role) -> Answer | None:
    """The first known answer to a fact with the role, None when there is none."""
    for fact in facts_with(family, role):
        answer = answers.get(fact.id)
        if answer is not None and answer.is_known:
            return answer
    return None


def value_for(family: Family, answers: Answers, role: Role) -> Value | None:
    """The value of `answer_for`, or None."""
    answer = answer_for(family, answers, role)
    return None if answer is None else answer.value


def device_of(family: Family, answers: Answers) -> Device | None:
    """The device the customer named, None while it is not known."""
    kind = value_for(family, answers, "device_kind")
    return family.devices.get(kind) if isinstance(kind, str) else None
