"""What one turn is going to store, collected in memory before the write transaction begins. Decides nothing itself.

The conversation engine says what happened and which effects it wants; the workshop says what an estimate or a decision
changes in the job. A draft brings both together for one case, so that all of it is written at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal
from typing import Any, Literal, Protocol

from intakebot.conversation import (
    Assessor,
    ChoiceTaken,
    Conversation,
    DecideEstimate,
    EraseEverything,
    EstimateDecided,
    FactsEntered,
    HandOff,
    HeardFact,
    MakeEstimate,
    MessageReceived,
    OptIn,
    OptOut,
    PhaseMoved,
    PhotoAdded,
    Reply,
    StaffToSee,
    Turn,
    advance,
)
from intakebot.conversation import Event as TalkEvent
from intakebot.definitions import Definitions, value_to_json
from intakebot.errors import QuoteStateError
from intakebot.records import Authorisation, Case, Event, IndexLine, Message, QuoteRecord

EVENT_TYPES = (
    "conversation.opened",
    "form.completed",
    "estimate.ready",
    "estimate.changed",
    "estimate.accepted",
    "estimate.declined",
    "person.requested",
    "parcel.due",
    "device.arrived",
    "job.finished",
    "conversation.withdrawn",
    "conversation.erased",
)
"""Everything a shop system can be told about."""

_PHASE_TYPES = {
    "arrived": "device.arrived",
    "finished": "job.finished",
    "withdrawn": "conversation.withdrawn",
}


@dataclass(frozen=True)
class Via:
    """How a message came: channel (`web`, `terminal`, `api`, `email`, `gateway:<id>`) and the customer's address there.

    voice: how the conversation engine should word things: web, sms, email, terminal.
    """

    channel: str
    address: str = ""
    voice: str = "web"
    thread: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class CaseChange:
    """What staff or the workshop changes in a case.

    Attributes:
        case: the case with its new `job` (and, rarely, `conversation`); counters and version are not its business.
        event, more: conversation events to go on with, in order, such as PhaseMoved or StaffReplied.
        notices: what the customer is told besides, without anybody taking the floor.
        events: (kind, body) for the append-only log.
        quotes: new quotes, or stored ones with a new state. announce: types out of EVENT_TYPES.
        outcome: what a finished job teaches (stored once, without personal data).
    """

    case: Case
    event: TalkEvent | None = None
    more: tuple[TalkEvent, ...] = ()
    notices: tuple[str, ...] = ()
    events: tuple[tuple[str, Mapping[str, Any]], ...] = ()
    quotes: tuple[QuoteRecord, ...] = ()
    authorisations: tuple[Authorisation, ...] = ()
    announce: tuple[str, ...] = ()
    via: Via | None = None
    outcome: Mapping[str, Any] | None = None


@dataclass(frozen=True)
class Decided:
    """What came of a customer's decision on the estimate."""

    change: CaseChange
    outcome: Literal["accepted", "declined", "expired", "refused"]


class Workshop(Protocol):
    """The shop's side of a case. Pure: the same arguments give the same result."""

    def make_estimate(
        self, definitions: Definitions, case: Case, conversation: Conversation, now: datetime
    ) -> CaseChange: ...

    def decide(
        self,
        definitions: Definitions,
        case: Case,
        conversation: Conversation,
        decision: str,
        limit: str | None,
        by: str,
        channel: str,
        now: datetime,
    ) -> Decided: ...

    def index(self, definitions: Definitions, case: Case, conversation: Conversation) -> IndexLine: ...

    def estimate_view(self, definitions: Definitions, case: Case) -> Mapping[str, Any]: ...

    def packing_view(self, definitions: Definitions, case: Case) -> Mapping[str, Any]: ...

    def pretriage_view(self, definitions: Definitions, case: Case) -> Mapping[str, Any]: ...

    def revise_quote(
        self, definitions: Definitions, case: Case, now: datetime, *, reason: str, by: str
    ) -> CaseChange: ...

    def record_arrival(
        self, definitions: Definitions, case: Case, now: datetime, **found: Any
    ) -> CaseChange: ...

    def record_result(
        self, definitions: Definitions, case: Case, now: datetime, *, step: str, result: str,
        seen: Mapping[str, Any], minutes: Decimal | None, by: str,
    ) -> CaseChange: ...  # fmt: skip

    def record_outcome(
        self, definitions: Definitions, case: Case, now: datetime, *, ending: str, causes: tuple[str, ...],
        total: Decimal | None, by: str, note: str = "",
    ) -> CaseChange: ...  # fmt: skip


@dataclass
class Draft:
    """Collects one turn. Made, filled and stored within one call; never shared."""

    definitions: Definitions
    assessor: Assessor
    workshop: Workshop
    case: Case
    conversation: Conversation
    now: datetime
    actor: str = "customer"
    via: Via | None = None
    replies: list[Reply] = field(default_factory=list)
    heard: list[HeardFact] = field(default_factory=list)
    asked: str | None = None
    messages: list[Message] = field(default_factory=list)
    events: list[tuple[str, Mapping[str, Any]]] = field(default_factory=list)
    quotes: list[QuoteRecord] = field(default_factory=list)
    authorisations: list[Authorisation] = field(default_factory=list)
    announcements: list[str] = field(default_factory=list)
    opted_out: list[str] = field(default_factory=list)
    opted_in: list[str] = field(default_factory=list)
    outcome: Mapping[str, Any] | None = None
    erases: bool = False
    received: bool = False

    def receive(self, text: str, body: Mapping[str, Any], channel: str, message_id: str | None) -> None:
        """Note what the customer sent."""
        self.received = True
        self._add_message("in", text, body, channel, message_id)

    def _add_message(
        self,
        direction: Literal["in", "out", "staff"],
        text: str,
        body: Mapping[str, Any],
        channel: str,
        message_id: str | None = None,
    ) -> None:
        seq = self.case.message_count + len(self.messages) + 1
        locale = self.conversation.locale
        self.messages.append(
            Message(seq, direction, channel, self.now, storable(text), body, message_id, locale)
        )

    def advance(self, event: TalkEvent, links: Mapping[str, str], channel: str) -> None:
        """Let the conversation engine take an event in, and follow its effects."""
        self._note_inbound(event, channel)
        turn = advance(
            self.definitions, self.conversation, event, self.now, assessor=self.assessor, links=links
        )
        if isinstance(event, PhaseMoved) and turn.conversation.phase != self.conversation.phase:
            kind = _PHASE_TYPES.get(turn.conversation.phase)
            if kind is not None:
                self.announcements.append(kind)
        self.take(turn, links, channel)

    def _note_inbound(self, event: TalkEvent, channel: str) -> None:
        if isinstance(event, MessageReceived):
            self.receive(event.text, {"text": event.text}, channel, event.message_id)
        elif isinstance(event, ChoiceTaken):
            self.receive(self._label(event.value), {"choice": event.value}, channel, event.message_id)
        elif isinstance(event, PhotoAdded):
            self.receive("", {"photo": event.photo_id}, channel, event.message_id)
        elif isinstance(event, FactsEntered) and event.by == "customer":
            self.received = True

    def _label(self, value: str) -> str:
        pending = self.conversation.pending
        offered = dict(pending.offered) if pending else {}
        question, _, picks = value.partition(":")
        labels = [offered.get(f"{question}:{pick}", "") for pick in picks.split("+")]
        return offered.get(value) or (", ".join(labels) if all(labels) else value)

    def take(self, turn: Turn, links: Mapping[str, str], channel: str) -> None:
        """Add a turn of the engine: its replies, log and effects."""
        self.conversation = turn.conversation
        self.heard.extend(turn.heard)
        self.asked = turn.asked
        self.events.extend((entry.kind, entry.data) for entry in turn.log)
        for reply in turn.replies:
            self._say(reply, channel)
        for effect in turn.effects:
            self._follow(effect, links, channel)

    def _say(self, reply: Reply, channel: str) -> None:
        self.replies.append(reply)
        direction: Literal["out", "staff"] = "staff" if reply.kind == "staff" else "out"
        self._add_message(direction, reply.text, reply.to_mapping(), channel)

    def _follow(self, effect: Any, links: Mapping[str, str], channel: str) -> None:
        if isinstance(effect, MakeEstimate):
            change = self.workshop.make_estimate(self.definitions, self.case, self.conversation, self.now)
            self.announcements.extend(
                ("estimate.changed",) if effect.revises else ("form.completed", "estimate.ready")
            )
            self.apply(change, links, channel)
        elif isinstance(effect, DecideEstimate):
            self.decide(effect.decision, None, self.actor, channel, links)
        elif isinstance(effect, HandOff):
            self.events.append(("hand_off", effect.card.to_mapping()))
            self.announcements.append("person.requested")
        elif isinstance(effect, OptOut):
            self.opted_out.append(effect.channel)
        elif isinstance(effect, OptIn):
            self.opted_in.append(effect.channel)
        elif isinstance(effect, EraseEverything):
            self.erases = True
        elif isinstance(effect, StaffToSee):
            self.events.append(("staff_to_see", {"reason": effect.reason}))

    def decide(
        self,
        decision: str,
        limit: str | None,
        by: str,
        channel: str,
        links: Mapping[str, str],
    ) -> None:
        """Write the consent, then tell the engine what came of it."""
        decided = self.workshop.decide(
            self.definitions, self.case, self.conversation, decision, limit, by, channel, self.now
        )
        self.apply(decided.change, links, channel)
        if decided.outcome == "accepted":
            self.announcements.extend(("estimate.accepted", "parcel.due"))
        elif decided.outcome == "declined":
            self.announcements.append("estimate.declined")
        event = EstimateDecided(f"decision-{self.case.version + 1}", decided.outcome)
        self.advance(event, links, channel)

    def decide_or_refuse(
        self, decision: str, limit: str | None, by: str, channel: str, links: Mapping[str, str]
    ) -> None:
        """As `decide`, for a button or the API: a decision that is not possible is an error and stores nothing.

        Raises: QuoteStateError.
        """
        before = len(self.announcements)
        self.decide(decision, limit, by, channel, links)
        if not {"estimate.accepted", "estimate.declined"} & set(self.announcements[before:]):
            raise QuoteStateError("this estimate cannot be decided any more")

    def apply(self, change: CaseChange, links: Mapping[str, str], channel: str) -> None:
        """Add a change of the workshop."""
        if change.case.conversation is not self.case.conversation:
            self.conversation = Conversation.from_mapping(change.case.conversation)
        self.case = replace(self.case, job=change.case.job, legal_hold=change.case.legal_hold)
        self.events.extend(change.events)
        self.quotes.extend(change.quotes)
        self.authorisations.extend(change.authorisations)
        self.announcements.extend(change.announce)
        if change.via is not None:
            self.via, channel = change.via, change.via.channel
        if change.outcome is not None:
            self.outcome = change.outcome
        for event in (*((change.event,) if change.event is not None else ()), *change.more):
            self.advance(event, links, channel)
        for text in change.notices:
            self._say(Reply(text, kind="notice"), channel)

    def finish(self) -> Case:
        """The case as it will be stored."""
        case = replace(
            self.case,
            channel=self.via.channel if self.via else self.case.channel,
            locale=self.conversation.locale,
            conversation=self.conversation.to_mapping(),
            updated_at=self.now,
            message_count=self.case.message_count + len(self.messages),
            event_count=self.case.event_count + len(self.events),
        )
        return replace(case, index=self.workshop.index(self.definitions, case, self.conversation))

    def numbered_events(self) -> tuple[Event, ...]:
        first = self.case.event_count + 1
        return tuple(
            Event(seq, kind, self.actor, self.now, body)
            for seq, (kind, body) in enumerate(self.events, start=first)
        )


def storable(text: str) -> str:
    """The text with what no database keeps as text (NUL, halves of surrogate pairs) replaced by U+FFFD."""
    return text.replace("\x00", "\ufffd").encode("utf-8", "replace").decode("utf-8")


def answer_mapping(draft: Draft, case: Case) -> dict[str, Any]:
    """What the caller is told: never fault odds, internal cost or notes."""
    talk = draft.conversation
    return {
        "conversation_id": case.id,
        "reference": case.reference,
        "version": case.version,
        "state": state_mapping(talk, case.index),
        "heard": [heard_mapping(fact) for fact in draft.heard],
        "replies": [reply.to_mapping() for reply in draft.replies],
        "asked": draft.asked,
    }


def state_mapping(talk: Conversation, index: IndexLine) -> dict[str, Any]:
    return {
        "phase": talk.phase,
        "floor": talk.floor,
        "consent": talk.consent,
        "holds": list(talk.holds),
        "waits_for": index.waits_for,
    }


def heard_mapping(fact: HeardFact) -> dict[str, Any]:
    return {
        "fact": fact.fact,
        "value": _json_value(fact.value),
        "status": fact.status,
        "label": fact.label,
        "value_label": fact.value_label,
        "before": _json_value(fact.before),
        "source": fact.source,
    }


def _json_value(value: Any) -> Any:
    return None if value is None else value_to_json(value)
