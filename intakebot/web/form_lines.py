"""The intake form as lines to read and as fields to fill in: pure, from a conversation and its family.

Certainty is said in words and drawn as a line: solid = confirmed, dotted = heard or derived, open = not known.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, Literal

from babel.dates import format_date
from babel.numbers import format_decimal

from intakebot.conversation import Conversation
from intakebot.conversation.state import FactEntry
from intakebot.definitions.facts import Value
from intakebot.definitions.model import Fact, Family
from intakebot.definitions.texts import Texts
from intakebot.definitions.values import DECLINED, NOT_KNOWN, options_of

Certainty = Literal["confirmed", "heard", "derived", "not_known", "declined", "open"]

GROUPS = ("device", "symptoms", "discs", "tried", "parts", "safety", "price", "packing", "contact", "bench")
_BY_ROLE = {
    "device_kind": "device", "loading": "device", "model_name": "device", "serial": "device", "age_years": "device",
    "disc_result": "discs", "stuck_disc": "discs", "stuck_disc_class": "discs", "stuck_disc_title": "discs",
    "stuck_disc_wanted": "discs", "attempt": "tried", "attempt_outcome": "tried", "part_place": "parts",
    "part_candidates": "parts", "hazard": "safety", "photos": "packing",
}  # fmt: skip
_BY_PURPOSE = {
    "safety": "safety",
    "triage": "symptoms",
    "price": "price",
    "packing": "packing",
    "contact": "contact",
    "bench": "bench",
}
_AUTOCOMPLETE = {
    "name": "name",
    "email": "email",
    "phone": "tel",
    "address": "street-address",
    "postcode": "postal-code",
    "country": "country",
}


@dataclass(frozen=True)
class FormLine:
    """One line of the form as it stands.

    certainty_words: the same as `certainty`, in words. origin: where it came from, in words. quote: the words heard.
    is_new: it changed in the last turn.
    """

    fact: str
    label: str
    value: str
    certainty: Certainty
    certainty_words: str
    origin: str
    quote: str
    is_new: bool = False


@dataclass(frozen=True)
class FormGroup:
    id: str
    title: str
    lines: tuple[FormLine, ...]


@dataclass(frozen=True)
class Option:
    value: str
    label: str
    chosen: bool


@dataclass(frozen=True)
class FactField:
    """A control for one fact. control: radio, checkbox, select, long, or an input's type."""

    fact: str
    name: str
    label: str
    control: str
    value: str = ""
    hint: str = ""
    options: tuple[Option, ...] = ()
    inputmode: str = ""
    autocomplete: str = ""
    max_length: int = 0


@dataclass(frozen=True)
class FieldGroup:
    id: str
    title: str
    fields: tuple[FactField, ...]


@dataclass(frozen=True)
class Submitted:
    """What a filled form says, compared with what was held: only changes."""

    facts: Mapping[str, Any] = field(default_factory=dict)
    declined: tuple[str, ...] = ()
    cleared: tuple[str, ...] = ()

    @property
    def is_empty(self) -> bool:
        return not (self.facts or self.declined or self.cleared)


def group_of(fact: Fact) -> str:
    """The heading a fact stands under."""
    if fact.role in _BY_ROLE:
        return _BY_ROLE[fact.role]
    return _BY_PURPOSE[fact.purposes[0]] if fact.purposes else "symptoms"


def fact_label(texts: Texts, fact_id: str) -> str:
    """A fact's short label."""
    return texts.say(f"fact.{fact_id}") if texts.has(f"fact.{fact_id}") else fact_id.replace("_", " ")


def value_words(texts: Texts, fact: Fact, value: Value, currency: str) -> str:
    """A value as people read it."""
    if fact.type in ("choice", "yes_no"):
        return texts.option(fact, value)
    if fact.type == "photo" and isinstance(value, tuple):
        return texts.say("web.form.photos", count=len(value))
    if isinstance(value, tuple):
        return ", ".join(texts.option(fact, item) for item in value)
    if isinstance(value, Decimal):
        unit = currency if fact.unit in (None, "money", "currency", currency) else fact.unit
        return f"{format_decimal(value, locale=texts.locale)} {unit}"
    if isinstance(value, date):
        return format_date(value, "d MMMM y", locale=texts.locale)
    return f"{value} {fact.unit}" if isinstance(value, int) and fact.unit else str(value)


def form_groups(
    family: Family,
    texts: Texts,
    conversation: Conversation,
    currency: str,
    open_facts: Sequence[str] = (),
    new: Iterable[str] = (),
) -> tuple[FormGroup, ...]:
    """The lines somebody said, and those of `open_facts` still open, under their headings, in the family's order.

    What was only left unpicked on a list is apart (`unpicked_lines`), but a hazard always stands here.
    """
    changed, wanted = frozenset(new), frozenset(open_facts)
    groups: dict[str, list[FormLine]] = {group: [] for group in GROUPS}
    for fact in family.facts.values():
        entry = conversation.facts.get(fact.id)
        if (entry is None and fact.id in wanted) or (entry is not None and not _is_apart(fact, entry)):
            groups[group_of(fact)].append(line_of(texts, fact, entry, currency, fact.id in changed))
    return tuple(
        FormGroup(group, texts.say(f"web.form.group.{group}"), tuple(lines))
        for group, lines in groups.items()
        if lines
    )


def _is_apart(fact: Fact, entry: FactEntry) -> bool:
    return entry.source == "derived" or (entry.is_unpicked and fact.role != "hazard")


def derived_lines(
    family: Family, texts: Texts, conversation: Conversation, currency: str
) -> tuple[FormLine, ...]:
    """The lines that follow from others."""
    return tuple(
        line_of(texts, family.facts[fact], entry, currency)
        for fact, entry in _apart(family, conversation)
        if entry.source == "derived"
    )


def unpicked_lines(
    family: Family, texts: Texts, conversation: Conversation, currency: str
) -> tuple[FormLine, ...]:
    """The lines that were listed and not picked, while others were."""
    return tuple(
        line_of(texts, family.facts[fact], entry, currency)
        for fact, entry in _apart(family, conversation)
        if entry.source != "derived"
    )


def _apart(family: Family, conversation: Conversation) -> list[tuple[str, FactEntry]]:
    held = ((fact, conversation.facts.get(fact.id)) for fact in family.facts.values())
    return [(fact.id, entry) for fact, entry in held if entry is not None and _is_apart(fact, entry)]


def line_of(
    texts: Texts, fact: Fact, entry: FactEntry | None, currency: str, is_new: bool = False
) -> FormLine:
    """One line, with where it came from."""
    label = fact_label(texts, fact.id)
    if entry is None:
        words = texts.say("web.certainty.open")
        return FormLine(fact.id, label, words, "open", words, "", "", is_new)
    certainty: Certainty = "derived" if entry.source == "derived" else entry.status
    words = texts.say(f"web.certainty.{'unpicked' if entry.is_unpicked else certainty}")
    value = words if entry.value is None else value_words(texts, fact, entry.value, currency)
    return FormLine(fact.id, label, value, certainty, words, _origin(texts, entry), entry.quote, is_new)


def _origin(texts: Texts, entry: FactEntry) -> str:
    if entry.source == "derived":
        because = ", ".join(fact_label(texts, fact) for fact in entry.because_of)
        return texts.say("web.origin.derived", facts=because)
    key = "verified" if entry.verified else entry.source
    return texts.say(f"web.origin.{key}", day=format_date(entry.at.date(), "d MMM", locale=texts.locale))


def field_groups(
    family: Family, texts: Texts, conversation: Conversation, groups: Sequence[str]
) -> tuple[FieldGroup, ...]:
    """The one-page form: a control for every fact a person is asked, under the wanted headings.

    Photos are sent separately; facts that only follow from others have no control of their own.
    """
    asked = asked_facts(family)
    facts = [fact for fact in family.facts.values() if fact.id in asked and fact.type != "photo"]
    found = []
    for group in groups:
        fields = tuple(
            field_for(texts, fact, conversation.facts.get(fact.id))
            for fact in facts
            if group_of(fact) == group
        )
        if fields:
            found.append(FieldGroup(group, texts.say(f"web.form.group.{group}"), fields))
    return tuple(found)


def asked_facts(family: Family) -> frozenset[str]:
    """Facts that some question fills, and those of the contact, price and packing parts."""
    filled = {fact for question in family.questions.values() for fact in question.fills}
    filled |= {
        fact for question in family.questions.values() for choice in question.choices for fact in choice.sets
    }
    later = {
        fact.id for fact in family.facts.values() if {"contact", "price", "packing"} & set(fact.purposes)
    }
    return frozenset(filled | later)


def contact_fields(family: Family, texts: Texts, conversation: Conversation) -> tuple[FactField, ...]:
    """Name, reach and address on one small form."""
    facts = [fact for fact in family.facts.values() if fact.role in _AUTOCOMPLETE]
    return tuple(field_for(texts, fact, conversation.facts.get(fact.id)) for fact in facts)


def field_for(texts: Texts, fact: Fact, entry: FactEntry | None) -> FactField:
    """The control for one fact, holding what is held."""
    name, label, held = f"fact.{fact.id}", fact_label(texts, fact.id), _held_code(entry)
    if fact.type == "choices":
        chosen = entry.value if entry is not None and isinstance(entry.value, tuple) else ()
        options = [Option(code, texts.option(fact, code), code in chosen) for code in options_of(fact)]
        options.append(Option(NOT_KNOWN, texts.say("web.form.not_sure"), held == NOT_KNOWN))
        return FactField(fact.id, name, label, "checkbox", options=tuple(options))
    if fact.type in ("choice", "yes_no"):
        options = [Option("", texts.say("web.form.no_answer"), held == "")] if fact.type == "choice" else []
        options += [Option(code, texts.option(fact, code), held == code) for code in options_of(fact)]
        options.append(Option(NOT_KNOWN, texts.say("web.form.not_sure"), held == NOT_KNOWN))
        options.append(Option(DECLINED, texts.say("web.form.rather_not"), held == DECLINED))
        return FactField(
            fact.id, name, label, "select" if fact.type == "choice" else "radio", options=tuple(options)
        )
    value = "" if entry is None or entry.value is None else str(entry.value)
    if fact.type == "text":
        kind = {"email": "email", "phone": "tel"}.get(str(fact.role), "text")
        control = "long" if fact.role in ("address", "story") or fact.max_length > 300 else kind
        return FactField(
            fact.id,
            name,
            label,
            control,
            value,
            autocomplete=_AUTOCOMPLETE.get(str(fact.role), ""),
            max_length=fact.max_length,
        )
    if fact.type == "date":
        return FactField(fact.id, name, label, "date", value)
    mode = "numeric" if fact.type == "count" else "decimal"
    return FactField(fact.id, name, label, "text", value, hint=fact.unit or "", inputmode=mode, max_length=16)


def _held_code(entry: FactEntry | None) -> str:
    if entry is None:
        return ""
    if entry.value is None:
        return DECLINED if entry.status == "declined" else NOT_KNOWN
    return str(entry.value)


def read_form(
    facts: Iterable[Fact],
    conversation: Conversation,
    sent: Mapping[str, Sequence[str]],
    confirm: bool = False,
) -> Submitted:
    """Compare a sent form with what is held.

    sent: control name -> values. A control left empty clears what was held; an unchanged one says nothing, unless
    `confirm` (a single fact edited on purpose: the same value is a confirmation).
    """
    changed: dict[str, Any] = {}
    declined, cleared = [], []
    for fact in facts:
        entry, values = (
            conversation.facts.get(fact.id),
            [value.strip() for value in sent.get(f"fact.{fact.id}", ())],
        )
        values = [value for value in values if value]
        if not values:
            if entry is not None and entry.source != "derived" and f"shown.{fact.id}" in sent:
                cleared.append(fact.id)
        elif DECLINED in values:
            declined += [fact.id] if _held_code(entry) != DECLINED or confirm else []
        elif NOT_KNOWN in values and fact.type != "text":
            changed |= {fact.id: None} if _held_code(entry) != NOT_KNOWN or confirm else {}
        elif confirm or _differs(fact, entry, values):
            changed[fact.id] = values if fact.type == "choices" else values[0]
    return Submitted(changed, tuple(declined), tuple(cleared))


def _differs(fact: Fact, entry: FactEntry | None, values: list[str]) -> bool:
    if entry is None or entry.value is None:
        return True
    if fact.type == "choices" and isinstance(entry.value, tuple):
        return set(values) != set(entry.value)
    return "\n".join(values[0].splitlines()) != str(entry.value)
