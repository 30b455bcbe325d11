"""Stored answers: what makes a repeated request harmless.

The row is written in the same commit as its effect, so either both are there or neither. Its key is (scope, key): the
scope names the caller and the route, so keys of different callers never meet.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, bindparam, delete, insert, select
from sqlalchemy.exc import IntegrityError

from intakebot.errors import RequestRunningError
from intakebot.records.case import StoredAnswer
from intakebot.records.tables import idempotency

_i = idempotency.c
_FIND = select(_i.fingerprint, _i.status, _i.body, _i.conversation_id).where(
    _i.scope == bindparam("scope_"), _i.key == bindparam("key_")
)
_ADD = insert(idempotency)


class Answers:
    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def find(self, scope: str, key: str) -> StoredAnswer | None:
        row = self._connection.execute(_FIND, {"scope_": scope, "key_": key}).one_or_none()
        return (
            None if row is None else StoredAnswer(row.fingerprint, row.status, row.body, row.conversation_id)
        )

    def add(self, scope: str, key: str, answer: StoredAnswer, at: datetime) -> None:
        """Store the answer.

        Raises: RequestRunningError when another process stored one for this key meanwhile (read it and replay).
        """
        row = {
            "scope": scope,
            "key": key,
            "fingerprint": answer.fingerprint,
            "status": answer.status,
            "body": answer.body,
            "conversation_id": answer.conversation_id,
            "at": at,
        }
        try:
            self._connection.execute(_ADD, row)
        except IntegrityError as error:
            raise RequestRunningError("the same request was answered at this moment") from error

    def prune(self, before: datetime, limit: int = 500) -> int:
        """Forget at most `limit` answers stored before a time; returns how many."""
        old = select(_i.scope, _i.key).where(_i.at < before).order_by(_i.at).limit(limit)
        rows = self._connection.execute(old).all()
        for row in rows:
            self._connection.execute(delete(idempotency).where(_i.scope == row.scope, _i.key == row.key))
        return len(rows)
