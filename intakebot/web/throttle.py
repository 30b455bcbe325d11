"""Slowing down guessing: waiting times that double with each failure, kept per (name, address) and per address.

In memory: a restart forgets the failures, which gains a guesser little, and several processes count each for itself; the
limit on tries (`api_limits.SIGN_INS`) holds over all of them. Nobody is locked out: the wait ends at 15 minutes, and
another address of the same person is free.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from datetime import datetime, timedelta

FREE_TRIES = 4
LONGEST_WAIT = timedelta(minutes=15)
FORGET_AFTER = timedelta(hours=2)
MOST_KEYS = 10_000


class Throttle:
    """Counts failures by key and says how long to wait."""

    def __init__(self, free_tries: int = FREE_TRIES) -> None:
        self._free = free_tries
        self._failures: OrderedDict[str, tuple[int, datetime]] = OrderedDict()
        self._lock = threading.Lock()

    def wait(self, key: str, now: datetime) -> timedelta:
        """Time until the next try is allowed; zero when it is."""
        with self._lock:
            count, last = self._failures.get(key, (0, now))
        if count < self._free or now - last > FORGET_AFTER:
            return timedelta(0)
        pause = min(LONGEST_WAIT, timedelta(seconds=2 ** min(count - self._free + 1, 12)))
        return max(timedelta(0), last + pause - now)

    def failed(self, key: str, now: datetime) -> None:
        """Note a failure."""
        with self._lock:
            count, last = self._failures.pop(key, (0, now))
            self._failures[key] = (1 if now - last > FORGET_AFTER else count + 1, now)
            while len(self._failures) > MOST_KEYS:
                self._failures.popitem(last=False)

    def succeeded(self, key: str) -> None:
        """Forget the failures of a key."""
        with self._lock:
            self._failures.pop(key, None)
