"""What the talk needs to know from triage, quoting and packing, as one small injected object.

The real one is built from them elsewhere; tests use small ones. It must be pure: same arguments, same result.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal, Protocol

from intakebot.definitions.facts import Answers

Gate = Literal["go", "doubt", "hold", "cannot"]


@dataclass(frozen=True)
class Outlook:
    """The case as it stands with the given answers.

    Attributes:
        plan: key of the best plan (such as its step ids joined by `>`); equal keys mean the same decision.
        p10, p50, p90, maximum: of the price to the customer, in `currency`.
        gate: of the paired parts. gate_part: the paired part it is about, if any.
        worth_it: False when repairing is not worth it against the stated value or limit.
    """

    plan: str
    p10: Decimal
    p50: Decimal
    p90: Decimal
    maximum: Decimal
    currency: str
    gate: Gate = "go"
    gate_part: str | None = None
    worth_it: bool = True


@dataclass(frozen=True)
class QuestionWorth:
    """What asking one question would be worth now.

    Attributes:
        saving: expected saving in money (EVSI), >= 0.
        narrowing: weight times the expected drop of the price's spread, in money, >= 0.
        burden: in money, > 0.
        decisive: some answer with probability >= 0.02 changes the plan or moves the price by more than the rate card's
            threshold.
        separates: keys of the two plans it decides between, if it does.
        price_after: p10 and p90 after the likeliest answer, if computed.
        items: of a checklist, ids of the choices worth listing, in the order of the definitions.
    """

    question: str
    saving: float
    narrowing: float
    burden: float
    decisive: bool
    separates: tuple[str, ...] = ()
    price_after: tuple[Decimal, Decimal] | None = None
    items: tuple[str, ...] = ()

    @property
    def score(self) -> float:
        return self.saving + self.narrowing - self.burden


@dataclass(frozen=True)
class Worths:
    """Candidates by falling score (ties by id), and the best pair of questions that is decisive together only."""

    questions: tuple[QuestionWorth, ...]
    decisive_pair: tuple[str, str] | None = None


class Assessor(Protocol):
    """Pure. `family` is an id; `today` decides which rate card is in force."""

    def outlook(self, family: str, answers: Answers, today: date) -> Outlook: ...

    def worths(
        self, family: str, answers: Answers, candidates: Sequence[str], today: date, messages_sent: int
    ) -> Worths:
        """Worth of each candidate question (ids); `messages_sent` raises the burden of one more."""
        ...

    def estimate_text(self, family: str, answers: Answers, today: date, locale: str) -> tuple[str, ...]:
        """The estimate in a few short messages for the customer: likely price, maximum, what if it cannot be repaired."""
        ...
