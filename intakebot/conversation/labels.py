"""Facts and their values in the words of the conversation's language."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from intakebot.conversation.recap import RecapLine
from intakebot.conversation.state import Conversation, FactEntry
from intakebot.definitions.facts import Value
from intakebot.definitions.model import Fact, Family
from intakebot.definitions.texts import Texts

MAX_SHOWN = 60


def fact_label(texts: Texts, fact: Fact) -> str:
    """Short name of a fact, else its id as words."""
    return texts.say(f"fact.{fact.id}") if texts.has(f"fact.{fact.id}") else fact.id.replace("_", " ")


def value_label(texts: Texts, fact: Fact, value: Value | None, status: str = "confirmed") -> str:
    """A value as the customer would say it. Dates are written the ISO way, amounts plainly; long texts are cut."""
    if value is None:
        return texts.say("talk.declined_value" if status == "declined" else "talk.unknown_value")
    if fact.type in ("choice", "yes_no"):
        return texts.option(fact, value)
    if isinstance(value, tuple):
        if fact.type == "photo":
            return str(len(value))
        return ", ".join(texts.option(fact, item) for item in value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return f"{value:f}"
    shown = str(value)
    return shown if len(shown) <= MAX_SHOWN else shown[: MAX_SHOWN - 3].rstrip() + "..."


def thing(texts: Texts, family: Family, fact_id: str, value: Value | None, status: str = "confirmed") -> str:
    """What is held of one fact, as a person would say it: the line of a checklist that says just this ("Discs do not spin"), a
    fact's name when it is so ("It skips or freezes"), else `label: value`."""
    fact = family.facts[fact_id]
    if value is not None:
        line = _checklist_line(family, fact_id, value)
        if line is not None:
            return texts.say(line)
        if fact.type == "yes_no" and value == "yes":
            return fact_label(texts, fact)
    return texts.say(
        "talk.thing", label=fact_label(texts, fact), value=value_label(texts, fact, value, status)
    )


def _checklist_line(family: Family, fact_id: str, value: Value) -> str | None:
    """Text key of a checklist's choice that sets this fact to this value and nothing else."""
    for question in family.questions.values():
        for choice in question.choices if question.several else ():
            if choice.sets == {fact_id: value}:
                return f"choice.{question.id}.{choice.id}"
    return None


def things(texts: Texts, family: Family, pairs: Iterable[tuple[str, Value | None]], most: int = 3) -> str:
    """Several facts as held, one short sentence each, at most `most` of them; the last one without its full stop."""
    shown = [thing(texts, family, fact, value) for fact, value in pairs if fact in family.facts]
    return ". ".join(shown[:most])


def question_of(family: Family, fact_id: str) -> str | None:
    """Id of the question that fills a fact; the one that fills least else."""
    filling = [question for question in family.questions.values() if fact_id in question.fills]
    return min(filling, key=lambda question: (len(question.fills), question.id)).id if filling else None


def line_of(texts: Texts, family: Family, fact_id: str, entry: FactEntry) -> RecapLine:
    fact = family.facts[fact_id]
    return RecapLine(
        fact=fact_id,
        label=fact_label(texts, fact),
        value=entry.value,
        value_label=value_label(texts, fact, entry.value, entry.status),
        status=entry.status,
        stake=fact.stake,
        source=entry.source,
        question=question_of(family, fact_id),
        personal=fact.personal,
    )


def all_lines(texts: Texts, family: Family, conversation: Conversation) -> tuple[RecapLine, ...]:
    """Every held fact in the order of the family's definitions."""
    return tuple(
        line_of(texts, family, fact_id, conversation.facts[fact_id])
        for fact_id in family.facts
        if fact_id in conversation.facts
    )
