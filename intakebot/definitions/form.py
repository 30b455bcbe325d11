"""The intake form: its JSON Schema (made from the facts) and the filled form (made from answers)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from intakebot.definitions.facts import Answers
from intakebot.definitions.model import Fact, Family
from intakebot.definitions.texts import Texts
from intakebot.definitions.values import options_of, value_to_json

STATUSES = ("heard", "confirmed", "not_known", "declined")


def form_version(family: Family) -> str:
    """Name of the form's version, used in its schema's address."""
    return f"{family.id}-{family.version}"


def intake_form_schema(family: Family, texts: Texts, base_url: str = "") -> dict[str, Any]:
    """JSON Schema (2020-12) that a filled intake form of this family validates against."""
    name = form_version(family)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"{base_url}/api/v1/schemas/intake-form/{name}",
        "title": texts.say(family.title_key) if texts.has(family.title_key) else family.id,
        "type": "object",
        "required": ["form", "facts"],
        "additionalProperties": False,
        "properties": {
            "form": {"const": name},
            "facts": {
                "type": "object",
                "additionalProperties": False,
                "properties": {fact.id: _entry(fact, texts) for fact in family.facts.values()},
            },
        },
    }


def intake_form(family: Family, answers: Answers) -> dict[str, Any]:
    """The filled form: every fact with an answer, also `not_known` and `declined`; nothing for the rest."""
    facts: dict[str, Any] = {}
    for fact_id in family.facts:
        answer = answers.get(fact_id)
        if answer is None:
            continue
        entry: dict[str, Any] = {"status": answer.status}
        if answer.value is not None:
            entry["value"] = value_to_json(answer.value)
            entry["certainty"] = round(answer.certainty, 4)
        facts[fact_id] = entry
    return {"form": form_version(family), "facts": facts}


def _entry(fact: Fact, texts: Texts) -> dict[str, Any]:
    held = {
        "required": ["status", "value"],
        "properties": {"status": {"enum": ["heard", "confirmed"]}, "value": value_schema(fact, texts),
                       "certainty": {"type": "number", "exclusiveMinimum": 0, "maximum": 1}},
        "additionalProperties": False,
    }  # fmt: skip
    open_answer = {
        "required": ["status"],
        "properties": {"status": {"enum": ["not_known", "declined"]}},
        "additionalProperties": False,
    }
    label = texts.say(f"fact.{fact.id}") if texts.has(f"fact.{fact.id}") else fact.id
    return {"title": label, "type": "object", "oneOf": [held, open_answer]}


def value_schema(fact: Fact, texts: Texts | None = None) -> dict[str, Any]:
    """JSON Schema of a fact's value."""
    if fact.type in ("choice", "yes_no", "choices"):
        options: Mapping[str, Any]
        if texts is None:
            options = {"enum": list(options_of(fact))}
        else:
            options = {
                "oneOf": [{"const": code, "title": texts.option(fact, code)} for code in options_of(fact)]
            }
        return (
            {"type": "array", "items": options, "uniqueItems": True}
            if fact.type == "choices"
            else dict(options)
        )
    if fact.type == "text":
        return {"type": "string", "minLength": 1, "maxLength": fact.max_length}
    if fact.type == "date":
        return {"type": "string", "format": "date"}
    if fact.type == "photo":
        return {"type": "array", "items": {"type": "string"}, "maxItems": 20}
    if fact.type == "count":
        low = int(fact.minimum) if fact.minimum is not None else 0
        high = int(fact.maximum) if fact.maximum is not None else 1_000_000
        return {"type": "integer", "minimum": low, "maximum": high}
    return {"type": "string", "pattern": r"^-?[0-9]+(\.[0-9]{1,3})?$"}
