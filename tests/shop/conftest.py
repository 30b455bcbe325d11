"""A whole shop on a fresh SQLite file, with a clock that tests move."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from intakebot.serving import Shop, open_shop
from intakebot.settings import read_settings

START = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


@dataclass
class Clock:
    now: datetime = START

    def __call__(self) -> datetime:
        return self.now

    def pass_time(self, **step: float) -> None:
        self.now += timedelta(**step)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def shop(tmp_path: Path, clock: Clock) -> Iterator[Shop]:
    made = open_shop(read_settings({"INTAKEBOT_DATA_DIR": str(tmp_path / "data")}))
    made.turns.workshop._now = clock  # type: ignore[attr-defined]
    yield replace(made, turns=replace(made.turns, now=clock))
    made.store.close()
