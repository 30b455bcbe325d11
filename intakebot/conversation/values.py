"""Fact values as JSON and back, without needing the fact's type.

A str and an int stay themselves, a tuple becomes a list, a Decimal `{"amount": "12.50"}`, a date `{"date": "2026-01-31"}`.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from intakebot.definitions.facts import Value


def value_to_mapping(value: Value | None) -> Any:
    """A JSON-safe form that `value_from_mapping` turns back into an equal value."""
    if isinstance(value, tuple):
        return list(value)
    if isinstance(value, Decimal):
        return {"amount": str(value)}
    if isinstance(value, date):
        return {"date": value.isoformat()}
    return value


def value_from_mapping(raw: Any) -> Value | None:
    """Inverse of `value_to_mapping`."""
    if isinstance(raw, list):
        return tuple(str(item) for item in raw)
    if isinstance(raw, dict):
        if "amount" in raw:
            return Decimal(raw["amount"])
        return date.fromisoformat(raw["date"])
    if raw is None or isinstance(raw, str | int):
        return raw
    raise ValueError(f"not a stored fact value: {raw!r}")
