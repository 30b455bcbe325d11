"""A store, a clock that stands still, services over the doubles, and a photo store."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from intakebot.definitions import Definitions
from intakebot.records import Store
from intakebot.records.photos import PhotoStore
from intakebot.turns import Services
from tests.turns.doubles import Clock, fresh_store, make_services


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = fresh_store(tmp_path)
    yield opened
    opened.close()


@pytest.fixture
def services(store: Store, definitions: Definitions, clock: Clock) -> Services:
    return make_services(store, definitions, clock)


@pytest.fixture
def photos(store: Store, services: Services, clock: Clock, tmp_path: Path) -> PhotoStore:
    return PhotoStore(f"file://{tmp_path / 'photos'}", store, services.ids, clock)
