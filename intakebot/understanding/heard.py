"""What a message was heard to say: plain frozen values, no behaviour beyond look-ups.

Positions are character offsets (start, end) into the *original* text, end exclusive, so `text[start:end] == quote`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Literal

from intakebot.definitions.facts import Value

Span = tuple[int, int]
Source = Literal["phrase", "answer", "amount", "date", "count", "contact", "model", "suggestion"]
Reply = Literal["yes", "no", "not_known", "declined"]
Precision = Literal["day", "week", "month", "year"]


@dataclass(frozen=True)
class HeardFact:
    """One fact read from a message.

    Attributes:
        value: a value of the fact's type, or None: the customer says they do not know.
        certainty: chance in (0, 1] that the value is what the customer means; a hedge ("I think") lowers it.
        span, quote: the words it was read from, in the original text.
        negated: the value came from a denial ("no smoke" gives smoke_or_smell = "no", negated).
        source: what read it; `model` (the light model) and `suggestion` (a language model) only ever appear among proposals;
            a `phrase` appears there when its reading is doubted (see doubt.py).
    """

    fact: str
    value: Value | None
    certainty: float
    span: Span
    quote: str
    negated: bool = False
    source: Source = "phrase"


@dataclass(frozen=True)
class Clause:
    """A piece of the message with one assertion.

    mood: `stated`; or what keeps its facts from counting: `hypothetical` ("if it breaks"), `question` ("is the lens
    dirty?"), `elsewhere` ("my other player").
    """

    span: Span
    text: str
    mood: Literal["stated", "hypothetical", "question", "elsewhere"] = "stated"


@dataclass(frozen=True)
class AmountMention:
    """A sum of money. `currency` is None when the customer named none; `is_limit`: said as a ceiling ("max 80")."""

    amount: Decimal
    currency: str | None
    is_limit: bool
    span: Span


@dataclass(frozen=True)
class DateMention:
    """A day, or a period by its first day. `precision` says how exactly; `ago`: it lies in the past by its words."""

    day: date
    precision: Precision
    span: Span
    is_deadline: bool = False


@dataclass(frozen=True)
class CountMention:
    """A quantity and the unit word after it ("3 years", "two boards"); unit is None for a bare number."""

    number: Decimal
    unit: str | None
    span: Span


@dataclass(frozen=True)
class Option:
    """One listed choice of the pending question: its label as shown, and the facts it sets (None = not known)."""

    id: str
    label: str
    sets: Mapping[str, Value | None]


@dataclass(frozen=True)
class Expecting:
    """The pending question, so that short answers can be read.

    Attributes:
        fact: the fact asked for, when there is exactly one (its type tells how to read amounts, dates, text).
        question: id of the question, only kept for the caller.
        options: as listed to the customer, in order; empty for free text.
    """

    fact: str | None = None
    question: str | None = None
    options: tuple[Option, ...] = ()


@dataclass(frozen=True)
class Heard:
    """Everything one message was heard to say.

    Attributes:
        text, matched: the original, and the folded and spelling-repaired words that were matched.
        facts: stated facts, at most one per fact unless the message itself corrects one (then the last one stands).
        ruled_out: values of choice facts that were denied with nothing put in their place ("it doesn't grind").
        proposals: to be asked as yes/no, never taken: doubted readings of phrases first (source `phrase`), likeliest first,
            then guesses of the light model, best first, at most three.
        choice: id of the option of the pending question that was picked, if any.
        reply: a short yes / no / don't know / would rather not say as the answer to the pending question.
        correction: a correction cue was found ("actually", "I meant", "scratch that").
        unread: spans of words nothing was read from (content words only).
    """

    text: str
    matched: str
    clauses: tuple[Clause, ...] = ()
    facts: tuple[HeardFact, ...] = ()
    ruled_out: tuple[HeardFact, ...] = ()
    proposals: tuple[HeardFact, ...] = ()
    choice: str | None = None
    reply: Reply | None = None
    correction: bool = False
    amounts: tuple[AmountMention, ...] = ()
    dates: tuple[DateMention, ...] = ()
    counts: tuple[CountMention, ...] = ()
    emails: tuple[str, ...] = ()
    phones: tuple[str, ...] = ()
    unread: tuple[Span, ...] = ()
    repaired: Mapping[str, str] = field(default_factory=dict)

    def fact(self, fact_id: str) -> HeardFact | None:
        """The stated fact of that id, or None."""
        return next((heard for heard in self.facts if heard.fact == fact_id), None)

    @property
    def understood(self) -> bool:
        """True when anything at all could be used."""
        return bool(self.facts or self.ruled_out or self.choice or self.reply or self.proposals)
