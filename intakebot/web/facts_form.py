"""Reading fact controls from the request, with a plain sentence for each one that cannot be used."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from flask import request

from intakebot.conversation import Conversation
from intakebot.definitions.model import Fact
from intakebot.definitions.values import parse_value
from intakebot.errors import BadInputError
from intakebot.web import words
from intakebot.web.form_lines import Submitted, read_form


def read(
    facts: Iterable[Fact], conversation: Conversation, confirm: bool = False
) -> tuple[Submitted, dict[str, str]]:
    """What the form changes, and a sentence by fact id for what cannot be used (left out of the changes)."""
    facts = tuple(facts)
    sent = read_form(
        facts, conversation, {name: request.form.getlist(name) for name in request.form}, confirm
    )
    problems = {}
    for fact in facts:
        if sent.facts.get(fact.id) is None:
            continue
        try:
            parse_value(fact, sent.facts[fact.id])
        except BadInputError:
            problems[fact.id] = words.say(
                f"web.form.problem.{fact.type}",
                low=fact.minimum or 0,
                high=fact.maximum or "",
                most=fact.max_length,
            )
    return replace(
        sent, facts={fact: value for fact, value in sent.facts.items() if fact not in problems}
    ), problems
