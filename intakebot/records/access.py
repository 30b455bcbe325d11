"""Who may come in: staff, their sessions, one-time codes, shop keys; rate limits; and the shop's own settings."""

from __future__ import annotations

import hmac
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, delete, insert, select, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import IntegrityError

from intakebot.errors import ConflictError, NotFoundError, RateLimitedError
from intakebot.records.tables import (
    one_time_codes,
    own_settings,
    rate_buckets,
    shop_keys,
    users,
    web_sessions,
)
from intakebot.records.tokens import hash_secret


@dataclass(frozen=True)
class User:
    """Somebody of the shop. role: owner, desk, technician. password_hash: argon2id, or empty before the first sign-in."""

    id: str
    login: str
    name: str
    role: str
    password_hash: str
    active: bool
    created_at: datetime
    data: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class WebSession:
    """A signed-in browser. Only the hash of its cookie is kept."""

    id_hash: str
    user_id: str
    created_at: datetime
    seen_at: datetime
    expires_at: datetime
    data: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class OneTimeCode:
    """A link or code that works once. purpose: first_owner, invite, sign_in, resume ..."""

    code_hash: str
    purpose: str
    subject: str
    data: Mapping[str, Any]
    created_at: datetime
    expires_at: datetime
    used_at: datetime | None = None


@dataclass(frozen=True)
class ShopKey:
    """A key for the shop's own systems, written `ik_<id>.<secret>`; only the secret's hash is kept."""

    id: str
    name: str
    secret_hash: str
    scopes: tuple[str, ...]
    created_at: datetime
    expires_at: datetime | None = None
    revoked_at: datetime | None = None
    last_used_at: datetime | None = None
    replaces: str | None = None


@dataclass(frozen=True)
class RatePolicy:
    """A token bucket: `quota` requests at once, refilled evenly over `window_s` seconds."""

    name: str
    quota: int
    window_s: int


@dataclass(frozen=True)
class RateState:
    """What is left of a bucket and after how many seconds it is full again."""

    policy: RatePolicy
    remaining: int
    reset_s: int


def _values(record: Any) -> dict[str, Any]:
    return {name: getattr(record, name) for name in record.__dataclass_fields__}


class Users:
    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def any(self) -> bool:
        """True when somebody can sign in."""
        query = select(users.c.id).where(users.c.active.is_(True), users.c.password_hash != "").limit(1)
        return self._connection.execute(query).first() is not None

    def add(self, user: User) -> None:
        """Raises: ConflictError when the login is taken."""
        try:
            self._connection.execute(insert(users), _values(user))
        except IntegrityError as error:
            raise ConflictError("somebody has this login already") from error

    def get(self, user_id: str) -> User:
        return self._one(users.c.id == user_id)

    def by_login(self, login: str) -> User:
        """Raises NotFoundError."""
        return self._one(users.c.login == login)

    def _one(self, condition: Any) -> User:
        row = self._connection.execute(select(users).where(condition)).one_or_none()
        if row is None:
            raise NotFoundError("no such person")
        return User(**row._mapping)

    def all(self) -> tuple[User, ...]:
        return tuple(
            User(**row._mapping) for row in self._connection.execute(select(users).order_by(users.c.login))
        )

    def save(self, user: User) -> None:
        """Raises NotFoundError."""
        if (
            self._connection.execute(
                update(users).where(users.c.id == user.id).values(**_values(user))
            ).rowcount
            == 0
        ):
            raise NotFoundError("no such person")


class WebSessions:
    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, session: WebSession) -> None:
        self._connection.execute(insert(web_sessions), _values(session))

    def get(self, id_hash: str) -> WebSession:
        """Raises NotFoundError. Whether it is still in time is the caller's question."""
        row = self._connection.execute(
            select(web_sessions).where(web_sessions.c.id_hash == id_hash)
        ).one_or_none()
        if row is None:
            raise NotFoundError("no such session")
        return WebSession(**row._mapping)

    def of_user(self, user_id: str) -> tuple[WebSession, ...]:
        query = (
            select(web_sessions).where(web_sessions.c.user_id == user_id).order_by(web_sessions.c.created_at)
        )
        return tuple(WebSession(**row._mapping) for row in self._connection.execute(query))

    def touch(self, id_hash: str, seen_at: datetime, data: Mapping[str, Any] | None = None) -> None:
        values: dict[str, Any] = {"seen_at": seen_at}
        if data is not None:
            values["data"] = data
        self._connection.execute(
            update(web_sessions).where(web_sessions.c.id_hash == id_hash).values(**values)
        )

    def delete(self, id_hash: str) -> None:
        self._connection.execute(delete(web_sessions).where(web_sessions.c.id_hash == id_hash))

    def delete_of(self, user_id: str, keep: str | None = None) -> None:
        """End every session of a person, except the one with hash `keep`."""
        query = delete(web_sessions).where(web_sessions.c.user_id == user_id)
        if keep is not None:
            query = query.where(web_sessions.c.id_hash != keep)
        self._connection.execute(query)

    def prune(self, now: datetime) -> None:
        self._connection.execute(delete(web_sessions).where(web_sessions.c.expires_at < now))


class Codes:
    """One-time codes and links."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, code: OneTimeCode) -> None:
        self._connection.execute(insert(one_time_codes), _values(code))

    def look(self, code_hash: str, purpose: str, now: datetime) -> OneTimeCode:
        """The code if it can still be used, without using it. Raises NotFoundError."""
        row = self._connection.execute(
            select(one_time_codes).where(
                one_time_codes.c.code_hash == code_hash,
                one_time_codes.c.purpose == purpose,
                one_time_codes.c.used_at.is_(None),
                one_time_codes.c.expires_at > now,
            )
        ).one_or_none()
        if row is None:
            raise NotFoundError("this code is unknown, used, or out of date")
        return OneTimeCode(**row._mapping)

    def redeem(self, code_hash: str, purpose: str, now: datetime) -> OneTimeCode:
        """Use the code up. Raises NotFoundError when it is unknown, used, or out of date (not told apart)."""
        code = self.look(code_hash, purpose, now)
        query = (
            update(one_time_codes)
            .where(one_time_codes.c.code_hash == code_hash, one_time_codes.c.used_at.is_(None))
            .values(used_at=now)
        )
        if self._connection.execute(query).rowcount == 0:
            raise NotFoundError("this code is unknown, used, or out of date")
        return code

    def withdraw(self, purpose: str, subject: str) -> None:
        """Forget the unused codes of a purpose and subject (a new one replaces them)."""
        self._connection.execute(
            delete(one_time_codes).where(
                one_time_codes.c.purpose == purpose,
                one_time_codes.c.subject == subject,
                one_time_codes.c.used_at.is_(None),
            )
        )

    def prune(self, now: datetime) -> None:
        self._connection.execute(delete(one_time_codes).where(one_time_codes.c.expires_at < now))


class ShopKeys:
    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, key: ShopKey) -> None:
        self._connection.execute(insert(shop_keys), _values(key) | {"scopes": list(key.scopes)})

    def all(self) -> tuple[ShopKey, ...]:
        query = select(shop_keys).order_by(shop_keys.c.created_at, shop_keys.c.id)
        return tuple(_shop_key(row) for row in self._connection.execute(query))

    def get(self, key_id: str) -> ShopKey:
        row = self._connection.execute(select(shop_keys).where(shop_keys.c.id == key_id)).one_or_none()
        if row is None:
            raise NotFoundError("no such key")
        return _shop_key(row)

    def check(self, key_id: str, secret: str, now: datetime) -> ShopKey:
        """The key, if the secret is its own and it is neither revoked nor expired. Raises NotFoundError."""
        key = self.get(key_id)
        right = hmac.compare_digest(key.secret_hash, hash_secret(secret))
        if not right or key.revoked_at is not None or (key.expires_at is not None and key.expires_at <= now):
            raise NotFoundError("no such key")
        return key

    def used(self, key_id: str, now: datetime) -> None:
        self._connection.execute(update(shop_keys).where(shop_keys.c.id == key_id).values(last_used_at=now))

    def expire(self, key_id: str, at: datetime) -> None:
        """Let a key end at a time (rotation: the old key goes on for a while)."""
        self._connection.execute(update(shop_keys).where(shop_keys.c.id == key_id).values(expires_at=at))

    def revoke(self, key_id: str, at: datetime) -> None:
        self._connection.execute(update(shop_keys).where(shop_keys.c.id == key_id).values(revoked_at=at))


def _shop_key(row: Any) -> ShopKey:
    return ShopKey(**{**row._mapping, "scopes": tuple(row.scopes)})


class RateBuckets:
    """Token buckets in one small table, so that limits hold over restarts and over several processes."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def take(self, key: str, policy: RatePolicy, now: datetime) -> RateState:
        """Take one token.

        Raises: RateLimitedError with the seconds to wait; nothing is taken then.
        """
        name = hash_secret(key)  # keys hold addresses, which are nobody's business here, and may be long
        row = self._locked(name)
        if row is None:
            self._begin(name, float(policy.quota), now)
            row = self._locked(name)
        assert row is not None
        per_second = policy.quota / policy.window_s
        passed = max(0.0, (now - row.at).total_seconds())
        tokens = min(float(policy.quota), row.tokens + passed * per_second)
        if tokens < 1:
            raise RateLimitedError(policy.name, math.ceil((1 - tokens) / per_second))
        query = update(rate_buckets).where(rate_buckets.c.key == name)
        self._connection.execute(query.values(tokens=tokens - 1, at=now))
        return RateState(policy, int(tokens - 1), math.ceil((policy.quota - tokens + 1) / per_second))

    def _locked(self, name: str) -> Any:
        query = select(rate_buckets).where(rate_buckets.c.key == name).with_for_update()
        return self._connection.execute(query).one_or_none()

    def _begin(self, name: str, tokens: float, now: datetime) -> None:
        """A full bucket, unless another process made one at the same moment."""
        dialect = sqlite if self._connection.dialect.name == "sqlite" else postgresql
        values = {"key": name, "tokens": tokens, "at": now}
        self._connection.execute(dialect.insert(rate_buckets).values(**values).on_conflict_do_nothing())

    def prune(self, before: datetime) -> None:
        self._connection.execute(delete(rate_buckets).where(rate_buckets.c.at < before))


class OwnSettings:
    """Small values of this installation that outlive a restart: its own secrets, shop switches."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def get(self, name: str, default: Any = None) -> Any:
        query = select(own_settings.c.value).where(own_settings.c.name == name)
        row = self._connection.execute(query).one_or_none()
        return default if row is None else row.value

    def put(self, name: str, value: Any, now: datetime) -> None:
        changed = {"value": value, "at": now}
        query = update(own_settings).where(own_settings.c.name == name)
        if self._connection.execute(query.values(**changed)).rowcount == 0:
            self._connection.execute(insert(own_settings), changed | {"name": name})
