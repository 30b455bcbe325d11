"""Frozen dataclasses to JSON values and back, driven by their type hints.

Money becomes `{"amount": "12.50", "currency": "GBP"}`, other decimals become strings, dates and times ISO 8601, tuples lists. Reading is
strict: a missing or unknown name, or a value of another type, is refused.
"""

from __future__ import annotations

import dataclasses
import types
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from functools import cache
from typing import Any, Literal, TypeVar, Union, cast, get_args, get_origin, get_type_hints

from intakebot.errors import BadInputError, MoneyError
from intakebot.formats import parse_date, parse_date_time
from intakebot.quoting.money import Money

Record = TypeVar("Record")


def to_json(value: Any) -> Any:
    """JSON values only. Raises: TypeError for something that is neither plain nor a dataclass of such."""
    if value is None or isinstance(value, str | bool | int | float):
        return value
    if isinstance(value, Money):
        return value.to_json()
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple | list):
        return [to_json(item) for item in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: to_json(getattr(value, field.name)) for field in dataclasses.fields(value)}
    raise TypeError(f"{type(value).__name__} has no JSON form here")


def from_json(record: type[Record], data: Any, where: str = "") -> Record:
    """The dataclass that `to_json` wrote. Raises: BadInputError naming the place."""
    return cast(Record, _read(record, data, where or record.__name__))


@cache
def _hints(record: type) -> dict[str, Any]:
    return get_type_hints(record)


def _read(kind: Any, data: Any, where: str) -> Any:
    origin, arguments = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        options = [option for option in arguments if option is not type(None)]
        return None if data is None and len(options) < len(arguments) else _read(options[0], data, where)
    if origin is Literal:
        if data not in arguments:
            raise BadInputError(where, data, "one of " + ", ".join(map(str, arguments)))
        return data
    if origin is tuple:
        return _read_tuple(arguments, data, where)
    if kind is Money:
        return _read_text(where, data, lambda: Money.from_json(data), dict)
    if dataclasses.is_dataclass(kind):
        return _read_record(cast(type, kind), data, where)
    if kind is Decimal:
        return _read_text(where, data, lambda: Decimal(data), str)
    if kind is datetime:
        return _read_text(where, data, lambda: parse_date_time(data, where), str)
    if kind is date:
        return _read_text(where, data, lambda: parse_date(data, where), str)
    if kind is float and isinstance(data, int | float) and not isinstance(data, bool):
        return float(data)
    if type(data) is not kind:
        raise BadInputError(where, data, getattr(kind, "__name__", str(kind)))
    return data


def _read_text(where: str, data: Any, parse: Any, wanted: type) -> Any:
    if not isinstance(data, wanted):
        raise BadInputError(where, data, f"a {wanted.__name__}")
    try:
        return parse()
    except (ValueError, InvalidOperation, MoneyError):
        raise BadInputError(where, data, "a value in its stored form") from None


def _read_tuple(arguments: tuple[Any, ...], data: Any, where: str) -> tuple[Any, ...]:
    if not isinstance(data, list):
        raise BadInputError(where, data, "a list")
    if len(arguments) == 2 and arguments[1] is Ellipsis:
        return tuple(_read(arguments[0], item, f"{where}[{i}]") for i, item in enumerate(data))
    if len(data) != len(arguments):
        raise BadInputError(where, data, f"a list of {len(arguments)}")
    return tuple(
        _read(kind, item, f"{where}[{i}]") for i, (kind, item) in enumerate(zip(arguments, data, strict=True))
    )


def _read_record(record: type, data: Any, where: str) -> Any:
    if not isinstance(data, dict):
        raise BadInputError(where, data, "an object")
    names = {field.name for field in dataclasses.fields(record)}
    if set(data) != names:
        raise BadInputError(where, sorted(set(data) ^ names), "exactly the stored names")
    hints = _hints(record)
    return record(**{name: _read(hints[name], data[name], f"{where}.{name}") for name in names})
