"""Rate limits of the API and the pages: token buckets, with the RateLimit header fields.

With SQLite one process serves, and the buckets are in its memory. With PostgreSQL there may be several processes, on
several machines: then the buckets are rows of a small table, so that a limit is one limit for all of them, and outlives a
restart; each request then costs one more short commit.
Source: draft-ietf-httpapi-ratelimit-headers-11 (field names and syntax); RFC 6585 (429); RFC 9110 (Retry-After).
"""

from __future__ import annotations

import math
import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from intakebot.errors import RateLimitedError
from intakebot.records import Store
from intakebot.records.access import RatePolicy, RateState

MAX_BUCKETS = 50_000
BURST = RatePolicy("burst", 240, 60)
OPENING = RatePolicy("opening", 30, 60)
MESSAGES = RatePolicy("messages", 200, 86_400)
SIGN_INS = RatePolicy("sign-ins", 30, 900)
"""Tries to sign in with one name from one address, on top of the waits between failures (see `throttle`)."""


@dataclass(frozen=True)
class Limits:
    """burst: any caller; opening: new conversations from one address; messages: turns of one conversation a day."""

    burst: RatePolicy = BURST
    opening: RatePolicy = OPENING
    messages: RatePolicy = MESSAGES


class Limiter(Protocol):
    """Anything that gives out tokens."""

    def take(self, key: str, policy: RatePolicy, now: datetime) -> RateState:
        """Take one token. Raises: RateLimitedError; nothing is taken then."""
        ...


def limiter_for(store: Store) -> Limiter:
    """The limiter that holds over every process which may serve this database."""
    return RateLimiter() if store.engines.is_sqlite else SharedRateLimiter(store)


class SharedRateLimiter:
    """Keeps the buckets in the database."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def take(self, key: str, policy: RatePolicy, now: datetime) -> RateState:
        """Take one token. Raises: RateLimitedError; nothing is taken then. StoreBusyError."""
        with self._store.unit_of_work() as work:
            state = work.rates.take(f"{policy.name}|{key}", policy, now)
            work.commit()
        return state


class RateLimiter:
    """In memory. Thread-safe; forgets the buckets that were not used for longest."""

    def __init__(self) -> None:
        self._buckets: OrderedDict[str, tuple[float, datetime]] = OrderedDict()
        self._lock = threading.Lock()

    def take(self, key: str, policy: RatePolicy, now: datetime) -> RateState:
        """Take one token. Raises: RateLimitedError; nothing is taken then."""
        per_second = policy.quota / policy.window_s
        name = f"{policy.name}|{key}"
        with self._lock:
            tokens, at = self._buckets.pop(name, (float(policy.quota), now))
            tokens = min(policy.quota, tokens + max(0.0, (now - at).total_seconds()) * per_second)
            allowed = tokens >= 1
            self._buckets[name] = (tokens - 1 if allowed else tokens, now)
            while len(self._buckets) > MAX_BUCKETS:
                self._buckets.popitem(last=False)
        if not allowed:
            raise RateLimitedError(policy.name, math.ceil((1 - tokens) / per_second))
        return RateState(policy, int(tokens - 1), math.ceil((policy.quota - tokens + 1) / per_second))


def headers_of(state: RateState) -> Mapping[str, str]:
    """RateLimit-Policy and RateLimit for a bucket, e.g. `"burst";q=100;w=60` and `"burst";r=50;t=30`."""
    policy = state.policy
    return {
        "RateLimit-Policy": f'"{policy.name}";q={policy.quota};w={policy.window_s}',
        "RateLimit": f'"{policy.name}";r={state.remaining};t={state.reset_s}',
    }
