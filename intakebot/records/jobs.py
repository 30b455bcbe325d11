"""What the shop promises and does: quotes, authorisations, photos, outcomes."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, delete, insert, select, update

from intakebot.errors import NotFoundError
from intakebot.records.case import Authorisation, Photo, QuoteRecord
from intakebot.records.tables import authorisations, outcomes, photos, quotes

_q, _p = quotes.c, photos.c


class Quotes:
    """Quotes of a case. A body is never changed; a newer quote supersedes, it does not overwrite."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def put(self, case_id: str, quote: QuoteRecord) -> None:
        """Store a new quote, or the new state of a stored one (its body stays as issued)."""
        where = (_q.conversation_id == case_id, _q.number == quote.number)
        if self._connection.execute(update(quotes).where(*where).values(state=quote.state)).rowcount:
            return
        if quote.state == "current":
            older = (_q.conversation_id == case_id, _q.state == "current")
            self._connection.execute(update(quotes).where(*older).values(state="superseded"))
        row = {
            "conversation_id": case_id,
            "number": quote.number,
            "issued_at": quote.issued_at,
            "valid_until": quote.valid_until,
            "state": quote.state,
            "currency": quote.currency,
            "maximum": quote.maximum,
            "body": quote.body,
        }
        self._connection.execute(insert(quotes), row)

    def all(self, case_id: str) -> tuple[QuoteRecord, ...]:
        """Every quote ever issued, by number."""
        rows = self._connection.execute(
            select(quotes).where(_q.conversation_id == case_id).order_by(_q.number)
        )
        return tuple(_quote(row) for row in rows)

    def current(self, case_id: str) -> QuoteRecord:
        """The newest quote that is not superseded. Raises NotFoundError when there is none yet."""
        query = (
            select(quotes)
            .where(_q.conversation_id == case_id, _q.state != "superseded")
            .order_by(_q.number.desc())
            .limit(1)
        )
        row = self._connection.execute(query).one_or_none()
        if row is None:
            raise NotFoundError("there is no estimate yet")
        return _quote(row)


def _quote(row: Any) -> QuoteRecord:
    return QuoteRecord(
        row.number, row.issued_at, row.valid_until, row.state, row.currency, row.maximum, row.body
    )


class Authorisations:
    """Decisions of customers; append-only."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, case_id: str, entry: Authorisation) -> None:
        row = {"conversation_id": case_id} | {
            name: getattr(entry, name) for name in Authorisation.__dataclass_fields__
        }
        self._connection.execute(insert(authorisations), row)

    def all(self, case_id: str) -> tuple[Authorisation, ...]:
        query = (
            select(authorisations)
            .where(authorisations.c.conversation_id == case_id)
            .order_by(authorisations.c.seq)
        )
        rows = self._connection.execute(query).mappings()
        return tuple(
            Authorisation(**{name: row[name] for name in Authorisation.__dataclass_fields__}) for row in rows
        )


class Photos:
    """Records of stored pictures; the bytes are in the photo store."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, photo: Photo) -> None:
        self._connection.execute(
            insert(photos), {name: getattr(photo, name) for name in Photo.__dataclass_fields__}
        )

    def get(self, case_id: str, photo_id: str) -> Photo:
        """Raises NotFoundError for an unknown photo and for one of another case."""
        query = select(photos).where(_p.conversation_id == case_id, _p.id == photo_id)
        row = self._connection.execute(query).one_or_none()
        if row is None:
            raise NotFoundError("no such photo")
        return _photo(row)

    def all(self, case_id: str) -> tuple[Photo, ...]:
        rows = self._connection.execute(
            select(photos).where(_p.conversation_id == case_id).order_by(_p.at, _p.id)
        )
        return tuple(_photo(row) for row in rows)

    def delete(self, case_id: str, photo_id: str) -> None:
        where = (_p.conversation_id == case_id, _p.id == photo_id)
        self._connection.execute(delete(photos).where(*where))


def _photo(row: Any) -> Photo:
    return Photo(**{name: getattr(row, name) for name in Photo.__dataclass_fields__})


class Outcomes:
    """How finished jobs ended: what the learned counts are made of. Kept without the case after an erasure."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, case_id: str, finished_at: datetime, body: Mapping[str, Any]) -> None:
        row = {"conversation_id": case_id, "finished_at": finished_at, "body": body}
        self._connection.execute(insert(outcomes), row)

    def since(self, moment: datetime | None = None) -> tuple[Mapping[str, Any], ...]:
        """Bodies of the outcomes from a time on (or all), oldest first."""
        query = select(outcomes.c.body).order_by(outcomes.c.finished_at, outcomes.c.id)
        if moment is not None:
            query = query.where(outcomes.c.finished_at >= moment)
        return tuple(self._connection.execute(query).scalars())
