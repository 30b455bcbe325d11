"""What the talk page shows: pure, from the stored messages and the conversation."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from intakebot.conversation import Conversation
from intakebot.conversation.checklist import listed_facts
from intakebot.definitions.checklists import NONE, NOT_SURE, listable
from intakebot.definitions.model import Definitions, Family
from intakebot.definitions.texts import Texts
from intakebot.records import Message
from intakebot.web.form_lines import (
    FactField,
    FormGroup,
    FormLine,
    contact_fields,
    derived_lines,
    form_groups,
    unpicked_lines,
)

SHOWN_OPENLY = 8
MINUTES_PER_QUESTION = 0.4
"""Reading, thinking, tapping (common practice, no source)."""


@dataclass(frozen=True)
class Said:
    """One message of the talk. who: customer, shop (the engine) or person (somebody of the shop)."""

    seq: int
    who: Literal["customer", "shop", "person"]
    words: str
    kind: str
    lang: str
    at: datetime


@dataclass(frozen=True)
class TappableChoice:
    """alone: of a list, an answer that stands by itself (none of these, not sure)."""

    label: str
    value: str
    alone: bool = False


PICKED = "picked"
"""Value of the button that sends the ticked choices of a list."""


def joined_picks(values: Sequence[str]) -> str | None:
    """The ticked choices as one choice, `question:id+id`; None when nothing was ticked."""
    question = values[0].partition(":")[0] if values else ""
    picks = [value.partition(":")[2] for value in values if value.partition(":")[0] == question]
    return f"{question}:{'+'.join(picks)}" if picks else None


def without_none(values: Sequence[str]) -> list[str]:
    """The ticked choices; "none of these" counts only alone."""
    real = [value for value in values if value.partition(":")[2] != NONE]
    return real or list(values)


@dataclass(frozen=True)
class Tick:
    """A choice to tick before the talk begins."""

    value: str
    label: str
    ticked: bool


@dataclass(frozen=True)
class Ticks:
    """The safety list below the box for the first words: its question, its choices, "none of these" last."""

    question: str
    choices: tuple[Tick, ...]


def safety_ticks(definitions: Definitions, locale: str, ticked: Sequence[str]) -> Ticks | None:
    """The first family's safety list, so that it is answered together with the first words; None when it has none."""
    family = definitions.families[min(definitions.families)]
    texts = Texts(definitions, family.id, locale)
    lists = (each for each in family.questions.values() if each.tier == "safety" and each.several)
    question = next(lists, None)
    if question is None:
        return None
    labels = {
        f"{question.id}:{choice.id}": texts.say(f"choice.{question.id}.{choice.id}")
        for choice in listable(question, {})
    }
    labels[f"{question.id}:{NONE}"] = texts.say("talk.choice.none")
    asked = f"{texts.say(f'question.{question.id}')} {texts.say('talk.pick_all')}"
    return Ticks(asked, tuple(Tick(value, label, value in ticked) for value, label in labels.items()))


@dataclass(frozen=True)
class TalkPage:
    """The talk and the form beside it.

    earlier: messages folded away; recent: the newest ones, oldest first. choices: what can be tapped now;
    several: they are a list of which any may be ticked.
    groups: the form as said; derived: what follows from it; unpicked: what was listed and not
    picked. contact: the fields for name and address, while they are asked for.
    still_open: about how many questions are left (0: not known or none), in about so many `minutes`.
    """

    earlier: tuple[Said, ...]
    recent: tuple[Said, ...]
    choices: tuple[TappableChoice, ...]
    several: bool
    groups: tuple[FormGroup, ...]
    derived: tuple[FormLine, ...]
    unpicked: tuple[FormLine, ...]
    contact: tuple[FactField, ...]
    known: int
    still_open: int
    minutes: int
    has_estimate: bool
    is_over: bool
    with_person: bool


def said(message: Message, fallback_lang: str) -> Said:
    """A stored message as shown."""
    who: Literal["customer", "shop", "person"] = "shop"
    kind = str(message.body.get("kind", "")) if isinstance(message.body, Mapping) else ""
    if message.direction == "in":
        who = "customer"
    elif message.direction == "staff" or kind == "staff":
        who = "person"
    return Said(message.seq, who, message.text, kind, message.locale or fallback_lang, message.at)


def open_choices(conversation: Conversation) -> tuple[TappableChoice, ...]:
    """What can be tapped now: the choices that came with the open question; none while a person has the floor."""
    if conversation.pending is None or conversation.floor == "person":
        return ()
    return tuple(
        TappableChoice(label, value, value.endswith((f":{NONE}", f":{NOT_SURE}")))
        for value, label in conversation.pending.offered
    )


def talk_page(
    family: Family,
    texts: Texts,
    conversation: Conversation,
    messages: Sequence[Message],
    currency: str,
    still_open: int = 0,
) -> TalkPage:
    """Build the page. messages: the whole talk or its newest part, oldest first."""
    talk = tuple(said(message, conversation.locale) for message in messages if message.text)
    pending = conversation.pending
    question = family.questions.get(pending.question or "") if pending else None
    asked = listed_facts(pending, question) if question else ()
    last_in = max((message.seq for message in messages if message.direction == "in"), default=0)
    last_id = next((message.message_id for message in messages if message.seq == last_in), None)
    new = [
        fact
        for fact, entry in conversation.facts.items()
        if last_id is not None and entry.message_id == last_id
    ]
    return TalkPage(
        earlier=talk[:-SHOWN_OPENLY],
        recent=talk[-SHOWN_OPENLY:],
        choices=open_choices(conversation),
        several=question is not None and question.several,
        groups=form_groups(family, texts, conversation, currency, open_facts=asked, new=new),
        derived=derived_lines(family, texts, conversation, currency),
        unpicked=unpicked_lines(family, texts, conversation, currency),
        contact=contact_fields(family, texts, conversation) if pending and pending.kind == "contact" else (),
        known=sum(
            1
            for entry in conversation.facts.values()
            if entry.is_known and entry.source not in ("derived", "unpicked")
        ),
        still_open=still_open,
        minutes=max(1, round(still_open * MINUTES_PER_QUESTION)),
        has_estimate=conversation.phase != "open",
        is_over=conversation.phase in ("declined", "withdrawn", "finished"),
        with_person=conversation.floor == "person",
    )
