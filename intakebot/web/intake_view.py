"""One intake as the front desk sees it. Pure: from what is stored, in the person's language."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from babel.numbers import format_currency

from intakebot.conversation import Conversation
from intakebot.definitions.model import Family
from intakebot.definitions.texts import Texts
from intakebot.records import Authorisation, Case, Event, Message, QuoteRecord
from intakebot.records.case import Photo
from intakebot.web.form_lines import (
    FormGroup,
    FormLine,
    derived_lines,
    fact_label,
    form_groups,
    unpicked_lines,
)
from intakebot.web.talk_view import Said, said


@dataclass(frozen=True)
class QuoteLine:
    """One estimate of the history."""

    number: int
    issued_at: datetime
    state: str
    maximum: str


@dataclass(frozen=True)
class ConsentLine:
    """One decision: who, when, how, about which estimate, how much, and the words they saw."""

    at: datetime
    by: str
    channel: str
    decision: str
    quote_number: int
    amount: str
    text_shown: str


@dataclass(frozen=True)
class HandOver:
    """Why a person was asked for, and what was still open then."""

    at: datetime
    reason: str
    open_questions: tuple[str, ...]


@dataclass(frozen=True)
class LogLine:
    at: datetime
    actor: str
    kind: str
    what: str


@dataclass(frozen=True)
class IntakePage:
    """Everything on the page.

    first_words: how the customer began. may: names of the actions that make
    sense now. hold: why the job stands still, if it does.
    """

    first_words: str
    groups: tuple[FormGroup, ...]
    derived: tuple[FormLine, ...]
    unpicked: tuple[FormLine, ...]
    open_lines: tuple[tuple[str, str], ...]
    talk: tuple[Said, ...]
    photos: tuple[Photo, ...]
    quotes: tuple[QuoteLine, ...]
    consent: tuple[ConsentLine, ...]
    hand_over: HandOver | None
    log: tuple[LogLine, ...]
    may: frozenset[str]
    hold: str


def intake_page(
    case: Case,
    conversation: Conversation,
    family: Family,
    texts: Texts,
    currency: str,
    *,
    messages: Sequence[Message],
    events: Sequence[Event],
    quotes: Sequence[QuoteRecord],
    authorisations: Sequence[Authorisation],
    photos: Sequence[Photo],
    names: Mapping[str, str],
) -> IntakePage:
    """Build the page. names: people of the shop by how the log names them."""
    first = next((message.text for message in messages if message.direction == "in"), "")
    return IntakePage(
        first_words=first,
        groups=form_groups(family, texts, conversation, currency),
        derived=derived_lines(family, texts, conversation, currency),
        unpicked=unpicked_lines(family, texts, conversation, currency),
        open_lines=open_high_stakes(family, texts, conversation),
        talk=tuple(said(message, conversation.locale) for message in messages if message.text),
        photos=tuple(photos),
        quotes=tuple(
            QuoteLine(
                quote.number,
                quote.issued_at,
                quote.state,
                _money(quote.maximum, quote.currency, texts.locale),
            )
            for quote in reversed(quotes)
        ),
        consent=tuple(_consent(entry, texts, names) for entry in authorisations),
        hand_over=_hand_over(events, texts),
        log=tuple(log_line(event, texts, names) for event in reversed(events)),
        may=possible_actions(conversation, case),
        hold=str(case.job.get("hold") or ""),
    )


def open_high_stakes(family: Family, texts: Texts, conversation: Conversation) -> tuple[tuple[str, str], ...]:
    """Facts that cost much when wrong and are not known: (fact id, label)."""
    return tuple(
        (fact.id, fact_label(texts, fact.id))
        for fact in family.facts.values()
        if fact.stake == "high" and not _is_known(conversation, fact.id)
    )


def _is_known(conversation: Conversation, fact_id: str) -> bool:
    entry = conversation.facts.get(fact_id)
    return entry is not None and entry.is_known


def possible_actions(conversation: Conversation, case: Case) -> frozenset[str]:
    """Which actions make sense in this state (the workshop decides again when one is taken)."""
    over = conversation.phase in ("finished", "withdrawn")
    may = {"reply"}
    may.add("give_back" if conversation.floor == "person" else "take")
    if not over:
        may |= {"edit", "hold", "decline"}
    if conversation.phase in ("estimated", "accepted", "shipped", "arrived", "on_bench"):
        may.add("quote")
    if case.job.get("hold"):
        may.add("release")
    if case.index.has_hazard and not case.job.get("cleared"):
        may.add("clear_stop")
    if conversation.phase in ("accepted", "shipped"):
        may.add("arrival")
    return frozenset(may)


def _money(amount: str, currency: str, locale: str) -> str:
    return format_currency(Decimal(amount), currency, locale=locale)


def _consent(entry: Authorisation, texts: Texts, names: Mapping[str, str]) -> ConsentLine:
    amount = _money(entry.limit, entry.currency, texts.locale) if entry.limit else ""
    return ConsentLine(
        entry.at,
        actor_words(entry.by, texts, names),
        entry.channel,
        entry.decision,
        entry.quote_number,
        amount,
        entry.text_shown,
    )


def _hand_over(events: Sequence[Event], texts: Texts) -> HandOver | None:
    """The newest hand-over card, unless the floor was given back since."""
    for event in reversed(events):
        if event.kind == "given_back":
            return None
        if event.kind == "handed_over":
            card = event.body.get("card", event.body)
            questions = tuple(
                texts.say(f"question.{question}")
                for question in card.get("open_questions", ())
                if texts.has(f"question.{question}")
            )
            return HandOver(event.at, str(event.body.get("reason", "")), questions[:8])
    return None


def log_line(event: Event, texts: Texts, names: Mapping[str, str]) -> LogLine:
    """One line of the history; facts by their labels, people by their names."""
    fact = event.body.get("fact")
    what = fact_label(texts, fact) if isinstance(fact, str) else ""
    kind = f"web.event.{event.kind}"
    words = texts.say(kind) if texts.has(kind) else event.kind.replace("_", " ")
    return LogLine(event.at, actor_words(event.actor, texts, names), words, what)


def actor_words(actor: str, texts: Texts, names: Mapping[str, str]) -> str:
    """Who did something, in words."""
    key = f"web.actor.{actor}"
    return names.get(actor) or (texts.say(key) if texts.has(key) else actor)
