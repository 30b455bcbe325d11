"""The outbox: what must be sent, written in the commit of the turn that decided it, sent after it.

Delivery is at least once: a crash between sending and marking repeats the same id, by design. Order is kept within a
lane (one receiver and one case): only the oldest waiting row of a lane can be claimed, so a row that is being retried
holds back its successors but no other lane. A claim is a lease with an end; no transaction is open while sending.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, and_, delete, exists, func, insert, or_, select, text, update

from intakebot.errors import NotFoundError
from intakebot.records.tables import attempts, outbox

_o = outbox.c
OWN_LANES = ("reminder", "test", "handshake")
"""Kinds that neither wait for the other deliveries of their receiver and case nor hold them back."""
_SHOWN = _o.kind.not_in(("test", "handshake"))
_GIVEN_UP = {"failed": "failed", "set_aside": "set_aside"}
_NO_LEASE: dict[str, Any] = {"lease": None, "leased_until": None}


@dataclass(frozen=True)
class NewItem:
    """Something to send.

    Attributes:
        kind: message (to the customer), event (to a shop system), reminder (a nudge: quiet hours apply), farewell (the
            last message of an erased case; the row goes when it was sent), test (tried once), handshake (asking an
            endpoint whether it wants to hear from us).
        target: `endpoint:<id>`, `gateway:<id>`, `email`.
        address: the customer's address on the channel, for messages.
        body: a JSON mapping, without personal text for events.
    """

    id: str
    kind: str
    target: str
    conversation_id: str | None
    body: Mapping[str, Any]
    due_at: datetime
    address: str = ""
    traceparent: str = ""

    @property
    def lane(self) -> str:
        lane = f"{self.target}|{self.conversation_id or ''}"
        return f"{lane}|{self.kind}" if self.kind in OWN_LANES else lane


@dataclass(frozen=True)
class Item:
    """A row of the outbox. attempt: how often it was tried.

    state: waiting, done, failed (given up, to be dealt with), set_aside (given up, and somebody left it at that), dropped.
    """

    seq: int
    id: str
    kind: str
    target: str
    conversation_id: str | None
    address: str
    body: Mapping[str, Any]
    traceparent: str
    created_at: datetime
    due_at: datetime
    attempt: int
    lease: str | None
    state: str
    last_error: str


@dataclass(frozen=True)
class Attempt:
    """One try. status: the HTTP or SMTP status, if there was an answer."""

    number: int
    at: datetime
    status: int | None
    error: str
    took_ms: int


@dataclass(frozen=True)
class Tally:
    """How it stands with one receiver. retrying: something waiting has failed before. last_error: the newest one's."""

    waiting: int = 0
    failed: int = 0
    set_aside: int = 0
    next_try: datetime | None = None
    retrying: bool = False
    last_error: str = ""


class Outbox:
    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add_all(self, items: Sequence[NewItem], now: datetime) -> None:
        rows = [
            {
                "id": item.id,
                "lane": item.lane,
                "kind": item.kind,
                "target": item.target,
                "conversation_id": item.conversation_id,
                "address": item.address,
                "body": item.body,
                "traceparent": item.traceparent,
                "created_at": now,
                "due_at": item.due_at,
                "attempt": 0,
                "state": "waiting",
                "last_error": "",
            }
            for item in items
        ]
        if rows:
            self._connection.execute(insert(outbox), rows)

    def claim(self, lease: str, now: datetime, lease_s: int, limit: int) -> tuple[Item, ...]:
        """Lease up to `limit` due items, at most one of each lane and the oldest of it.

        lease: the worker's own name for this claim; results are only accepted under it.
        """
        older = outbox.alias()
        query = (
            select(outbox)
            .where(
                _o.state == "waiting",
                _o.due_at <= now,
                or_(_o.leased_until.is_(None), _o.leased_until <= now),
                ~exists().where(
                    and_(older.c.lane == _o.lane, older.c.state == "waiting", older.c.seq < _o.seq)
                ),
            )
            .order_by(_o.due_at, _o.seq)
            .limit(limit)
            .with_for_update(skip_locked=True)
        )
        rows = self._connection.execute(query).all()
        if rows:
            until = now + timedelta(seconds=lease_s)
            ids = [row.id for row in rows]
            self._connection.execute(
                update(outbox).where(_o.id.in_(ids)).values(lease=lease, leased_until=until)
            )
        return tuple(_item(row, lease) for row in rows)

    def sent(self, item: Item, attempt: Attempt) -> bool:
        """Mark as delivered. False when the lease was lost (somebody else sends or sent it too)."""
        return self._finish(item, attempt, state="done", finished_at=attempt.at)

    def again(self, item: Item, attempt: Attempt, due_at: datetime) -> bool:
        """Try again at `due_at`."""
        return self._finish(item, attempt, due_at=due_at)

    def failed(self, item: Item, attempt: Attempt) -> bool:
        """Give up; shown to the shop and replayable."""
        return self._finish(item, attempt, state="failed", finished_at=attempt.at)

    def dropped(self, item: Item, attempt: Attempt) -> bool:
        """Never send it (opted out, erased): not a failure."""
        return self._finish(item, attempt, state="dropped", finished_at=attempt.at)

    def postpone(self, item: Item, due_at: datetime) -> None:
        """Give the lease back and wait until `due_at`; not a try (quiet hours)."""
        where = (_o.id == item.id, _o.lease == item.lease)
        self._connection.execute(
            update(outbox).where(*where).values(lease=None, leased_until=None, due_at=due_at)
        )

    def _finish(self, item: Item, attempt: Attempt, **changes: Any) -> bool:
        changes |= {
            "attempt": attempt.number,
            "lease": None,
            "leased_until": None,
            "last_error": attempt.error[:300],
        }
        where = (_o.id == item.id, _o.lease == item.lease, _o.state == "waiting")
        held = self._connection.execute(update(outbox).where(*where).values(**changes)).rowcount == 1
        if item.kind == "farewell" and "state" in changes:
            self._connection.execute(delete(outbox).where(_o.id == item.id))
            return held
        row = {
            "outbox_id": item.id,
            "number": attempt.number,
            "at": attempt.at,
            "status": attempt.status,
            "error": attempt.error[:300],
            "took_ms": attempt.took_ms,
        }
        self._connection.execute(insert(attempts), row)
        return held

    def given_up(self, item: Item, reason: str, now: datetime) -> None:
        """Fail without a try: nothing was sent because the receiver is switched off; it can be replayed."""
        values = {"state": "failed", "finished_at": now, "last_error": reason[:300], **_NO_LEASE}
        where = (_o.id == item.id, _o.lease == item.lease, _o.state == "waiting")
        self._connection.execute(update(outbox).where(*where).values(**values))

    def put_off_target(self, target: str, until: datetime) -> None:
        """Let nothing for a receiver be due before `until` (it allows only so many a minute); no tries are lost."""
        where = (_o.target == target, _o.state == "waiting", _o.due_at < until)
        self._connection.execute(update(outbox).where(*where).values(due_at=until, **_NO_LEASE))

    def fail_target(self, target: str, reason: str, now: datetime) -> None:
        """Give up everything waiting for a receiver that is gone; it can be replayed once it is back."""
        where = (_o.target == target, _o.state == "waiting")
        values = {"state": "failed", "finished_at": now, "last_error": reason[:300], **_NO_LEASE}
        self._connection.execute(update(outbox).where(*where).values(**values))

    def drop_target(self, target: str, now: datetime) -> None:
        """Nothing is sent to a receiver that was removed on purpose, nor shown as given up."""
        where = (_o.target == target, _o.state.in_(("waiting", "failed", "set_aside")))
        values = {
            "state": "dropped",
            "finished_at": now,
            "last_error": "the receiver was removed",
            **_NO_LEASE,
        }
        self._connection.execute(update(outbox).where(*where).values(**values))

    def replay(self, item_id: str, now: datetime) -> None:
        """Send a failed or delivered item once more, under the same id. Raises NotFoundError."""
        values = {"state": "waiting", "due_at": now, "attempt": 0, "finished_at": None, **_NO_LEASE}
        where = (_o.id == item_id, _o.state.in_(("failed", "set_aside", "done")))
        if self._connection.execute(update(outbox).where(*where).values(**values)).rowcount == 0:
            raise NotFoundError("there is no finished delivery with this id")

    def replay_target(self, target: str, now: datetime) -> int:
        """Send everything that failed for a receiver once more; how many."""
        values = {"state": "waiting", "due_at": now, "attempt": 0, "finished_at": None}
        where = (_o.target == target, _o.state == "failed")
        return self._connection.execute(update(outbox).where(*where).values(**values)).rowcount

    def set_aside(self, now: datetime, *, item_id: str | None = None, target: str | None = None) -> int:
        """Stop showing given-up deliveries (one, or all of a receiver) as something to deal with; how many."""
        return self._move("failed", "set_aside", now, item_id, target)

    def take_up(self, now: datetime, *, item_id: str | None = None, target: str | None = None) -> int:
        """The inverse of `set_aside`."""
        return self._move("set_aside", "failed", now, item_id, target)

    def _move(self, before: str, after: str, now: datetime, item_id: str | None, target: str | None) -> int:
        where = _o.id == item_id if target is None else _o.target == target
        query = update(outbox).where(_o.state == before, where).values(state=after, finished_at=now)
        return self._connection.execute(query).rowcount

    def has_dead(self) -> bool:
        """Whether something was given up and nobody has dealt with it yet."""
        query = select(_o.seq).where(text("state = 'failed'"), _SHOWN).limit(1)
        return self._connection.execute(query).first() is not None

    def tallies(self) -> dict[str, Tally]:
        """What waits, was given up or set aside, by receiver; receivers with nothing of it are left out."""
        found: dict[str, Tally] = {}
        for state in ("waiting", "failed", "set_aside"):
            query = (
                select(_o.target, func.count(), func.min(_o.due_at), func.max(_o.attempt), func.max(_o.seq))
                .where(text(f"state = '{state}'"), _SHOWN, _o.kind != "reminder")
                .group_by(_o.target)
            )
            for target, count, due, tries, newest in self._connection.execute(query).all():
                tally = found.get(target, Tally())
                if state == "waiting":
                    tally = replace(tally, waiting=count, next_try=due, retrying=tries > 0)
                else:
                    tally = replace(tally, **{state: count})
                if state != "set_aside" and (state == "failed" or tries > 0):
                    tally = replace(
                        tally, last_error=tally.last_error or self._last_error(target, state, newest)
                    )
                found[target] = tally
        return found

    def _last_error(self, target: str, state: str, newest: int) -> str:
        query = (
            select(_o.last_error)
            .where(_o.target == target, _o.state == state, _o.seq <= newest, _o.last_error != "", _SHOWN)
            .order_by(_o.seq.desc())
            .limit(1)
        )
        return str(self._connection.execute(query).scalar_one_or_none() or "")

    def last_test(self, target: str) -> Item | None:
        """The newest test of a receiver."""
        query = select(outbox).where(_o.target == target, _o.kind == "test").order_by(_o.seq.desc()).limit(1)
        row = self._connection.execute(query).one_or_none()
        return None if row is None else _item(row, row.lease)

    def get(self, item_id: str) -> Item:
        row = self._connection.execute(select(outbox).where(_o.id == item_id)).one_or_none()
        if row is None:
            raise NotFoundError("no such delivery")
        return _item(row, row.lease)

    def of_target(self, target: str, state: str | None = None, limit: int = 100) -> tuple[Item, ...]:
        """The newest deliveries to a receiver."""
        query = select(outbox).where(_o.target == target)
        if state is not None:
            query = query.where(_o.state == state)
        rows = self._connection.execute(query.order_by(_o.seq.desc()).limit(limit))
        return tuple(_item(row, row.lease) for row in rows)

    def dead(self, limit: int = 100, state: str = "failed") -> tuple[Item, ...]:
        """The newest deliveries that were given up (or, with `set_aside`, put aside), over all receivers."""
        query = select(outbox).where(text(f"state = '{_GIVEN_UP[state]}'"), _SHOWN)
        query = query.order_by(_o.seq.desc()).limit(limit)
        return tuple(_item(row, row.lease) for row in self._connection.execute(query))

    def belongs_to(self, item_id: str, conversation_id: str) -> bool:
        """Whether there is such a delivery of this case."""
        query = select(_o.seq).where(_o.id == item_id, _o.conversation_id == conversation_id)
        return self._connection.execute(query).first() is not None

    def attempts_of(self, item_id: str) -> tuple[Attempt, ...]:
        query = select(attempts).where(attempts.c.outbox_id == item_id).order_by(attempts.c.id)
        rows = self._connection.execute(query)
        return tuple(Attempt(row.number, row.at, row.status, row.error, row.took_ms) for row in rows)

    def next_due(self, after: datetime | None = None) -> datetime | None:
        """When the next waiting item is due (the next one later than `after`); None when nothing waits."""
        query = select(_o.due_at).where(_o.state == "waiting").order_by(_o.due_at).limit(1)
        if after is not None:
            query = query.where(_o.due_at > after)
        return self._connection.execute(query).scalar_one_or_none()

    def drop_reminders(self, conversation_id: str) -> None:
        """Forget the reminders that were planned for a case (it spoke)."""
        where = (_o.conversation_id == conversation_id, _o.kind == "reminder", _o.state == "waiting")
        self._connection.execute(update(outbox).where(*where).values(state="dropped"))


def _item(row: Any, lease: str | None) -> Item:
    return Item(
        seq=row.seq,
        id=row.id,
        kind=row.kind,
        target=row.target,
        conversation_id=row.conversation_id,
        address=row.address,
        body=row.body,
        traceparent=row.traceparent,
        created_at=row.created_at,
        due_at=row.due_at,
        attempt=row.attempt,
        lease=lease,
        state=row.state,
        last_error=row.last_error,
    )
