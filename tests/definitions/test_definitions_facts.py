"""Conditions in three values, fact values in and out, the form and its schema."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from jsonschema import Draft202012Validator

from intakebot.definitions import (
    Answer,
    Texts,
    holds,
    intake_form,
    intake_form_schema,
    parse_value,
    value_to_json,
)
from intakebot.definitions.facts import AllOf, AnyOf, Comparison, NotOf, facts_of
from intakebot.definitions.model import Fact
from intakebot.errors import BadInputError

YES = Comparison("a", "=", "yes")
OPEN = Comparison("missing", "=", "yes")
ANSWERS = {"a": Answer("yes"), "n": Answer(7), "m": Answer(("red", "blue")), "u": Answer(None, "not_known")}


@pytest.mark.parametrize(
    ("condition", "expected"),
    [
        pytest.param(YES, True, id="equal"),
        pytest.param(Comparison("a", "!=", "yes"), False, id="not-equal"),
        pytest.param(OPEN, None, id="unanswered-is-unknown"),
        pytest.param(Comparison("u", "=", "yes"), None, id="not-known-is-unknown"),
        pytest.param(Comparison("u", "exists"), False, id="not-known-does-not-exist"),
        pytest.param(Comparison("a", "exists", False), False, id="exists-turned-round"),
        pytest.param(Comparison("n", ">=", 7), True, id="at-least"),
        pytest.param(Comparison("n", "<", 7), False, id="less"),
        pytest.param(Comparison("m", "=", "red"), True, id="choices-contain"),
        pytest.param(Comparison("m", "!=", "green"), True, id="choices-lack"),
        # Kleene 1938: unknown and false is false; unknown and true is unknown; unknown or true is true
        pytest.param(AllOf((OPEN, NotOf(YES))), False, id="unknown-and-false"),
        pytest.param(AllOf((OPEN, YES)), None, id="unknown-and-true"),
        pytest.param(AnyOf((OPEN, YES)), True, id="unknown-or-true"),
        pytest.param(AnyOf((OPEN, NotOf(YES))), None, id="unknown-or-false"),
        pytest.param(NotOf(OPEN), None, id="not-unknown"),
        pytest.param(AllOf(()), True, id="nothing-asked-for"),
    ],
)
def test_conditions_follow_three_valued_logic(condition, expected):
    assert holds(condition, ANSWERS) is expected


def test_facts_of_a_condition_are_all_it_looks_at():
    assert facts_of(AllOf((YES, NotOf(AnyOf((OPEN,)))))) == {"a", "missing"}


def fact(kind: str, **more: object) -> Fact:
    return Fact("f", kind, more.pop("options", ()), ("triage",), "low", **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("kind", "raw", "value"),
    [
        pytest.param(fact("yes_no"), "yes", "yes", id="yes"),
        pytest.param(fact("yes_no"), True, "yes", id="json-true"),
        pytest.param(fact("choice", options=("x", "y")), "y", "y", id="choice"),
        pytest.param(
            fact("choices", options=("x", "y")), ["y", "x"], ("x", "y"), id="choices-in-their-order"
        ),
        pytest.param(fact("text"), "  a\u200bb\u202ec ", "abc", id="text-without-invisible-marks"),
        pytest.param(fact("date"), "2028-02-29", date(2028, 2, 29), id="leap-day"),
        pytest.param(fact("count"), "12", 12, id="count-from-a-form"),
        pytest.param(fact("amount"), "89.50", Decimal("89.50"), id="amount"),
    ],
)
def test_values_are_parsed_and_go_back_to_json(kind: Fact, raw, value):
    parsed = parse_value(kind, raw)

    assert parsed == value
    assert parse_value(kind, value_to_json(parsed)) == value


@pytest.mark.parametrize(
    ("kind", "raw"),
    [
        pytest.param(fact("yes_no"), "maybe", id="word"),
        pytest.param(fact("yes_no"), 1, id="number-for-yes"),
        pytest.param(fact("choice", options=("x", "y")), ["x"], id="list-for-choice"),
        pytest.param(fact("choices", options=("x", "y")), ["z"], id="unknown-choice"),
        pytest.param(fact("text"), "\u200b\u202e", id="invisible-text"),
        pytest.param(fact("text", max_length=3), "abcd", id="too-long"),
        pytest.param(fact("count"), "9" * 5000, id="5000-digits"),
        pytest.param(fact("count"), 10**5000, id="5000-digit-number"),
        pytest.param(fact("count"), "\u0663", id="other-digits"),
        pytest.param(fact("count"), -1, id="negative"),
        pytest.param(fact("amount"), "1e9", id="exponent"),
        pytest.param(fact("amount"), "NaN", id="nan"),
        pytest.param(fact("amount", maximum=Decimal(100)), "100.01", id="over-maximum"),
        pytest.param(fact("date"), "2026-02-30", id="no-such-day"),
    ],
)
def test_bad_values_name_the_fact_and_what_was_expected(kind: Fact, raw):
    with pytest.raises(BadInputError) as caught:
        parse_value(kind, raw)

    assert caught.value.where == "f"
    assert len(str(caught.value)) < 400


# JSON Schema Test Suite (MIT), draft2020-12/optional/format/date.json: a selection of its strings, as facts.
@pytest.mark.parametrize(
    ("text", "valid"),
    [("1963-06-19", True), ("2020-01-31", True), ("2020-01-32", False), ("2021-02-28", True), ("2021-02-29", False),
     ("2020-02-29", True), ("2020-04-31", False), ("06/19/1963", False), ("2013-350", False), ("1998-1-20", False),
     ("1998-01-1", False), ("1998-13-01", False), ("1998-04-31", False), ("1963-06-1\u09ea", False), ("20230328", False),
     ("2023-W01", False), ("2023-W13-2", False)],
)  # fmt: skip
def test_dates_agree_with_the_json_schema_test_suite(text: str, valid: bool):
    if valid:
        assert parse_value(fact("date"), text) == date.fromisoformat(text)
    else:
        with pytest.raises(BadInputError):
            parse_value(fact("date"), text)


def test_filled_form_validates_against_its_schema(definitions):
    family = definitions.families["disc_drive"]
    schema = intake_form_schema(family, Texts(definitions, family.id, "en"))
    answers = {"cd_result": Answer("plays"), "age_years": Answer(9, "heard", 0.8), "no_power": Answer(None, "not_known"),
               "spending_limit": Answer(Decimal("80.00"))}  # fmt: skip

    form = intake_form(family, answers)

    Draft202012Validator.check_schema(schema)
    assert list(Draft202012Validator(schema).iter_errors(form)) == []
    assert form["facts"]["age_years"] == {"status": "heard", "value": 9, "certainty": 0.8}


def test_form_with_an_unknown_fact_or_value_does_not_validate(definitions):
    family = definitions.families["disc_drive"]
    validator = Draft202012Validator(intake_form_schema(family, Texts(definitions, family.id, "en")))
    form = intake_form(family, {"cd_result": Answer("plays")})

    wrong_value = {**form, "facts": {"cd_result": {"status": "confirmed", "value": "sings"}}}
    wrong_fact = {**form, "facts": {"colour": {"status": "confirmed", "value": "red"}}}

    assert [validator.is_valid(form), validator.is_valid(wrong_value), validator.is_valid(wrong_fact)] == [
        True,
        False,
        False,
    ]
