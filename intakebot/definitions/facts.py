"""Answers to facts, and conditions over them.

A condition is data: `{all: [...]}`, `{any: [...]}`, `{not: {...}}` or `{fact, op, value}`. It is evaluated in
three values: a fact nobody has answered makes a comparison *unknown* (None), never false. Callers decide what
unknown means for them (a question's guard: not yet; a caution: not shown; a finding: drops out).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal

Value = str | int | Decimal | date | tuple[str, ...]
"""choice and yes_no: option code; choices and photo: tuple of codes; text: str; count: int; amount: Decimal; date: date."""

Status = Literal["heard", "confirmed", "not_known", "declined"]
Op = Literal["exists", "=", "!=", ">", "<", ">=", "<="]
OPERATORS: tuple[str, ...] = ("exists", "=", "!=", ">", "<", ">=", "<=")


@dataclass(frozen=True)
class Answer:
    """What is held about one fact.

    Attributes:
        value: None exactly when status is `not_known` (the customer does not know) or `declined`.
        status: `heard` (read from free text), `confirmed` (tapped, typed as an option, said yes to, or staff),
            `not_known`, `declined`.
        certainty: probability in (0, 1] that the value is what the customer means; 1 when confirmed without a hedge.
    """

    value: Value | None
    status: Status = "confirmed"
    certainty: float = 1.0

    @property
    def is_known(self) -> bool:
        return self.value is not None


Answers = Mapping[str, Answer]


@dataclass(frozen=True)
class Comparison:
    fact: str
    op: Op
    value: Value | bool | None = None


@dataclass(frozen=True)
class AllOf:
    parts: tuple[Condition, ...]


@dataclass(frozen=True)
class AnyOf:
    parts: tuple[Condition, ...]


@dataclass(frozen=True)
class NotOf:
    part: Condition


Condition = Comparison | AllOf | AnyOf | NotOf

ALWAYS = AllOf(())


def holds(condition: Condition, answers: Answers) -> bool | None:
    """Truth of a condition in Kleene's three-valued logic; None means not known yet.

    `exists` is always two-valued: true when a value is held (`value: false` turns it round). On a `choices` fact
    `=` means *contains* and `!=` *was answered and does not contain*.
    """
    if isinstance(condition, Comparison):
        return _compare(condition, answers.get(condition.fact))
    if isinstance(condition, NotOf):
        inner = holds(condition.part, answers)
        return None if inner is None else not inner
    decisive = isinstance(condition, AnyOf)  # one true part settles `any`, one false part settles `all`
    settled: bool | None = not decisive
    for part in condition.parts:
        truth = holds(part, answers)
        if truth is decisive:
            return decisive
        if truth is None:
            settled = None
    return settled


def _compare(comparison: Comparison, answer: Answer | None) -> bool | None:
    known = answer is not None and answer.value is not None
    if comparison.op == "exists":
        return known if comparison.value in (None, True) else not known
    if answer is None or answer.value is None:
        return None
    value, wanted = answer.value, comparison.value
    if isinstance(value, tuple):
        contains = wanted in value
        return contains if comparison.op == "=" else not contains
    if comparison.op == "=":
        return value == wanted
    if comparison.op == "!=":
        return value != wanted
    left, right = value, wanted
    if comparison.op == ">":
        return left > right  # type: ignore[operator]
    if comparison.op == "<":
        return left < right  # type: ignore[operator]
    if comparison.op == ">=":
        return left >= right  # type: ignore[operator]
    return left <= right  # type: ignore[operator]


def facts_of(condition: Condition) -> frozenset[str]:
    """Ids of the facts a condition looks at."""
    if isinstance(condition, Comparison):
        return frozenset({condition.fact})
    if isinstance(condition, NotOf):
        return facts_of(condition.part)
    return frozenset().union(*(facts_of(part) for part in condition.parts))
