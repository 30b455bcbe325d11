"""The outbox: what must be sent, written in the commit of the turn that decided it, sent after it.

Delivery is at least once: a crash between sending and marking repeats the same id, by design. Order is kept within a
lane (one receiver and one case): only the oldest waiting row of a lane can be claimed, so a row that is being retried
holds back its successors but no other lane. A claim is a lease with an end; no transaction is open while sending.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, and_, delete, exists, insert, or_, select, update

from intakebot.errors import NotFoundError
from intakebot.records.tables import attempts, outbox

_o = outbox.c


@dataclass(frozen=True)
class NewItem:
    """Something to send.

    Attributes:
        kind: message (to the customer), event (to a shop system), reminder (a nudge: quiet hours apply), farewell (the
            last message of an erased case; the row goes when it was sent).
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
        return lane + "|reminder" if self.kind == "reminder" else lane


@dataclass(frozen=True)
class Item:
    """A row of the outbox. attempt: how often it was tried. state: waiting, done, failed, dropped."""

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

    def fail_target(self, target: str, reason: str, now: datetime) -> None:
        """Give up everything waiting for a receiver that is gone; it can be replayed once it is back."""
        where = (_o.target == target, _o.state == "waiting")
        values = {
            "state": "failed",
            "finished_at": now,
            "last_error": reason,
            "lease": None,
            "leased_until": None,
        }
        self._connection.execute(update(outbox).where(*where).values(**values))

    def replay(self, item_id: str, now: datetime) -> None:
        """Send a failed or delivered item once more, under the same id. Raises NotFoundError."""
        values = {
            "state": "waiting",
            "due_at": now,
            "attempt": 0,
            "finished_at": None,
            "lease": None,
            "leased_until": None,
        }
        where = (_o.id == item_id, _o.state.in_(("failed", "done")))
        if self._connection.execute(update(outbox).where(*where).values(**values)).rowcount == 0:
            raise NotFoundError("there is no finished delivery with this id")

    def replay_target(self, target: str, now: datetime) -> int:
        """Send everything that failed for a receiver once more; how many."""
        values = {"state": "waiting", "due_at": now, "attempt": 0, "finished_at": None}
        where = (_o.target == target, _o.state == "failed")
        return self._connection.execute(update(outbox).where(*where).values(**values)).rowcount

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

    def dead(self, limit: int = 100) -> tuple[Item, ...]:
        """The newest deliveries that were given up, over all receivers."""
        query = select(outbox).where(_o.state == "failed").order_by(_o.seq.desc()).limit(limit)
        return tuple(_item(row, row.lease) for row in self._connection.execute(query))

    def attempts_of(self, item_id: str) -> tuple[Attempt, ...]:
        query = select(attempts).where(attempts.c.outbox_id == item_id).order_by(attempts.c.id)
        rows = self._connection.execute(query)
        return tuple(Attempt(row.number, row.at, row.status, row.error, row.took_ms) for row in rows)

    def next_due(self) -> datetime | None:
        """When the next waiting item is due; None when nothing waits."""
        query = select(_o.due_at).where(_o.state == "waiting").order_by(_o.due_at).limit(1)
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
