"""The working copy of one turn: what `advance` fills step by step and seals into a `Turn` at the end.

It lives for one call only and is never seen outside this package; everything it is made of is frozen.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

from intakebot.conversation.assessor import Assessor, Outlook
from intakebot.conversation.controls import ControlWords, compile_words
from intakebot.conversation.state import Conversation, FactEntry
from intakebot.conversation.turn import Effect, HeardFact, LogEntry, Reply, Turn
from intakebot.conversation.values import value_to_mapping
from intakebot.definitions.facts import Answer, Value
from intakebot.definitions.model import Definitions, Fact, Family
from intakebot.definitions.texts import Texts
from intakebot.understanding import HeardFact as Understood


@dataclass
class Work:
    """One turn in the making.

    acks: short clauses to be put before the next question. message_id: of the event under way.
    suggested: a language model's proposals about this message, if any.
    said_at: when the customer said what is being read; None: now. kept: facts that something said later had settled.
    """

    definitions: Definitions
    conversation: Conversation
    now: datetime
    assessor: Assessor
    links: Mapping[str, str]
    message_id: str = ""
    replies: list[Reply] = field(default_factory=list)
    heard: list[HeardFact] = field(default_factory=list)
    effects: list[Effect] = field(default_factory=list)
    log: list[LogEntry] = field(default_factory=list)
    acks: list[str] = field(default_factory=list)
    echoed: list[tuple[str, Value | None]] = field(default_factory=list)
    corrected: list[tuple[str, Value | None]] = field(default_factory=list)
    dropped: list[tuple[str, Value | None]] = field(default_factory=list)
    suggested: tuple[Understood, ...] = ()
    said_at: datetime | None = None
    kept: list[tuple[str, Value | None]] = field(default_factory=list)
    _answers: tuple[Mapping[str, FactEntry], dict[str, Answer]] | None = None

    @property
    def family(self) -> Family:
        return self.definitions.families[self.conversation.family]

    @property
    def texts(self) -> Texts:
        return Texts(self.definitions, self.conversation.family, self.conversation.locale)

    @property
    def words(self) -> ControlWords:
        return compile_words(self.definitions)

    @property
    def today(self) -> date:
        return self.now.date()

    @property
    def facts(self) -> Mapping[str, FactEntry]:
        return self.conversation.facts

    @property
    def answers(self) -> dict[str, Answer]:
        """Answers of the facts as they are now; built once for each state of the facts."""
        facts = self.conversation.facts
        if self._answers is None or self._answers[0] is not facts:
            self._answers = (facts, self.conversation.answers)
        return self._answers[1]

    def fact(self, fact_id: str) -> Fact:
        return self.family.facts[fact_id]

    def change(self, **values: Any) -> None:
        """Replace fields of the conversation."""
        self.conversation = replace(self.conversation, **values)

    def note(self, kind: str, **data: Any) -> None:
        self.log.append(LogEntry(kind, data))

    def say(self, text_key: str, wording: int = 0, **values: object) -> str:
        return self.texts.say(f"talk.{text_key}", wording, **values)

    def reply(self, reply: Reply) -> None:
        self.replies.append(reply)

    def outlook(self) -> Outlook:
        return self.assessor.outlook(self.conversation.family, self.answers, self.today)

    def put(self, fact_id: str, entry: FactEntry) -> None:
        """Set an entry without grounding; `entering.enter` is the usual way."""
        self.change(facts={**self.conversation.facts, fact_id: entry})

    def remove(self, fact_id: str) -> None:
        self.change(facts={fact: entry for fact, entry in self.conversation.facts.items() if fact != fact_id})

    def seal(self) -> Turn:
        """The finished turn; what was said is kept for `repeat`."""
        if self.replies:
            self.change(last_replies=tuple(reply.text for reply in self.replies))
        return Turn(
            self.conversation, tuple(self.replies), tuple(self.heard), tuple(self.effects), tuple(self.log)
        )


def fact_data(fact_id: str, entry: FactEntry, before: Value | None) -> dict[str, Any]:
    """What the log holds about one entered fact."""
    return {"fact": fact_id, **entry.to_mapping(), "before": value_to_mapping(before)}
