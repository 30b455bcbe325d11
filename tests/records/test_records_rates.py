"""Rate limits that hold over several processes: one row for one bucket, whoever takes from it."""

from __future__ import annotations

import threading
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import text

from intakebot.errors import RateLimitedError
from intakebot.records import Store, open_store
from intakebot.records.access import RatePolicy
from intakebot.web.api_limits import RateLimiter, SharedRateLimiter, limiter_for
from tests.records.conftest import NOW

FEW = RatePolicy("few", 10, 60)


def test_two_processes_together_get_no_more_than_one(database_url: str, store: Store, tmp_path: Path) -> None:
    """Two stores (own engines, as two processes have them), four threads each, all at once: ten tokens in all."""
    stores = [open_store(database_url, tmp_path) for _ in range(2)]
    limiters = [SharedRateLimiter(each) for each in stores for _ in range(4)]
    start, granted = threading.Barrier(8), []

    def take(limiter: SharedRateLimiter) -> None:
        start.wait()
        for _ in range(5):
            try:
                granted.append(limiter.take("somebody", FEW, NOW).remaining)
            except RateLimitedError:
                continue

    threads = [threading.Thread(target=take, args=(limiter,)) for limiter in limiters]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for each in stores:
        each.close()

    assert sorted(granted) == list(range(10))


def test_memory_and_database_give_out_the_same(store: Store) -> None:
    """The same calls at the same times; both wait times, remaining counts and refusals are equal."""
    limiters = (RateLimiter(), SharedRateLimiter(store))
    seconds = (0, 0, 1, 1, 1, 2, 2, 3, 3, 3, 3, 3, 3, 9, 9, 30, 31, 200, 200)

    def results(limiter: RateLimiter | SharedRateLimiter) -> list[object]:
        found: list[object] = []
        for second in seconds:
            try:
                state = limiter.take("somebody", FEW, NOW + timedelta(seconds=second))
                found.append((state.remaining, state.reset_s))
            except RateLimitedError as error:
                found.append(error.retry_after_s)
        return found

    in_memory, in_database = (results(limiter) for limiter in limiters)

    assert in_memory == in_database
    assert any(isinstance(each, int) for each in in_memory)


def test_a_limit_outlives_a_restart_and_names_nobody(database_url: str, store: Store, tmp_path: Path) -> None:
    key = "inbound|email|" + "a" * 300 + "@example.com"  # longer than any column
    for _ in range(10):
        SharedRateLimiter(store).take(key, FEW, NOW)

    again = open_store(database_url, tmp_path)
    with pytest.raises(RateLimitedError):
        SharedRateLimiter(again).take(key, FEW, NOW)
    with again.reading() as work:
        kept = [row.key for row in work.connection.execute(text("SELECT key FROM rate_buckets"))]
    again.close()

    assert len(kept) == 1
    assert "example" not in kept[0]


def test_the_limiter_fits_the_database(store: Store) -> None:
    expected = RateLimiter if store.engines.is_sqlite else SharedRateLimiter

    assert isinstance(limiter_for(store), expected)
