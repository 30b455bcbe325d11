"""What can happen to a conversation. An event that its state does not allow leaves it as it was.

`message_id` names the inbound message, choice or form save; the caller makes it and answers repeated ones itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

from intakebot.conversation.state import Phase
from intakebot.understanding import HeardFact


@dataclass(frozen=True)
class MessageReceived:
    """Free text from the customer, as it came (any bytes that decode; the engine cuts and cleans it).

    channel: when it came by another channel than the last one; None keeps it.
    suggested: what a language model proposed and `understanding.suggester.admit` let through; only ever asked as yes/no.
    sent_at: when the customer sent it, if the channel says so; None means now. See `late`.
    """

    message_id: str
    text: str
    channel: str | None = None
    suggested: tuple[HeardFact, ...] = ()
    sent_at: datetime | None = None


@dataclass(frozen=True)
class ChoiceTaken:
    """A tapped choice: the `value` of one of the choices of the last replies. An outdated or unknown one is re-asked.

    sent_at: as in `MessageReceived`.
    """

    message_id: str
    value: str
    channel: str | None = None
    sent_at: datetime | None = None


@dataclass(frozen=True)
class FactsEntered:
    """The one-page form, or a staff edit.

    facts: fact id -> raw JSON value (see `definitions.parse_value`); None means "I do not know".
    declined: fact ids the person would rather not say. cleared: fact ids set back to unknown.
    by: `staff` entries win over the customer's; `verified` ones (seen on the bench) cannot be corrected by chat.
    """

    message_id: str
    facts: Mapping[str, Any] = field(default_factory=dict)
    declined: tuple[str, ...] = ()
    cleared: tuple[str, ...] = ()
    by: Literal["customer", "staff"] = "customer"
    verified: bool = False


@dataclass(frozen=True)
class PhotoAdded:
    """A photo was stored under `photo_id`. fact: the photo fact it belongs to; None: the family's photo fact."""

    message_id: str
    photo_id: str
    fact: str | None = None


@dataclass(frozen=True)
class TakenOver:
    """A person of the shop takes the floor."""

    message_id: str


@dataclass(frozen=True)
class StaffReplied:
    """A person of the shop writes to the customer. Takes the floor when nobody had it."""

    message_id: str
    text: str


@dataclass(frozen=True)
class GivenBack:
    """The person gives the floor back; the question that was open is asked again."""

    message_id: str


@dataclass(frozen=True)
class EstimateDecided:
    """What came of a decision on the estimate, after the consent record was written (or refused)."""

    message_id: str
    outcome: Literal["accepted", "declined", "expired", "refused"]


@dataclass(frozen=True)
class EstimateRevised:
    """Staff sent a new estimate; the customer is asked again."""

    message_id: str


@dataclass(frozen=True)
class PhaseMoved:
    """The case moved on outside the talk: the box was sent, has arrived, is on the bench, is finished, withdrawn."""

    message_id: str
    phase: Phase


Event = (
    MessageReceived
    | ChoiceTaken
    | FactsEntered
    | PhotoAdded
    | TakenOver
    | StaffReplied
    | GivenBack
    | EstimateDecided
    | EstimateRevised
    | PhaseMoved
)
