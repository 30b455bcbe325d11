"""What is held about one talk: the snapshot that `advance` reads and returns anew.

Three regions run side by side (an outer state chart): the *phase* of the case, the *floor* (who is speaking for the
shop) and the customer's *consent* to messages on the channel. The pending question is kept through a pause or a
hand-over in `held`, so giving back restores it.

Superseded values are not kept here but in the log of each turn, so the snapshot stays small (about 8 kB at most).
Mappings are never changed in place.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import datetime
from typing import Any, Literal, get_args

from intakebot.conversation.values import value_from_mapping, value_to_mapping
from intakebot.definitions.facts import Answer, Status, Value

Phase = Literal[
    "open", "estimated", "accepted", "declined", "shipped", "arrived", "on_bench", "finished", "withdrawn"
]
Floor = Literal["self", "person", "paused"]
Consent = Literal["allowed", "opted_out"]
Source = Literal["text", "tap", "unpicked", "form", "staff", "photo", "derived"]
"""`unpicked`: it was on a list to tick and was not ticked, while something else was."""
PendingKind = Literal[
    "story",  # the opener: what is it and what does it do
    "question",  # `question` is asked
    "confirm",  # yes/no: is `fact` really `value`?
    "recap",  # the list of what was understood, each line editable
    "change",  # which line of the recap, or a new value for `fact`
    "contact",  # name, reach and address in one message or form
    "confirm_contact",  # yes/no: is this how we reach you?
    "decision",  # the estimate is shown: accept, decline, person
    "confirm_accept",
    "confirm_decline",
    "confirm_erase",
    "confirm_start_again",
    "confirm_language",
    "confirm_stop",  # yes/no: shall we stop writing?
    "confirm_person",  # yes/no: shall a person take over?
]
FORMAT = 1
PHASES: tuple[str, ...] = get_args(Phase)


@dataclass(frozen=True)
class FactEntry:
    """The current answer to one fact and where it came from.

    Attributes:
        value: None when `not_known` or `declined`.
        certainty: in (0, 1], see `Answer`.
        message_id: the inbound message (or form save) it came from.
        span: character range in that message's normalised text, for text sources.
        quote: the customer's words for it (at most 80 characters), to be quoted back.
        at: when it was said or entered.
        because_of: for derived entries, the facts they follow from.
        verified: staff saw it on the bench; no correction by the customer replaces it.
    """

    value: Value | None
    status: Status
    source: Source
    at: datetime
    certainty: float = 1.0
    message_id: str | None = None
    span: tuple[int, int] | None = None
    quote: str = ""
    because_of: tuple[str, ...] = ()
    verified: bool = False

    @property
    def is_known(self) -> bool:
        return self.value is not None

    @property
    def is_unpicked(self) -> bool:
        """On a list to tick and not ticked, and not agreed to since."""
        return self.source == "unpicked" and self.status == "heard"

    @property
    def answer(self) -> Answer:
        return Answer(self.value, self.status, self.certainty)

    def to_mapping(self) -> dict[str, Any]:
        return {
            "value": value_to_mapping(self.value),
            "status": self.status,
            "source": self.source,
            "at": self.at.isoformat(),
            "certainty": self.certainty,
            "message_id": self.message_id,
            "span": list(self.span) if self.span else None,
            "quote": self.quote,
            "because_of": list(self.because_of),
            "verified": self.verified,
        }

    @staticmethod
    def from_mapping(raw: Mapping[str, Any]) -> FactEntry:
        span = raw["span"]
        return FactEntry(
            value=value_from_mapping(raw["value"]),
            status=raw["status"],
            source=raw["source"],
            at=datetime.fromisoformat(raw["at"]),
            certainty=raw["certainty"],
            message_id=raw["message_id"],
            span=(span[0], span[1]) if span else None,
            quote=raw["quote"],
            because_of=tuple(raw["because_of"]),
            verified=raw["verified"],
        )


@dataclass(frozen=True)
class Because:
    """Why a question was asked: for staff and for tests.

    reason: `safety`, `always` (must be asked directly), `check` (a heard value is confirmed), `value` (worth more than
        its burden, or an answer would change plan or price), `pair` (only together with a second question),
        `blocking` (skipped once, but the plan cannot go on without it), `asked_back` (the customer went back).
    separates: the two best plans it decides between, by key. Money in the rate card's currency.
    """

    reason: Literal["safety", "always", "check", "value", "pair", "blocking", "asked_back"]
    separates: tuple[str, ...] = ()
    saving: float = 0.0
    narrowing: float = 0.0
    burden: float = 0.0
    price_before: tuple[str, str] | None = None
    price_after: tuple[str, str] | None = None

    def to_mapping(self) -> dict[str, Any]:
        return {
            "reason": self.reason,
            "separates": list(self.separates),
            "saving": self.saving,
            "narrowing": self.narrowing,
            "burden": self.burden,
            "price_before": list(self.price_before) if self.price_before else None,
            "price_after": list(self.price_after) if self.price_after else None,
        }

    @staticmethod
    def from_mapping(raw: Mapping[str, Any]) -> Because:
        before, after = raw["price_before"], raw["price_after"]
        return Because(
            reason=raw["reason"],
            separates=tuple(raw["separates"]),
            saving=raw["saving"],
            narrowing=raw["narrowing"],
            burden=raw["burden"],
            price_before=(before[0], before[1]) if before else None,
            price_after=(after[0], after[1]) if after else None,
        )


@dataclass(frozen=True)
class Pending:
    """What the last message asked.

    offered: (value, label) of the numbered choices shown with it; a typed 2 is the second of them.
    tries: how often in a row the answer was not understood.
    """

    kind: PendingKind
    question: str | None = None
    fact: str | None = None
    value: Value | None = None
    offered: tuple[tuple[str, str], ...] = ()
    tries: int = 0
    because: Because | None = None

    def to_mapping(self) -> dict[str, Any]:
        return {
            "kind": self.kind,
            "question": self.question,
            "fact": self.fact,
            "value": value_to_mapping(self.value),
            "offered": [list(pair) for pair in self.offered],
            "tries": self.tries,
            "because": self.because.to_mapping() if self.because else None,
        }

    @staticmethod
    def from_mapping(raw: Mapping[str, Any]) -> Pending:
        return Pending(
            kind=raw["kind"],
            question=raw["question"],
            fact=raw["fact"],
            value=value_from_mapping(raw["value"]),
            offered=tuple((value, label) for value, label in raw["offered"]),
            tries=raw["tries"],
            because=Because.from_mapping(raw["because"]) if raw["because"] else None,
        )


@dataclass(frozen=True)
class ListShown:
    """One listing of a checklist: which choices, and the message that answered it (None: not answered)."""

    question: str
    items: tuple[str, ...]
    message_id: str | None = None


@dataclass(frozen=True)
class Proposal:
    """A value that was only suggested by the words; it is asked as yes/no before it counts."""

    fact: str
    value: Value
    certainty: float
    quote: str = ""


@dataclass(frozen=True)
class JoinCode:
    """A one-time code to go on with this talk on another channel. Only its SHA-256 is kept (see `join`)."""

    digest: str
    expires_at: datetime
    tries_left: int


@dataclass(frozen=True)
class RuledOut:
    """The customer said, at a time, that a fact does not have this value."""

    fact: str
    value: Value
    at: datetime


@dataclass(frozen=True)
class Conversation:
    """One talk about one device.

    Attributes:
        definitions_version: the version of flows/ and pricing/ it is answered with.
        channel: the channel of the last inbound message (`web`, `sms`, `email`, `terminal`, `form`).
        holds: reasons why nothing may be shipped yet: `safety`, `part_missing`.
        facts: current entries by fact id, derived ones included.
        pending: what the last message asked. held: the pending question put aside by a pause or a hand-over.
        asked: question ids in the order they were asked; back goes through it from the end.
        skipped: questions the customer skipped (never asked again unless they block the plan).
        lists: the checklists shown, oldest first; back takes the answer to the last one of a question out again.
        proposals: suggested values still to be asked as yes/no.
        misses: messages in a row in which nothing was understood.
        recap_agreed: the customer agreed to the recap of the price-moving facts as they are now.
        person_wrote: a person has written since the hand-over, so the engine keeps quiet.
        estimated: plan key and maximum (as text) of the estimate last shown.
        foreign: locale of the last message when it was in another shipped language than the conversation's, and how
            many messages in a row were.
        last_replies: texts of the last turn, for `repeat`.
        ruled_out: what was ruled out lately, so that an older message that arrives after it does not bring it back.
    """

    id: str
    family: str
    definitions_version: str
    locale: str
    channel: str
    opened_at: datetime
    last_in_at: datetime
    phase: Phase = "open"
    floor: Floor = "self"
    consent: Consent = "allowed"
    holds: tuple[str, ...] = ()
    facts: Mapping[str, FactEntry] = field(default_factory=dict)
    pending: Pending | None = None
    held: Pending | None = None
    asked: tuple[str, ...] = ()
    skipped: tuple[str, ...] = ()
    lists: tuple[ListShown, ...] = ()
    proposals: tuple[Proposal, ...] = ()
    misses: int = 0
    anger: int = 0
    empathy_said: bool = False
    recap_agreed: bool = False
    safety_shown: tuple[str, ...] = ()
    messages_in: int = 0
    join_code: JoinCode | None = None
    person_wrote: bool = False
    estimated: tuple[str, str] | None = None
    foreign: tuple[str, int] | None = None
    last_replies: tuple[str, ...] = ()
    ruled_out: tuple[RuledOut, ...] = ()

    @property
    def answers(self) -> dict[str, Answer]:
        """Fact id -> Answer, as triage, quoting and packing want it."""
        return {fact: entry.answer for fact, entry in self.facts.items()}

    def to_mapping(self) -> dict[str, Any]:
        """A JSON-safe dict; `Conversation.from_mapping` gives back an equal conversation."""
        code = self.join_code
        return {
            "format": FORMAT,
            "id": self.id,
            "family": self.family,
            "definitions_version": self.definitions_version,
            "locale": self.locale,
            "channel": self.channel,
            "opened_at": self.opened_at.isoformat(),
            "last_in_at": self.last_in_at.isoformat(),
            "phase": self.phase,
            "floor": self.floor,
            "consent": self.consent,
            "holds": list(self.holds),
            "facts": {fact: entry.to_mapping() for fact, entry in sorted(self.facts.items())},
            "pending": self.pending.to_mapping() if self.pending else None,
            "held": self.held.to_mapping() if self.held else None,
            "asked": list(self.asked),
            "skipped": list(self.skipped),
            "lists": [[each.question, list(each.items), each.message_id] for each in self.lists],
            "proposals": [
                {
                    "fact": p.fact,
                    "value": value_to_mapping(p.value),
                    "certainty": p.certainty,
                    "quote": p.quote,
                }
                for p in self.proposals
            ],
            "misses": self.misses,
            "anger": self.anger,
            "empathy_said": self.empathy_said,
            "recap_agreed": self.recap_agreed,
            "safety_shown": list(self.safety_shown),
            "messages_in": self.messages_in,
            "join_code": (
                {
                    "digest": code.digest,
                    "expires_at": code.expires_at.isoformat(),
                    "tries_left": code.tries_left,
                }
                if code
                else None
            ),
            "person_wrote": self.person_wrote,
            "estimated": list(self.estimated) if self.estimated else None,
            "foreign": list(self.foreign) if self.foreign else None,
            "last_replies": list(self.last_replies),
            "ruled_out": [
                {"fact": out.fact, "value": value_to_mapping(out.value), "at": out.at.isoformat()}
                for out in self.ruled_out
            ],
        }

    @staticmethod
    def from_mapping(raw: Mapping[str, Any]) -> Conversation:
        """Inverse of `to_mapping`. Raises ValueError for another format or unknown keys."""
        known = {item.name for item in fields(Conversation)} | {"format"}
        if raw.get("format") != FORMAT or set(raw) - known:
            raise ValueError(f"not a conversation of format {FORMAT}: {sorted(set(raw) - known)}")
        code, estimated, foreign = raw["join_code"], raw["estimated"], raw["foreign"]
        return Conversation(
            id=raw["id"],
            family=raw["family"],
            definitions_version=raw["definitions_version"],
            locale=raw["locale"],
            channel=raw["channel"],
            opened_at=datetime.fromisoformat(raw["opened_at"]),
            last_in_at=datetime.fromisoformat(raw["last_in_at"]),
            phase=raw["phase"],
            floor=raw["floor"],
            consent=raw["consent"],
            holds=tuple(raw["holds"]),
            facts={fact: FactEntry.from_mapping(entry) for fact, entry in raw["facts"].items()},
            pending=Pending.from_mapping(raw["pending"]) if raw["pending"] else None,
            held=Pending.from_mapping(raw["held"]) if raw["held"] else None,
            asked=tuple(raw["asked"]),
            skipped=tuple(raw["skipped"]),
            lists=tuple(
                ListShown(question, tuple(items), message_id)
                for question, items, message_id in raw.get("lists", ())
            ),
            proposals=tuple(
                Proposal(p["fact"], _held(value_from_mapping(p["value"])), p["certainty"], p["quote"])
                for p in raw["proposals"]
            ),
            misses=raw["misses"],
            anger=raw["anger"],
            empathy_said=raw["empathy_said"],
            recap_agreed=raw["recap_agreed"],
            safety_shown=tuple(raw["safety_shown"]),
            messages_in=raw["messages_in"],
            join_code=(
                JoinCode(code["digest"], datetime.fromisoformat(code["expires_at"]), code["tries_left"])
                if code
                else None
            ),
            person_wrote=raw["person_wrote"],
            estimated=(estimated[0], estimated[1]) if estimated else None,
            foreign=(foreign[0], foreign[1]) if foreign else None,
            last_replies=tuple(raw["last_replies"]),
            ruled_out=tuple(
                RuledOut(
                    out["fact"], _held(value_from_mapping(out["value"])), datetime.fromisoformat(out["at"])
                )
                for out in raw.get("ruled_out", ())
            ),
        )


def _held(value: Value | None) -> Value:
    if value is None:
        raise ValueError("a proposal without a value")
    return value
