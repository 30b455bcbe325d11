"""Values of facts: from what a caller sends (JSON, form field, YAML) to the typed value, and back to JSON."""

from __future__ import annotations

import re
import unicodedata
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any

from intakebot.definitions.facts import Value
from intakebot.definitions.model import Fact
from intakebot.errors import BadInputError
from intakebot.formats import checked_email, checked_phone

YES_NO = ("yes", "no")
MAX_COUNT = 1_000_000
MAX_AMOUNT = Decimal("1000000")
NOT_KNOWN = "unknown"
DECLINED = "declined"
"""`unknown` and `declined` are answers to every fact; they are told apart from values before `parse_value`."""

_INVISIBLE = {"Cc", "Cf", "Co", "Cs"}


def options_of(fact: Fact) -> tuple[str, ...]:
    """Codes that a choice, choices or yes_no fact can take."""
    return YES_NO if fact.type == "yes_no" else fact.options


def parse_value(fact: Fact, raw: Any) -> Value:
    """The typed value of a fact from its JSON, form or YAML form.

    Raises: BadInputError naming the fact, what was found and what was expected.
    """
    if fact.type in ("choice", "yes_no"):
        if isinstance(raw, bool) and fact.type == "yes_no":
            return "yes" if raw else "no"
        if raw in options_of(fact) and isinstance(raw, str):
            return raw
        raise BadInputError(fact.id, _short(raw), "one of " + ", ".join(options_of(fact)))
    if fact.type == "choices":
        items = [raw] if isinstance(raw, str) else raw
        if isinstance(items, list | tuple) and all(item in fact.options for item in items):
            return tuple(option for option in fact.options if option in items)
        raise BadInputError(fact.id, _short(raw), "a list of " + ", ".join(fact.options))
    if fact.type == "text":
        return _text(fact, raw)
    if fact.type == "photo":
        items = [raw] if isinstance(raw, str) else raw
        if isinstance(items, list | tuple) and all(
            isinstance(item, str) and 0 < len(item) <= 80 for item in items
        ):
            return tuple(items)
        raise BadInputError(fact.id, _short(raw), "a list of photo ids")
    if fact.type == "date":
        return _date(fact, raw)
    if fact.type == "count":
        return _count(fact, raw)
    return _amount(fact, raw)


def value_to_json(value: Value | None) -> Any:
    """JSON form: codes and texts as strings, amounts and dates as strings, counts as numbers, tuples as lists."""
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple):
        return list(value)
    return value


def _text(fact: Fact, raw: Any) -> str:
    if not isinstance(raw, str):
        raise BadInputError(fact.id, _short(raw), "text")
    kept = "".join(c if c in "\n\t" or unicodedata.category(c) not in _INVISIBLE else "" for c in raw).strip()
    if not kept:
        raise BadInputError(fact.id, "nothing readable", "text")
    if len(kept) > fact.max_length:
        raise BadInputError(fact.id, f"{len(kept)} characters", f"at most {fact.max_length}")
    if fact.role == "email":
        return checked_email(kept, fact.id)
    return checked_phone(kept, fact.id) if fact.role == "phone" else kept


def _date(fact: Fact, raw: Any) -> date:
    if isinstance(raw, date):
        return raw
    if isinstance(raw, str) and re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", raw):
        try:
            return date.fromisoformat(raw)
        except ValueError:
            pass
    raise BadInputError(fact.id, _short(raw), "a date such as 2026-11-25")


def _count(fact: Fact, raw: Any) -> int:
    if isinstance(raw, str) and re.fullmatch(r"[0-9]{1,7}", raw.strip(), re.ASCII):
        raw = int(raw)
    if not isinstance(raw, int) or isinstance(raw, bool):
        raise BadInputError(fact.id, _short(raw), "a whole number")
    low = int(fact.minimum) if fact.minimum is not None else 0
    high = int(fact.maximum) if fact.maximum is not None else MAX_COUNT
    if not low <= raw <= high:
        raise BadInputError(fact.id, _short(raw), f"a whole number from {low} to {high}")
    return raw


def _amount(fact: Fact, raw: Any) -> Decimal:
    low = fact.minimum if fact.minimum is not None else Decimal(0)
    high = fact.maximum if fact.maximum is not None else MAX_AMOUNT
    expected = f"an amount from {low} to {high}, such as 120 or 89.50"
    text = f"{raw:f}" if isinstance(raw, Decimal) else str(raw).strip()
    if (
        isinstance(raw, bool)
        or len(text) > 16
        or not re.fullmatch(r"-?[0-9]+(\.[0-9]{1,3})?", text, re.ASCII)
    ):
        raise BadInputError(fact.id, _short(raw), expected)
    try:
        amount = Decimal(text)
    except InvalidOperation as error:
        raise BadInputError(fact.id, _short(raw), expected) from error
    if not low <= amount <= high:
        raise BadInputError(fact.id, _short(raw), expected)
    return amount


def _short(raw: Any) -> Any:
    """What was found, cut so that a message stays readable."""
    if isinstance(raw, int) and not isinstance(raw, bool) and abs(raw) >= 10**20:
        return "a very large number"
    text = raw if isinstance(raw, str) else str(raw)
    return raw if len(text) <= 60 else text[:57] + "..."


def typed_value(fact: Fact, value: Any, inside_choices: bool = False) -> Value:
    """A value written in a file as the fact's typed value (`inside_choices`: one option of a choices fact)."""
    if fact.type == "choices" and inside_choices:
        return str(parse_value(fact, [value])[0])  # type: ignore[index]
    return parse_value(fact, value)
