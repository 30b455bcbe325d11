"""The values that repositories take and return. Plain frozen data; no database types.

A `Case` is one conversation and the job that grows from it. `conversation` and `job` are plain JSON mappings whose
meaning belongs to other packages (the conversation engine; the workshop); this package only keeps them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal


@dataclass(frozen=True)
class IndexLine:
    """What lists show and sort by; kept in columns so that a list never opens a snapshot.

    Attributes:
        phase: open, estimated, accepted, declined, shipped, arrived, on_bench, finished, withdrawn.
        floor: self (the engine answers), person (a human was asked for), paused.
        waits_for: shop_answer, customer_consent, box, bench, collection, nothing.
        search_words: lower-case words the case can be found by (name, reference, model).
    """

    phase: str = "open"
    floor: str = "self"
    waits_for: str = "nothing"
    customer_name: str = ""
    device: str = ""
    has_hazard: bool = False
    search_words: tuple[str, ...] = ()


@dataclass(frozen=True)
class Case:
    """One intake as stored.

    Attributes:
        id: opaque; unguessable is the token's duty, not the id's.
        reference: short, for people: printed on labels and said on the phone.
        version: rises by one with every commit that changes the case; 1 after opening.
        definitions_version, rate_card: what the conversation was made with; kept for its whole life.
        conversation, job: JSON mappings (see the module text).
        message_count, event_count: sequence numbers used so far.
    """

    id: str
    reference: str
    version: int
    family: str
    locale: str
    channel: str
    definitions_version: str
    rate_card: str
    opened_at: datetime
    updated_at: datetime
    conversation: Mapping[str, Any]
    job: Mapping[str, Any] = field(default_factory=dict)
    index: IndexLine = IndexLine()
    message_count: int = 0
    event_count: int = 0
    legal_hold: bool = False


@dataclass(frozen=True)
class CaseLine:
    """One line of a list of cases."""

    id: str
    reference: str
    version: int
    channel: str
    locale: str
    opened_at: datetime
    updated_at: datetime
    index: IndexLine


@dataclass(frozen=True)
class Page:
    """Part of a list, newest change first. `after` is the opaque cursor of the next part; None at the end."""

    lines: tuple[CaseLine, ...]
    after: str | None


@dataclass(frozen=True)
class Message:
    """One message of the talk, append-only. seq counts from 1 within the case, both directions together.

    body: for `out`, the reply mapping {text, choices, kind}; for `in`, what was sent ({text} or {choice} ...).
    message_id: the sender's own id (gateway id, e-mail Message-ID), if it has one.
    """

    seq: int
    direction: Literal["in", "out", "staff"]
    channel: str
    at: datetime
    text: str
    body: Mapping[str, Any] = field(default_factory=dict)
    message_id: str | None = None
    locale: str = ""


@dataclass(frozen=True)
class Event:
    """One thing that happened to the case, append-only. actor: customer, engine, staff:<id>, key:<id>, channel:<name>."""

    seq: int
    kind: str
    actor: str
    at: datetime
    body: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class QuoteRecord:
    """A quote as issued. The body never changes; only `state` does: current, superseded, accepted, declined."""

    number: int
    issued_at: datetime
    valid_until: datetime | None
    state: str
    currency: str
    maximum: str
    body: Mapping[str, Any]


@dataclass(frozen=True)
class Authorisation:
    """One decision of the customer about a quote, append-only: who, when, how, what they saw, how much."""

    seq: int
    quote_number: int
    decision: Literal["accept", "decline"]
    limit: str | None
    currency: str
    by: str
    channel: str
    text_shown: str
    at: datetime


@dataclass(frozen=True)
class Photo:
    """A stored picture. path: inside the photo store; never shown to anyone."""

    id: str
    conversation_id: str
    label: str
    content_type: str
    byte_count: int
    width: int
    height: int
    sha256: str
    path: str
    at: datetime


@dataclass(frozen=True)
class StoredAnswer:
    """The answer to a request that may be repeated: replayed byte for byte."""

    fingerprint: str
    status: int
    body: str
    conversation_id: str | None = None
