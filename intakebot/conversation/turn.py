"""What one turn gives back: replies for the customer, what was heard, effects for turns.py, and the log."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from intakebot.conversation.state import Conversation, FactEntry
from intakebot.definitions.facts import Status, Value

ReplyKind = Literal[
    "opener",  # the first words
    "question",  # one question
    "confirm",  # a yes/no check of one fact, or of a request
    "recap",  # the choices are: all right, then one line per fact
    "estimate",  # the estimate is ready
    "contact",  # name and address, in one message or by the form
    "notice",  # something is said, nothing asked
    "safety",  # a stop sign
    "handover",  # a person takes over or gives back
    "control",  # answer to stop, help, pause, language, erase
    "staff",  # written by a person of the shop
]


@dataclass(frozen=True)
class ReplyChoice:
    """label: at most 25 characters except in a recap. value: send it back as `ChoiceTaken.value`."""

    label: str
    value: str


@dataclass(frozen=True)
class Reply:
    """One outbound message. The choices are not repeated in `text`; `rendering.plain_text` numbers them.

    several: a checklist. Any number of its choices may be picked, joined into one value: `noise:clicks` and
    `noise:rattles` become `noise:clicks+rattles`. The choices `none` and `not_sure` stand alone.
    """

    text: str
    choices: tuple[ReplyChoice, ...] = ()
    kind: ReplyKind = "notice"
    several: bool = False

    def to_mapping(self) -> dict[str, Any]:
        return {
            "text": self.text,
            "choices": [{"label": choice.label, "value": choice.value} for choice in self.choices],
            "kind": self.kind,
            "several": self.several,
        }

    @staticmethod
    def from_mapping(raw: Mapping[str, Any]) -> Reply:
        choices = tuple(ReplyChoice(c["label"], c["value"]) for c in raw["choices"])
        return Reply(raw["text"], choices, raw["kind"], bool(raw.get("several", False)))


@dataclass(frozen=True)
class HeardFact:
    """One fact entered or changed in this turn. label/value_label are in the conversation's language.

    before: the value it replaces (None when there was none).
    """

    fact: str
    value: Value | None
    status: Status
    label: str
    value_label: str
    before: Value | None = None
    source: str = "text"


# ---- effects -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class MakeEstimate:
    """Make and store an estimate from the conversation's answers; `revises` when one was shown before."""

    revises: bool = False


@dataclass(frozen=True)
class DecideEstimate:
    """The customer has confirmed a decision in words: write the consent, then advance with `EstimateDecided`."""

    decision: Literal["accept", "decline"]


@dataclass(frozen=True)
class HandOffCard:
    """What the front desk sees first. The caller adds the last five messages.

    facts: (fact id, value as text or None, status). open_questions: ids, most valuable first.
    """

    reason: str
    facts: tuple[tuple[str, str | None, str], ...]
    open_questions: tuple[str, ...]
    pending_question: str | None

    def to_mapping(self) -> dict[str, Any]:
        return {
            "reason": self.reason,
            "facts": [list(line) for line in self.facts],
            "open_questions": list(self.open_questions),
            "pending_question": self.pending_question,
        }


@dataclass(frozen=True)
class HandOff:
    """A person is asked for. reason: `asked`, `safety`, `not_understood`, `too_long`, `anger`, `refused`, `wants_out` (no after a yes), `unsupported_language`, `wish` (of the shop)."""

    reason: str
    card: HandOffCard


@dataclass(frozen=True)
class FloorReturned:
    """The person gave the floor back."""


@dataclass(frozen=True)
class OptOut:
    """No more messages on this channel, checked again when sending. The replies of this turn are the one confirmation."""

    channel: str


@dataclass(frozen=True)
class OptIn:
    channel: str


@dataclass(frozen=True)
class EraseEverything:
    """The customer confirmed that the conversation and all it holds are to be erased."""


@dataclass(frozen=True)
class StaffToSee:
    """Something a person should look at while the talk goes on (a message while a person has the floor)."""

    reason: str


Effect = (
    MakeEstimate | DecideEstimate | HandOff | FloorReturned | OptOut | OptIn | EraseEverything | StaffToSee
)


@dataclass(frozen=True)
class LogEntry:
    """One line of the append-only log. `data` is JSON-safe.

    kinds: message_in, control, safety, fact_heard, fact_corrected, fact_confirmed, fact_withdrawn, fact_derived,
    derived_dropped, proposed, proposal_refused, asked, not_understood, correction_unclear, moved_on, recap_shown, recap_agreed,
    estimate_ready, handed_over, given_back, paused, resumed, language, opted_out, opted_in, erase_asked, erased,
    started_again, phase, decision_asked, decision.
    """

    kind: str
    data: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Turn:
    """conversation: the new state. asked: id of the question now open, if one is."""

    conversation: Conversation
    replies: tuple[Reply, ...] = ()
    heard: tuple[HeardFact, ...] = ()
    effects: tuple[Effect, ...] = ()
    log: tuple[LogEntry, ...] = ()

    @property
    def asked(self) -> str | None:
        pending = self.conversation.pending
        return pending.question if pending and pending.kind == "question" else None


Facts = Mapping[str, FactEntry]
