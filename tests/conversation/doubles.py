"""A small assessor whose questions and price a test sets itself, and a talk that keeps its turns."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from intakebot.conversation import (
    ChoiceTaken,
    Conversation,
    Event,
    MessageReceived,
    Outlook,
    QuestionWorth,
    Turn,
    Worths,
    advance,
    open_conversation,
)
from intakebot.definitions import Definitions
from intakebot.definitions.facts import Answers

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@dataclass(frozen=True)
class SetAssessor:
    """Worth 5 for the first of `asks` still open, 4 for the second and so on, 0 for all others; burden 1.

    items: what a checklist should list. prices: fact=value -> maximum of the estimate while that is held (the last that holds counts).
    """

    asks: tuple[str, ...] = ()
    prices: Mapping[str, int] = field(default_factory=dict)
    gate: str = "go"
    decisive: tuple[str, ...] = ()
    pair: tuple[str, str] | None = None
    base: int = 140
    items: tuple[str, ...] = ()

    def outlook(self, family: str, answers: Answers, today: date) -> Outlook:
        maximum = self.base
        for condition, price in self.prices.items():
            fact, _, value = condition.partition("=")
            if fact in answers and str(answers[fact].value) == value:
                maximum = price
        high = Decimal(maximum)
        return Outlook(
            f"plan for {maximum}", high / 2, high * 3 / 4, high, high, "GBP", self.gate, "drive_board"
        )  # type: ignore[arg-type]

    def worths(
        self, family: str, answers: Answers, candidates: Sequence[str], today: date, messages_sent: int
    ) -> Worths:
        worth = {question: 5.0 - place for place, question in enumerate(self.asks)}
        found = [
            QuestionWorth(
                question,
                worth.get(question, 0.6 if question in self.decisive else 0.0),
                0.0,
                1.0,
                question in self.decisive,
                items=self.items,
            )
            for question in candidates
        ]
        return Worths(tuple(sorted(found, key=lambda one: (-one.score, one.question))), self.pair)

    def estimate_text(self, family: str, answers: Answers, today: date, locale: str) -> tuple[str, ...]:
        return (f"At most {self.outlook(family, answers, today).maximum} GBP.",)


class Talk:
    """A running talk for tests: say, tap, or send any event; every snapshot is taken through JSON."""

    def __init__(
        self, definitions: Definitions, assessor: SetAssessor | None = None, *, channel: str = "web", locale: str = "en",
        now: datetime = NOW, text: str | None = None, links: Mapping[str, str] | None = None,
    ) -> None:  # fmt: skip
        self.definitions, self.assessor, self.now, self.links = (
            definitions,
            assessor or SetAssessor(),
            now,
            links,
        )
        self.count = 0
        self.turns: list[Turn] = [
            open_conversation(
                definitions, conversation_id="talk-1", channel=channel, locale=locale, now=now,
                assessor=self.assessor, text=text, links=links,
            )
        ]  # fmt: skip

    @property
    def turn(self) -> Turn:
        return self.turns[-1]

    @property
    def conversation(self) -> Conversation:
        return self.turn.conversation

    @property
    def texts(self) -> list[str]:
        return [reply.text for reply in self.turn.replies]

    @property
    def said(self) -> str:
        return " ".join(self.texts)

    @property
    def kinds(self) -> list[str]:
        return [reply.kind for reply in self.turn.replies]

    @property
    def effects(self) -> list[str]:
        return [type(effect).__name__ for effect in self.turn.effects]

    def value(self, fact: str) -> object:
        entry = self.conversation.facts.get(fact)
        return None if entry is None else entry.value

    def status(self, fact: str) -> str | None:
        entry = self.conversation.facts.get(fact)
        return None if entry is None else entry.status

    def send(self, event: Event, after: timedelta = timedelta(minutes=1)) -> Turn:
        self.now += after
        stored = json.loads(json.dumps(self.conversation.to_mapping()))
        turn = advance(
            self.definitions,
            Conversation.from_mapping(stored),
            event,
            self.now,
            assessor=self.assessor,
            links=self.links,
        )
        self.turns.append(turn)
        return turn

    def id(self) -> str:
        self.count += 1
        return f"m{self.count}"

    def say(self, text: str, channel: str | None = None, after: timedelta = timedelta(minutes=1)) -> Turn:
        return self.send(MessageReceived(self.id(), text, channel), after)

    def tap(self, value: str) -> Turn:
        return self.send(ChoiceTaken(self.id(), value))

    def tap_label(self, label: str) -> Turn:
        choices = [choice for reply in self.turn.replies for choice in reply.choices]
        return self.tap(next(choice.value for choice in choices if choice.label == label))


def ready(definitions: Definitions, assessor: SetAssessor | None = None, **values: object) -> Talk:
    """A talk past story and safety: a DVD player that skips, never opened."""
    talk = Talk(definitions, assessor, **values)  # type: ignore[arg-type]
    talk.say("my dvd player keeps skipping, it was never opened")
    talk.tap("hazards:none")
    return talk
