"""Two column types that behave the same on SQLite and PostgreSQL.

Times are UTC text of fixed width (`2026-11-25T08:12:27.000000Z`): readable in any database shell and sorted by the
byte. JSON is text written in one canonical way, so the same value is always the same bytes.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import String, Text
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator


def instant_to_text(moment: datetime) -> str:
    """An aware datetime as fixed-width UTC text.

    Raises: ValueError when the datetime has no zone (a naive time means nothing in a record).
    """
    if moment.tzinfo is None:
        raise ValueError("a stored time needs a zone")
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def text_to_instant(text: str) -> datetime:
    """The inverse of `instant_to_text`."""
    return datetime.fromisoformat(text)


def to_json(value: Any) -> str:
    """Canonical JSON: sorted keys, no spaces, UTF-8 as is, no NaN."""
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)


class Instant(TypeDecorator[datetime]):
    """An aware datetime; always comes back in UTC."""

    impl = String(27)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> str | None:
        return None if value is None else instant_to_text(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> datetime | None:
        return None if value is None else text_to_instant(value)


class Json(TypeDecorator[Any]):
    """A JSON value kept as canonical text."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        return None if value is None else to_json(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:
        return None if value is None else json.loads(value)
