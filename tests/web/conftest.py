"""The whole application over a fresh database, with a clock that is set by hand, and people of each role."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from intakebot.definitions import Definitions
from tests.web.shop import Shop, open_shop


@pytest.fixture
def shop(tmp_path: Path, definitions: Definitions) -> Iterator[Shop]:
    opened = open_shop(tmp_path, definitions)
    yield opened
    opened.close()
