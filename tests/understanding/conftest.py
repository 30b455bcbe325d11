"""Short ways to read a message with the shipped definitions."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date

import pytest

from intakebot.definitions import Definitions
from intakebot.definitions.facts import Value
from intakebot.definitions.model import Family
from intakebot.understanding import Expecting, Heard, understand

TODAY = date(2026, 11, 25)
"""A Wednesday."""


@pytest.fixture(scope="session")
def family(definitions: Definitions) -> Family:
    return definitions.families["disc_drive"]


@pytest.fixture(scope="session")
def hear(family: Family) -> Callable[..., Heard]:
    """hear(text, expecting=None, locale="en", known=None) with a fixed today."""

    def read(
        text: str,
        expecting: Expecting | None = None,
        locale: str = "en",
        known: Mapping[str, Value] | None = None,
    ) -> Heard:
        return understand(text, family, locale, expecting, TODAY, known=known)

    return read


@pytest.fixture(scope="session")
def values(hear: Callable[..., Heard]) -> Callable[..., dict[str, Value | None]]:
    """Stated facts of a message as fact -> value."""

    def read(text: str, *args: object, **kwargs: object) -> dict[str, Value | None]:
        return {fact.fact: fact.value for fact in hear(text, *args, **kwargs).facts}

    return read
