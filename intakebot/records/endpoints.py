"""Receivers: the shop's webhook endpoints, and gateways that carry messages to and from customers' phones."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Table, delete, insert, select, update

from intakebot.errors import NotFoundError
from intakebot.records.tables import endpoints, gateways


@dataclass(frozen=True)
class Secret:
    """A signing secret (`whsec_...`). until: when it stops being used; None for the current one."""

    secret: str
    until: datetime | None = None


@dataclass(frozen=True)
class Endpoint:
    """A URL of the shop's own systems.

    Attributes:
        event_types: empty means every type. secrets: newest first.
        state: `active`; `unconfirmed` until the receiver allowed us; `disabled`. reason: why it is not active.
        handshake: `required` (the receiver is asked first) or `skipped`.
        allowed_rate: requests a minute the receiver allowed; None when it named no limit.
    """

    id: str
    url: str
    description: str
    event_types: tuple[str, ...]
    secrets: tuple[Secret, ...]
    created_at: datetime
    state: str = "active"
    reason: str = ""
    failing_since: datetime | None = None
    handshake: str = "skipped"
    allowed_rate: int | None = None


@dataclass(frozen=True)
class Gateway:
    """A messenger or SMS gateway: where messages for customers are posted, and what it can carry.

    alphabet: `gsm7` (short messages: plain letters, parts counted) or `unicode`. max_parts: for gsm7.
    """

    id: str
    url: str
    secrets: tuple[Secret, ...]
    created_at: datetime
    alphabet: str = "unicode"
    max_parts: int = 2
    pictures: bool = False
    choices: bool = False
    state: str = "active"
    reason: str = ""
    failing_since: datetime | None = None


def usable_secrets(secrets: tuple[Secret, ...], now: datetime) -> tuple[str, ...]:
    """The secrets in use at a time, newest first; two during a rotation."""
    return tuple(s.secret for s in secrets if s.until is None or s.until > now)


def rotated(secrets: tuple[Secret, ...], new: str, old_until: datetime) -> tuple[Secret, ...]:
    """A new current secret; the one before goes on until `old_until`, older ones are forgotten."""
    return (Secret(new), *(replace(secret, until=old_until) for secret in secrets[:1]))


class _Receivers:
    _table: Table

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def _row(self, receiver_id: str) -> Any:
        query = select(self._table).where(self._table.c.id == receiver_id)
        row = self._connection.execute(query).one_or_none()
        if row is None:
            raise NotFoundError("no such receiver")
        return row

    def _put(self, record: Any) -> None:
        values = {name: getattr(record, name) for name in record.__dataclass_fields__}
        values["secrets"] = [
            {"secret": s.secret, "until": s.until.isoformat() if s.until else None} for s in record.secrets
        ]
        if "event_types" in values:
            values["event_types"] = list(values["event_types"])
        query = update(self._table).where(self._table.c.id == record.id).values(**values)
        if self._connection.execute(query).rowcount == 0:
            self._connection.execute(insert(self._table), values)

    def delete(self, receiver_id: str) -> None:
        """Raises NotFoundError."""
        if self._connection.execute(delete(self._table).where(self._table.c.id == receiver_id)).rowcount == 0:
            raise NotFoundError("no such receiver")

    def disable(self, receiver_id: str, reason: str) -> None:
        query = update(self._table).where(self._table.c.id == receiver_id)
        self._connection.execute(query.values(state="disabled", reason=reason[:300]))

    def enable(self, receiver_id: str) -> None:
        """Switch on, with a clean slate."""
        query = update(self._table).where(self._table.c.id == receiver_id)
        self._connection.execute(query.values(state="active", reason="", failing_since=None))

    def set_failing(self, receiver_id: str, since: datetime | None) -> None:
        """Remember since when a receiver fails (None: it works again)."""
        query = update(self._table).where(self._table.c.id == receiver_id)
        if since is not None:
            query = query.where(self._table.c.failing_since.is_(None))
        self._connection.execute(query.values(failing_since=since))


class Endpoints(_Receivers):
    _table = endpoints

    def get(self, endpoint_id: str) -> Endpoint:
        """Raises NotFoundError."""
        return _endpoint(self._row(endpoint_id))

    def put(self, endpoint: Endpoint) -> None:
        self._put(endpoint)

    def confirm(self, endpoint_id: str, allowed_rate: int | None) -> None:
        """The receiver allowed us to send. An endpoint that was switched off stays off."""
        query = update(endpoints).where(endpoints.c.id == endpoint_id, endpoints.c.state != "disabled")
        self._connection.execute(query.values(state="active", reason="", allowed_rate=allowed_rate))

    def explain(self, endpoint_id: str, reason: str) -> None:
        """Say why an endpoint is still unconfirmed."""
        query = update(endpoints).where(endpoints.c.id == endpoint_id, endpoints.c.state == "unconfirmed")
        self._connection.execute(query.values(reason=reason[:300]))

    def all(self) -> tuple[Endpoint, ...]:
        query = select(endpoints).order_by(endpoints.c.created_at, endpoints.c.id)
        return tuple(_endpoint(row) for row in self._connection.execute(query))

    def listening(self, event_type: str) -> tuple[Endpoint, ...]:
        """The active endpoints that want an event type."""
        return tuple(
            endpoint
            for endpoint in self.all()
            if endpoint.state == "active" and (not endpoint.event_types or event_type in endpoint.event_types)
        )


class Gateways(_Receivers):
    _table = gateways

    def get(self, gateway_id: str) -> Gateway:
        """Raises NotFoundError."""
        return _gateway(self._row(gateway_id))

    def put(self, gateway: Gateway) -> None:
        self._put(gateway)

    def all(self) -> tuple[Gateway, ...]:
        query = select(gateways).order_by(gateways.c.created_at, gateways.c.id)
        return tuple(_gateway(row) for row in self._connection.execute(query))


def _secrets(raw: Any) -> tuple[Secret, ...]:
    return tuple(
        Secret(entry["secret"], datetime.fromisoformat(entry["until"]) if entry["until"] else None)
        for entry in raw
    )


def _endpoint(row: Any) -> Endpoint:
    return Endpoint(
        **{**row._mapping, "secrets": _secrets(row.secrets), "event_types": tuple(row.event_types)}
    )


def _gateway(row: Any) -> Gateway:
    return Gateway(
        **{
            **row._mapping,
            "secrets": _secrets(row.secrets),
            "pictures": bool(row.pictures),
            "choices": bool(row.choices),
        }
    )
