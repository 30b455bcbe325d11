"""Strict JSON in, canonical JSON out.

Python's reader accepts more than JSON and is silent about trouble: the last of duplicate keys wins, NaN and 1e999 pass,
deep nesting ends in a RecursionError, a 5,000-digit integer in a ValueError. All of them are refused here, each with
where it is and what was expected.
"""

from __future__ import annotations

import json
import math
from typing import Any

from intakebot.errors import BadInputError

MAX_DEPTH = 32
MAX_DIGITS = 40


def parse_strict(raw: bytes) -> Any:
    """The JSON value in `raw`.

    Raises: BadInputError (where = `body`, or the key) for anything RFC 8259 does not allow or no honest caller sends.
    """
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise BadInputError(
            "body", f"a byte that is not UTF-8 at offset {error.start}", "JSON in UTF-8"
        ) from None
    _check_depth(text)
    try:
        value = json.loads(
            text,
            object_pairs_hook=_object,
            parse_constant=_constant,
            parse_float=_float,
            parse_int=_int,
        )
    except json.JSONDecodeError as error:
        found = f"{error.msg} at line {error.lineno}, column {error.colno}"
        raise BadInputError("body", found, "one JSON value (RFC 8259)") from None
    if "\\u" in text and any("\ud800" <= letter <= "\udfff" for letter in _strings(value)):
        raise BadInputError("body", "half of a surrogate pair", "whole characters")
    return value


def _check_depth(text: str) -> None:
    """Count open brackets outside strings before anything recursive looks at them."""
    depth = 0
    in_string = escaped = False
    for letter in text:
        if in_string:
            if escaped:
                escaped = False
            elif letter == "\\":
                escaped = True
            elif letter == '"':
                in_string = False
        elif letter == '"':
            in_string = True
        elif letter in "[{":
            depth += 1
            if depth > MAX_DEPTH:
                raise BadInputError("body", f"more than {MAX_DEPTH} levels", f"at most {MAX_DEPTH} levels")
        elif letter in "]}":
            depth -= 1


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    result = dict(pairs)
    if len(result) != len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise BadInputError(f"body.{twice[:60]}", "the key twice", "each key once")
    return result


def _constant(name: str) -> Any:
    raise BadInputError("body", name, "a finite number")


def _float(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise BadInputError("body", text[:60], "a finite number")
    return value


def _int(text: str) -> int:
    if len(text) > MAX_DIGITS:
        raise BadInputError("body", f"a number of {len(text)} digits", f"at most {MAX_DIGITS} digits")
    return int(text)


def _strings(value: Any) -> str:
    """Every string inside a value, joined; depth is bounded by `_check_depth`."""
    if isinstance(value, str):
        return value
    if isinstance(value, dict):
        return "".join(value) + "".join(_strings(part) for part in value.values())
    if isinstance(value, list):
        return "".join(_strings(part) for part in value)
    return ""
