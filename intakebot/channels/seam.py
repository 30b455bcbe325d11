"""What a channel is: two small parts and a declaration of what it can carry.

- **Inbound**: headers and body in; verified; an `InboundMessage` out, with the raw payload kept.
- **Outbound**: `send(OutboundMessage) -> Receipt`. It never decides what to say; it renders what it is given.
- **Abilities**: what it cannot express, so that the caller can adapt (numbered choices for a channel without buttons).

Every channel passes the contract tests in tests/channels/test_channel_contract.py. The in-memory channel in `memory`
is the reference and the test double. How to add one is told in DEVELOPERS.md.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal, Protocol

from intakebot.conversation import Reply


@dataclass(frozen=True)
class Abilities:
    """What a channel can carry.

    Attributes:
        choices: it has buttons; otherwise choices are printed as numbers.
        pictures: it can receive pictures.
        max_length: characters of one message; None for no limit.
        alphabet: `gsm7` where a letter outside the GSM alphabet makes a message cost more; else `unicode`.
    """

    choices: bool
    pictures: bool
    max_length: int | None
    alphabet: Literal["gsm7", "unicode"]


@dataclass(frozen=True)
class Attachment:
    """A picture that came along: its bytes, or a link to fetch them from."""

    content_type: str
    content: bytes | None = None
    url: str | None = None


@dataclass(frozen=True)
class InboundMessage:
    """A verified message from a customer.

    Attributes:
        channel: `email`, `gateway:<id>` ...
        address: the sender's address on the channel.
        message_id: the sender's or gateway's own id; repeated deliveries carry the same.
        text, choice: what was said; a choice is the value of an offered choice.
        raw: the payload as it came.
        thread: what the channel needs to answer in the same thread.
        proven: False when the address was checked and may be somebody else's; see `incoming`.
    """

    channel: str
    address: str
    message_id: str
    text: str
    raw: bytes
    choice: str | None = None
    attachments: tuple[Attachment, ...] = ()
    locale: str | None = None
    sent_at: datetime | None = None
    thread: Mapping[str, Any] = field(default_factory=dict)
    proven: bool = True


@dataclass(frozen=True)
class OutboundMessage:
    """The replies of one turn, to be said at one address.

    id: stays the same over retries; the receiver can drop what it has seen.
    """

    id: str
    address: str
    replies: tuple[Reply, ...]
    locale: str
    thread: Mapping[str, Any] = field(default_factory=dict)
    reference: str = ""


@dataclass(frozen=True)
class Receipt:
    """What came of sending.

    Attributes:
        outcome: delivered; retry (may work later); refused (will never work); gone (the receiver is no more).
        status: HTTP or SMTP status, if there was an answer.
        retry_after_s: when the receiver said how long to wait.
    """

    outcome: Literal["delivered", "retry", "refused", "gone"]
    status: int | None = None
    error: str = ""
    retry_after_s: int | None = None


class Inbound(Protocol):
    """Turns what came into an InboundMessage.

    Raises: SignatureError when it cannot be trusted; BadInputError when it cannot be read.
    """

    def receive(self, headers: Mapping[str, str], body: bytes, now: datetime) -> InboundMessage: ...


class Outbound(Protocol):
    """Sends. Never raises for trouble on the way: that is a Receipt."""

    @property
    def abilities(self) -> Abilities: ...

    def send(self, message: OutboundMessage, now: datetime) -> Receipt: ...
