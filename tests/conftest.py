"""Shared fixtures: the shipped definitions, and whether a missing tool is a failure (CI) or a visible skip."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from intakebot.definitions import Definitions, load_definitions

ROOT = Path(__file__).resolve().parent.parent
IN_CI = os.environ.get("CI") == "true"


@pytest.fixture(scope="session")
def root() -> Path:
    """The project's own folder, which holds flows/ and pricing/."""
    return ROOT


@pytest.fixture(scope="session")
def definitions() -> Definitions:
    """The shipped definitions, loaded once."""
    return load_definitions(ROOT)
