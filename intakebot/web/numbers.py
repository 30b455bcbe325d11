"""Numbers out of forms: a comma is read as a point, nothing else is guessed."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation

from flask import request

from intakebot.errors import BadInputError

LARGEST = 1_000_000


def decimal(name: str) -> Decimal | None:
    """A number of the form, not negative; None when the field is empty. Raises: BadInputError."""
    text = request.form.get(name, "").strip().replace(",", ".")
    if not text:
        return None
    try:
        value = Decimal(text) if len(text) <= 12 else Decimal("NaN")
    except InvalidOperation:
        value = Decimal("NaN")
    if not value.is_finite() or not 0 <= value <= LARGEST:
        raise BadInputError(name, text[:20], "a number")
    return value


def whole(name: str) -> int | None:
    """A whole number of the form; None when the field is empty. Raises: BadInputError."""
    value = decimal(name)
    if value is not None and value != int(value):
        raise BadInputError(name, str(value), "a whole number")
    return None if value is None else int(value)
