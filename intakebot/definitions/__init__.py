"""flows/ and pricing/ as frozen Definitions.

Two passes find every problem at once: *shape* (JSON Schema 2020-12, made from the model's dataclasses) and *meaning*
(one rule a function). Nothing here decides anything about a case.
"""

from intakebot.definitions.facts import ALWAYS, Answer, Answers, Condition, Value, facts_of, holds
from intakebot.definitions.form import form_version, intake_form, intake_form_schema, value_schema
from intakebot.definitions.loader import check, load_definitions, load_files, read_files, version_of
from intakebot.definitions.model import Definitions, Fact, Family, Pricing, Question, RateCard
from intakebot.definitions.problems import Problem
from intakebot.definitions.texts import MissingTextError, Texts
from intakebot.definitions.values import DECLINED, NOT_KNOWN, options_of, parse_value, value_to_json

__all__ = [
    "ALWAYS", "DECLINED", "NOT_KNOWN", "Answer", "Answers", "Condition", "Definitions", "Fact", "Family",
    "MissingTextError", "Pricing", "Problem", "Question", "RateCard", "Texts", "Value", "check", "facts_of",
    "form_version", "holds", "intake_form", "intake_form_schema", "load_definitions", "load_files", "options_of",
    "parse_value", "read_files", "value_schema", "value_to_json", "version_of",
]  # fmt: skip
