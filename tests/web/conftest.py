"""The whole application over a fresh database, with a clock that is set by hand, and people of each role."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.web.shop import Shop, open_shop


@pytest.fixture
def shop(tmp_path: Path, root: Path) -> Iterator[Shop]:
    opened = open_shop(tmp_path, root)
    yield opened
    opened.close()
