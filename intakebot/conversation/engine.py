"""One turn of the talk: `advance(definitions, conversation, event, now) -> Turn`. Same arguments, same bytes.

Guard and clean -> controls on the whole message -> hazards pre-empt -> every fact is read, asked for or not ->
corrections supersede -> ground by stake and doubt -> derived facts anew -> choose -> compose one message with a short
acknowledgement, one question and at most five choices.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta

from intakebot.conversation.ahead import questions_ahead
from intakebot.conversation.assessor import Assessor
from intakebot.conversation.events import (
    ChoiceTaken,
    Event,
    FactsEntered,
    MessageReceived,
    PhotoAdded,
)
from intakebot.conversation.flow import CLOSED, ask_story
from intakebot.conversation.labels import all_lines, things
from intakebot.conversation.late import is_late, take_late_message, take_late_tap
from intakebot.conversation.message import take_message, take_tap
from intakebot.conversation.recap import RecapLine
from intakebot.conversation.shop_side import take_form, take_photo, take_shop_event
from intakebot.conversation.state import Conversation, Pending
from intakebot.conversation.turn import Reply, Turn
from intakebot.conversation.work import Work
from intakebot.definitions.model import Definitions
from intakebot.definitions.texts import Texts
from intakebot.errors import BadInputError
from intakebot.understanding import HeardFact as Understood

LONG_SILENCE = timedelta(hours=24)


def open_conversation(
    definitions: Definitions,
    *,
    conversation_id: str,
    channel: str,
    locale: str,
    now: datetime,
    assessor: Assessor,
    family: str | None = None,
    text: str | None = None,
    message_id: str = "open",
    links: Mapping[str, str] | None = None,
    suggested: tuple[Understood, ...] = (),
    sent_at: datetime | None = None,
) -> Turn:
    """Start a talk: the opener, and, with `text`, the first turn over it in the same answer.

    Args:
        family: id of the family; None takes the first by id. locale: an unknown one falls back to the first shipped.
        suggested, sent_at: about `text`, as in `MessageReceived`.
    Raises: BadInputError for an unknown family.
    """
    family_id = family if family is not None else min(definitions.families)
    if family_id not in definitions.families:
        raise BadInputError("family", family_id, "one of " + ", ".join(sorted(definitions.families)))
    conversation = Conversation(
        id=conversation_id,
        family=family_id,
        definitions_version=definitions.version,
        locale=locale if locale in definitions.locales else definitions.locales[0],
        channel=channel,
        opened_at=now,
        last_in_at=now,
    )
    asked = replace(conversation, pending=Pending("story"))
    if text is None:
        work = Work(definitions, asked, now, assessor, links or {}, message_id)
        _open(work)
        if channel != "sms":
            ask_story(work)
        return work.seal()
    event = MessageReceived(message_id, text, suggested=suggested, sent_at=sent_at)
    first = advance(definitions, asked, event, now, assessor=assessor, links=links)
    work = Work(definitions, first.conversation, now, assessor, links or {}, message_id)
    _open(work)
    replies = (*work.replies, *first.replies)
    spoken = replace(first.conversation, last_replies=tuple(reply.text for reply in replies))
    return Turn(spoken, replies, first.heard, first.effects, first.log)


def _open(work: Work) -> None:
    """The first words: what you get, how long it takes, that it is free, who reads it, and the form."""
    shop, count = work.definitions.pricing.shop.name, questions_ahead(work)
    if work.conversation.channel == "sms":
        text_key = "opener_sms" if work.conversation.messages_in == 0 else "opener_sms_short"
        work.reply(Reply(work.say(text_key, shop=shop, count=count), kind="opener"))
        return
    opener = work.say("opener", shop=shop, count=count)
    if work.links.get("form"):
        opener = f"{opener} {work.say('opener_form', form=work.links['form'])}"
    work.reply(Reply(opener, kind="opener"))


def advance(
    definitions: Definitions,
    conversation: Conversation,
    event: Event,
    now: datetime,
    *,
    assessor: Assessor,
    links: Mapping[str, str] | None = None,
) -> Turn:
    """One event, fully processed.

    Args:
        now: timezone-aware. assessor: see `assessor.Assessor`. links: URLs for texts, keys `form`, `estimate`, `packing`.
    Returns: the new conversation, replies, facts heard, effects to carry out, log lines. An event that the state does not
        allow gives the conversation back unchanged and says nothing.
    Raises: BadInputError only for `FactsEntered` with an unknown fact or a bad value; nothing is changed then.
    """
    work = Work(
        definitions, _migrated(definitions, conversation), now, assessor, links or {}, event.message_id
    )
    if isinstance(event, MessageReceived):
        work.suggested = event.suggested
        late = is_late(work, event.sent_at)
        _arrive(work, event.channel)
        take_late_message(work, event.text) if late else take_message(work, event.text)
    elif isinstance(event, ChoiceTaken):
        late = is_late(work, event.sent_at)
        _arrive(work, event.channel)
        take_late_tap(work, event.value) if late else take_tap(work, event.value)
    elif isinstance(event, FactsEntered):
        take_form(work, event)
    elif isinstance(event, PhotoAdded):
        take_photo(work, event)
    else:
        take_shop_event(work, event)
    return work.seal()


def recap(definitions: Definitions, conversation: Conversation) -> tuple[RecapLine, ...]:
    """Everything held, in the conversation's language and the order of the definitions."""
    texts = Texts(definitions, conversation.family, conversation.locale)
    return all_lines(texts, definitions.families[conversation.family], conversation)


def _migrated(definitions: Definitions, conversation: Conversation) -> Conversation:
    """The conversation under the definitions given: facts and questions that are gone from them are dropped."""
    if conversation.definitions_version == definitions.version:
        return conversation
    family = definitions.families[conversation.family]
    pending = conversation.pending
    gone = pending is not None and (
        (pending.question is not None and pending.question not in family.questions)
        or (pending.fact is not None and pending.fact not in family.facts)
    )
    return replace(
        conversation,
        definitions_version=definitions.version,
        facts={fact: entry for fact, entry in conversation.facts.items() if fact in family.facts},
        asked=tuple(question for question in conversation.asked if question in family.questions),
        skipped=tuple(question for question in conversation.skipped if question in family.questions),
        lists=tuple(each for each in conversation.lists if each.question in family.questions),
        proposals=tuple(p for p in conversation.proposals if p.fact in family.facts),
        pending=None if gone else pending,
    )


def _arrive(work: Work, channel: str | None) -> None:
    """Count the message; after a long silence say what is known first."""
    conversation = work.conversation
    away = work.now - conversation.last_in_at > LONG_SILENCE and conversation.messages_in > 0
    work.change(
        messages_in=conversation.messages_in + 1,
        last_in_at=work.now,
        channel=channel or conversation.channel,
    )
    work.note("message_in", message_id=work.message_id)
    if away and conversation.floor != "person" and conversation.phase not in CLOSED:
        work.acks.append(_welcome_back(work))
        work.note("resumed", after_hours=int((work.now - conversation.last_in_at).total_seconds() // 3600))


def _welcome_back(work: Work) -> str:
    weighty = [
        (fact_id, work.facts[fact_id].value)
        for stake in ("high", "medium")
        for fact_id, fact in work.family.facts.items()
        if fact.stake == stake
        and fact_id in work.facts
        and work.facts[fact_id].is_known
        and not fact.personal
        and work.facts[fact_id].source not in ("derived", "unpicked")
        and fact.role != "hazard"
    ]
    shown = things(work.texts, work.family, weighty, most=4)
    return work.say("resumed", things=shown) if shown else work.say("resumed_bare")
