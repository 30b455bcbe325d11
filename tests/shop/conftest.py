"""A whole shop on a fresh SQLite file, with a clock that tests move."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from intakebot.demonstration import Played, play, stories
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
    made = opened(tmp_path / "data", clock)
    yield made
    made.store.close()


def opened(folder: Path, clock: Clock) -> Shop:
    """A shop over a data folder, with the tests' clock everywhere."""
    made = open_shop(read_settings({"INTAKEBOT_DATA_DIR": str(folder)}))
    made.turns.workshop._now = clock  # type: ignore[attr-defined]
    return replace(made, turns=replace(made.turns, now=clock))


@pytest.fixture(scope="session")
def played_folders(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], tuple[Path, Played]]:
    """Data folders in which one story was played, made once each; tests work on copies."""
    made: dict[str, tuple[Path, Played]] = {}

    def folder_of(name: str) -> tuple[Path, Played]:
        if name not in made:
            folder = tmp_path_factory.mktemp("played") / name
            shop = opened(folder, Clock())
            played = play(shop.turns, stories()[name])
            shop.store.close()
            made[name] = (folder, played)
        return made[name]

    return folder_of


@pytest.fixture
def shop_with(
    tmp_path: Path, clock: Clock, played_folders: Callable[[str], tuple[Path, Played]]
) -> Iterator[Callable[[str], tuple[Shop, Played]]]:
    """A shop in which a story was just played, on a copy of its folder."""
    open_shops: list[Shop] = []

    def make(name: str) -> tuple[Shop, Played]:
        folder, played = played_folders(name)
        shutil.copytree(folder, tmp_path / name)
        open_shops.append(opened(tmp_path / name, clock))
        return open_shops[-1], played

    yield make
    for shop in open_shops:
        shop.store.close()
