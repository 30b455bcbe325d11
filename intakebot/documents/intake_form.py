"""The structured intake form on paper: what is known, how surely, and what is not."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from decimal import Decimal

from intakebot.definitions.facts import Answer, Answers
from intakebot.definitions.model import Fact, Family
from intakebot.definitions.texts import Texts
from intakebot.definitions.values import value_to_json
from intakebot.packing.wording import day_in_words, locale_in
from intakebot.quoting.money import format_money, rounded
from intakebot.sheets import Section, Sheet, Table

GROUPS = ("safety", "triage", "packing", "price", "contact", "bench")
"""A fact stands in the first group of this order that its purposes name."""


def intake_sheet(
    family: Family,
    answers: Answers,
    texts: Texts,
    *,
    reference: str,
    country: str,
    currency: str | None = None,
    quotes: Mapping[str, str] | None = None,
    derived: Collection[str] = (),
    unpicked: Collection[str] = (),
    personal: bool = True,
) -> Sheet:
    """The intake form, one table a group; facts nobody asked about are counted, not listed.

    Args:
        country, currency: the shop's, for dates and amounts (without a currency amounts are plain numbers).
        quotes: fact id -> the customer's own words it came from.
        derived: facts that nobody said: they follow from other answers. unpicked: those on a list that were not picked.
        personal: False leaves personal facts out (a copy for the bench).
    """
    locale = locale_in(texts.locale, country)
    facts = [fact for fact in family.facts.values() if personal or not fact.personal]
    nobody_said = dict.fromkeys(unpicked, "unpicked") | dict.fromkeys(derived, "derived")
    sections = tuple(
        _group(group, facts, answers, quotes or {}, nobody_said, texts, locale, currency) for group in GROUPS
    )
    unasked = sum(1 for fact in facts if fact.id not in answers and group_of(fact) != "bench")
    return Sheet(
        id="form",
        title=texts.say("documents.form.title"),
        subtitle=texts.say("documents.form.subtitle"),
        reference=reference,
        locale=texts.locale,
        sections=tuple(section for section in sections if not section.is_empty),
        footer=texts.say("documents.form.unasked", count=unasked),
    )


def group_of(fact: Fact) -> str:
    """Personal facts stand with the contact data, whatever else they are for."""
    if fact.personal:
        return "contact"
    return next((group for group in GROUPS if group in fact.purposes), "triage")


def value_in_words(fact: Fact, answer: Answer, texts: Texts, locale: str, currency: str | None) -> str:
    """What is held about a fact, for people: option labels, days with month names, `not known`, `would rather not say`."""
    if answer.value is None:
        return texts.say(f"documents.form.status.{answer.status}")
    value = answer.value
    if fact.type == "date":
        return day_in_words(value, locale)  # type: ignore[arg-type]
    if fact.type == "photo":
        return texts.say("documents.form.photos", count=len(value) if isinstance(value, tuple) else 1)
    if isinstance(value, tuple):
        return ", ".join(texts.option(fact, option) for option in value)
    if fact.type in ("choice", "yes_no"):
        return texts.option(fact, value)
    if currency and isinstance(value, Decimal) and fact.role in ("spending_limit", "device_value"):
        return format_money(rounded(value, currency, "half_up"), locale)
    plain = str(value_to_json(value))
    return f"{plain} {fact.unit}" if fact.unit else plain


def _group(
    group: str,
    facts: list[Fact],
    answers: Answers,
    quotes: Mapping[str, str],
    nobody_said: Mapping[str, str],
    texts: Texts,
    locale: str,
    currency: str | None,
) -> Section:
    shown = [fact for fact in facts if fact.id in answers and group_of(fact) == group]
    title = texts.say(f"documents.form.group.{group}")
    if not shown:
        return Section(group, title)
    with_words = any(quotes.get(fact.id) for fact in shown)
    names = ("fact", "value", "how", "words") if with_words else ("fact", "value", "how")
    rows = []
    for fact in shown:
        answer = answers[fact.id]
        cells = (
            texts.say(f"fact.{fact.id}"),
            value_in_words(fact, answer, texts, locale, currency),
            _certainty(answer, nobody_said.get(fact.id), texts),
        )
        rows.append((*cells, quotes.get(fact.id, "")) if with_words else cells)
    columns = tuple(texts.say(f"documents.form.column.{name}") for name in names)
    shares = (0.27, 0.33, 0.2, 0.2) if with_words else (0.27, 0.41, 0.32)
    return Section(group, title, tables=(Table(columns, tuple(rows), shares=shares),))


def _certainty(answer: Answer, unsaid: str | None, texts: Texts) -> str:
    """In words, never by a sign or colour: confirmed, heard, on a list and not picked, worked out from other answers; nothing for
    what is not known. unsaid: which of the last two, if one."""
    if answer.value is None:
        return ""
    if unsaid is not None:
        return texts.say(f"documents.form.status.{unsaid}")
    confirmed = answer.status == "confirmed" and answer.certainty >= 1
    return texts.say(f"documents.form.status.{'confirmed' if confirmed else 'heard'}")
