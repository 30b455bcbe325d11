"""The append-only part of a case: messages and events; and how customers are reached on other channels."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from intakebot.records.case import Event, Message
from intakebot.records.tables import addresses, events, messages, opt_outs

_m, _e, _a = messages.c, events.c, addresses.c
_ADD_MESSAGE = insert(messages)
_ADD_EVENT = insert(events)
_MESSAGES_SINCE = (
    select(messages)
    .where(_m.conversation_id == bindparam("case_id"), _m.seq > bindparam("after"))
    .order_by(_m.seq)
    .limit(bindparam("most"))
)
_EVENTS_SINCE = (
    select(events)
    .where(_e.conversation_id == bindparam("case_id"), _e.seq > bindparam("after"))
    .order_by(_e.seq)
    .limit(bindparam("most"))
)


class Messages:
    """The talk, both directions, numbered from 1 within the case."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add_all(self, case_id: str, new: Sequence[Message]) -> None:
        rows = [
            {
                "conversation_id": case_id,
                "seq": message.seq,
                "direction": message.direction,
                "channel": message.channel,
                "at": message.at,
                "locale": message.locale,
                "message_id": message.message_id,
                "text": message.text,
                "body": message.body,
            }
            for message in new
        ]
        if rows:
            self._connection.execute(_ADD_MESSAGE, rows)

    def since(self, case_id: str, after: int = 0, limit: int = 200) -> tuple[Message, ...]:
        """The messages after a sequence number, oldest first."""
        rows = self._connection.execute(_MESSAGES_SINCE, {"case_id": case_id, "after": after, "most": limit})
        return tuple(_message(row) for row in rows)

    def last(self, case_id: str, count: int) -> tuple[Message, ...]:
        """The last `count` messages, oldest first."""
        query = select(messages).where(_m.conversation_id == case_id).order_by(_m.seq.desc()).limit(count)
        return tuple(_message(row) for row in reversed(self._connection.execute(query).all()))


def _message(row: Any) -> Message:
    return Message(
        seq=row.seq,
        direction=row.direction,
        channel=row.channel,
        at=row.at,
        text=row.text,
        body=row.body,
        message_id=row.message_id,
        locale=row.locale,
    )


class Events:
    """What happened, numbered from 1 within the case."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add_all(self, case_id: str, new: Sequence[Event]) -> None:
        rows = [
            {
                "conversation_id": case_id,
                "seq": e.seq,
                "kind": e.kind,
                "actor": e.actor,
                "at": e.at,
                "body": e.body,
            }
            for e in new
        ]
        if rows:
            self._connection.execute(_ADD_EVENT, rows)

    def since(self, case_id: str, after: int = 0, limit: int = 500) -> tuple[Event, ...]:
        """The events after a sequence number, oldest first."""
        rows = self._connection.execute(_EVENTS_SINCE, {"case_id": case_id, "after": after, "most": limit})
        return tuple(Event(row.seq, row.kind, row.actor, row.at, row.body) for row in rows)


@dataclass(frozen=True)
class Address:
    """Where a customer is reached: channel (`email`, `gateway:<id>`), address there, and threading data of the channel."""

    channel: str
    address: str
    conversation_id: str
    thread: dict[str, Any]
    since: datetime


class Addresses:
    """Which case an address on a channel talks about at present."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def find(self, channel: str, address: str) -> Address | None:
        query = select(addresses).where(_a.channel == channel, _a.address == address)
        row = self._connection.execute(query).one_or_none()
        return (
            None
            if row is None
            else Address(row.channel, row.address, row.conversation_id, row.thread, row.since)
        )

    def of_case(self, case_id: str) -> tuple[Address, ...]:
        """Every address of a case, the newest first."""
        query = (
            select(addresses)
            .where(_a.conversation_id == case_id)
            .order_by(_a.since.desc(), _a.channel, _a.address)
        )
        rows = self._connection.execute(query)
        return tuple(Address(r.channel, r.address, r.conversation_id, r.thread, r.since) for r in rows)

    def put(self, address: Address) -> None:
        """Point an address at a case (it may have pointed at another before)."""
        values = {
            "conversation_id": address.conversation_id,
            "thread": address.thread,
            "since": address.since,
        }
        where = (_a.channel == address.channel, _a.address == address.address)
        if self._connection.execute(update(addresses).where(*where).values(values)).rowcount == 0:
            self._connection.execute(
                insert(addresses), values | {"channel": address.channel, "address": address.address}
            )


def address_hash(channel: str, address: str) -> str:
    """What is kept of an address that opted out, after everything else is erased."""
    return hashlib.sha256(f"{channel}\n{address.strip().casefold()}".encode()).hexdigest()


class OptOuts:
    """Addresses that must not be written to. Only a hash is kept, so it can outlive an erasure."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, channel: str, address: str, at: datetime) -> None:
        if not self.has(channel, address):
            row = {"channel": channel, "address_hash": address_hash(channel, address), "at": at}
            self._connection.execute(insert(opt_outs), row)

    def remove(self, channel: str, address: str) -> None:
        self._connection.execute(delete(opt_outs).where(*_same(channel, address)))

    def has(self, channel: str, address: str) -> bool:
        return (
            self._connection.execute(select(opt_outs.c.at).where(*_same(channel, address))).first()
            is not None
        )


def _same(channel: str, address: str) -> tuple[Any, ...]:
    return (opt_outs.c.channel == channel, opt_outs.c.address_hash == address_hash(channel, address))
