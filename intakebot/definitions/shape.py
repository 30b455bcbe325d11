"""Shape pass: JSON Schemas made from the dataclasses of the model, and the records built from data that passed.

One description (the dataclass) serves both, so schema and loader cannot accept different keys.
Ranges of numbers are named here, by class and attribute.
"""

from __future__ import annotations

import dataclasses
import types
import typing
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cache
from typing import Any, get_args, get_origin

from jsonschema import Draft202012Validator, FormatChecker, validators

from intakebot.definitions import facts as facts_module
from intakebot.definitions import model
from intakebot.definitions.facts import OPERATORS, AllOf, AnyOf, Comparison, NotOf

PROBABILITY = {"minimum": 0, "maximum": 1}
OPEN_PROBABILITY = {"exclusiveMinimum": 0, "exclusiveMaximum": 1}
POSITIVE = {"exclusiveMinimum": 0}
NOT_NEGATIVE = {"minimum": 0}

RANGES: dict[tuple[str, str], Mapping[str, float]] = {
    ("Fault", "prior"): OPEN_PROBABILITY,
    ("Fault", "by_device"): OPEN_PROBABILITY,
    ("OddsChange", "times"): POSITIVE,
    ("Finding", "leak"): {"minimum": 0.001, "maximum": 0.5},
    ("Finding", "raises"): {"minimum": 0.001, "maximum": 0.999},
    ("Finding", "base"): PROBABILITY,
    ("Finding", "rows"): PROBABILITY,
    ("Step", "fixes"): {"exclusiveMinimum": 0, "maximum": 1},
    ("Step", "minutes"): POSITIVE,
    ("Step", "spread"): {"minimum": 0, "maximum": 2},
    ("Level", "open"): NOT_NEGATIVE,
    ("Level", "close"): NOT_NEGATIVE,
    ("PlayTest", "minutes"): POSITIVE,
    ("GivingUp", "minutes"): NOT_NEGATIVE,
    ("PairedPart", "doubt"): PROBABILITY,
    ("Question", "burden"): NOT_NEGATIVE,
    ("Device", "weight_kg"): POSITIVE,
    ("Device", "fragility_g"): POSITIVE,
    ("DiscClass", "wavelength_nm"): {"minimum": 300, "maximum": 1000},
    ("RateCard", "block_minutes"): {"minimum": 1, "maximum": 240},
    ("RateCard", "maximum_percentile"): {"minimum": 50, "maximum": 99},
    ("RateCard", "validity_days"): {"minimum": 1, "maximum": 365},
    ("RateCard", "narrowing_weight"): NOT_NEGATIVE,
    ("Parcel", "tare_kg"): POSITIVE,
    ("Parcel", "ect_kn_per_m"): POSITIVE,
    ("Parcel", "caliper_mm"): POSITIVE,
    ("ShippingTariff", "divisor_cm3_per_kg"): {"minimum": 1000, "maximum": 10000},
    ("Calendar", "bench_hours_per_day"): {"exclusiveMinimum": 0, "maximum": 24},
    ("Calendar", "turnaround_percentile"): {"minimum": 50, "maximum": 99},
    ("ChanceWord", "at_least"): PROBABILITY,
    ("Profile", "minimum_validity_days"): NOT_NEGATIVE,
}

CONDITION_SCHEMA: dict[str, Any] = {
    "oneOf": [
        {"type": "object", "required": ["all"], "additionalProperties": False,
         "properties": {"all": {"type": "array", "items": {"$ref": "#/$defs/condition"}}}},
        {"type": "object", "required": ["any"], "additionalProperties": False,
         "properties": {"any": {"type": "array", "items": {"$ref": "#/$defs/condition"}}}},
        {"type": "object", "required": ["not"], "additionalProperties": False,
         "properties": {"not": {"$ref": "#/$defs/condition"}}},
        {"type": "object", "required": ["fact", "op"], "additionalProperties": False,
         "properties": {"fact": {"type": "string"}, "op": {"enum": list(OPERATORS)},
                        "value": {"type": ["string", "number", "boolean"]}}},
    ]
}  # fmt: skip

DECIMAL_SCHEMA: dict[str, Any] = {"type": ["integer", "string"], "pattern": r"^-?[0-9]{1,12}(\.[0-9]{1,6})?$"}


def _is_integer(checker: Any, instance: Any) -> bool:
    """JSON Schema takes 48.0 for an integer; an amount written without quotes must not pass that way."""
    return isinstance(instance, int) and not isinstance(instance, bool)


Validator: Any = validators.extend(
    Draft202012Validator, type_checker=Draft202012Validator.TYPE_CHECKER.redefine("integer", _is_integer)
)


@dataclass(frozen=True)
class FamilyHead:
    """The `family` record of a family folder."""

    id: str
    title_key: str
    version: str


def record_id(cls: type) -> bool:
    """Whether a class is a record with an id, written as an item of a YAML list."""
    return dataclasses.is_dataclass(cls) and any(field.name == "id" for field in dataclasses.fields(cls))


@cache
def hints(cls: type) -> Mapping[str, Any]:
    """Attribute -> resolved type of a model dataclass."""
    return typing.get_type_hints(cls, {**vars(model), **vars(facts_module)})


def schema_for(cls: type) -> dict[str, Any]:
    """JSON Schema (2020-12) of one record of the model, without unknown keys."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema",
            "$defs": {"condition": CONDITION_SCHEMA}, **_object(cls)}  # fmt: skip


@cache
def validator_for(cls: type) -> Any:
    """A validator of one record class, made once."""
    return Validator(schema_for(cls), format_checker=FormatChecker())


def _object(cls: type) -> dict[str, Any]:
    properties: dict[str, Any] = {}
    required: list[str] = []
    for attribute in dataclasses.fields(cls):
        extra = RANGES.get((cls.__name__, attribute.name), {})
        properties[attribute.name] = _schema(hints(cls)[attribute.name], extra)
        if attribute.default is dataclasses.MISSING and attribute.default_factory is dataclasses.MISSING:
            required.append(attribute.name)
    return {"type": "object", "properties": properties, "required": required, "additionalProperties": False}


def _schema(hint: Any, extra: Mapping[str, float]) -> dict[str, Any]:
    origin, arguments = get_origin(hint), get_args(hint)
    if hint == facts_module.Condition:
        return {"$ref": "#/$defs/condition"}
    if hint == facts_module.Value:
        return {"type": ["string", "integer", "array"]}
    if origin in (types.UnionType, typing.Union):
        inner = [part for part in arguments if part is not type(None)]
        if set(inner) == set(get_args(facts_module.Condition)):
            return {"anyOf": [{"$ref": "#/$defs/condition"}, {"type": "null"}]}
        if set(inner) == set(get_args(facts_module.Value)):
            return {"type": ["string", "integer", "array", "null"]}
        options = [_schema(part, extra) for part in inner]
        return {"anyOf": [*options, {"type": "null"}]} if type(None) in arguments else {"anyOf": options}
    if origin is typing.Literal:
        return {"enum": list(arguments)}
    if origin is tuple:
        if arguments[-1] is Ellipsis:
            return {"type": "array", "items": _schema(arguments[0], extra)}
        return {"type": "array", "prefixItems": [_schema(part, extra) for part in arguments],
                "minItems": len(arguments), "maxItems": len(arguments)}  # fmt: skip
    if origin is not None and issubclass(origin, Mapping):
        return {"type": "object", "additionalProperties": _schema(arguments[1], extra)}
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        return _object(hint)
    simple: dict[Any, dict[str, Any]] = {
        str: {"type": "string", "minLength": 1}, int: {"type": "integer"}, float: {"type": "number"},
        bool: {"type": "boolean"}, date: {"type": "string", "format": "date"}, Any: {},
        Decimal: DECIMAL_SCHEMA,
    }  # fmt: skip
    return {**simple[hint], **extra}


def build(cls: type, data: Mapping[str, Any]) -> Any:
    """Make a record from data that passed `schema_for(cls)`. Values inside conditions stay as written."""
    return cls(**{key: _value(hints(cls)[key], value) for key, value in data.items()})


def _value(hint: Any, value: Any) -> Any:
    origin, arguments = get_origin(hint), get_args(hint)
    if value is None:
        return None
    if hint == facts_module.Condition:
        return condition(value)
    if hint == facts_module.Value:
        return tuple(value) if isinstance(value, list) else value
    if origin in (types.UnionType, typing.Union):
        inner = [part for part in arguments if part is not type(None)]
        if set(inner) == set(get_args(facts_module.Condition)):
            return condition(value)
        if set(inner) == set(get_args(facts_module.Value)):
            return tuple(value) if isinstance(value, list) else value
        return _value(inner[0], value) if len(inner) == 1 else value
    if origin is tuple:
        items = [arguments[0]] * len(value) if arguments[-1] is Ellipsis else arguments
        return tuple(_value(item_hint, item) for item_hint, item in zip(items, value, strict=True))
    if origin is not None and origin is not typing.Literal and issubclass(origin, Mapping):
        return {key: _value(arguments[1], item) for key, item in value.items()}
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        return build(hint, value)
    if hint is Decimal:
        return Decimal(str(value))
    if hint is date:
        return date.fromisoformat(value)
    if hint is float:
        return float(value)
    return value


def condition(data: Mapping[str, Any]) -> facts_module.Condition:
    """A condition from its data form; shape already checked."""
    if "all" in data:
        return AllOf(tuple(condition(part) for part in data["all"]))
    if "any" in data:
        return AnyOf(tuple(condition(part) for part in data["any"]))
    if "not" in data:
        return NotOf(condition(data["not"]))
    return Comparison(data["fact"], data["op"], data.get("value"))
