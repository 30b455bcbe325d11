"""One turn of the talk: `advance(definitions, conversation, event, now) -> Turn`. Same arguments, same bytes.

Guard and clean -> controls on the whole message -> hazards pre-empt -> every fact is read, asked for or not ->
corrections supersede -> ground by stake and doubt -> derived facts anew -> choose -> compose one message with a short
acknowledgement, one question and at most five choices.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta

from intakebot.conversation.asking import flush, show_recap
from intakebot.conversation.assessor import Assessor
from intakebot.conversation.choices import agree, enter_choice, picked_with_rest, take_choice
from intakebot.conversation.choosing import questions_ahead
from intakebot.conversation.contact import check_contact, read_contact, role_fact
from intakebot.conversation.controls import Control, control_of, is_angry
from intakebot.conversation.editing import enter_facts
from intakebot.conversation.entering import derive, enter
from intakebot.conversation.events import (
    ChoiceTaken,
    EstimateDecided,
    EstimateRevised,
    Event,
    FactsEntered,
    GivenBack,
    MessageReceived,
    PhaseMoved,
    PhotoAdded,
    StaffReplied,
    TakenOver,
)
from intakebot.conversation.flow import CLOSED, ask_decision, ask_story, go_on, reask
from intakebot.conversation.guard import is_empty, key, readable
from intakebot.conversation.handing import hand_off, hours
from intakebot.conversation.labels import all_lines, things
from intakebot.conversation.reading import Understood, question_of, read
from intakebot.conversation.recap import RecapLine
from intakebot.conversation.safety import lift, preempt, review
from intakebot.conversation.state import Conversation, Pending
from intakebot.conversation.steering import (
    ALWAYS_HEARD,
    ASIDE,
    PUSH_CHANNELS,
    applies,
    opt_in,
    restore,
    resume,
    say_both_languages,
    steer,
)
from intakebot.conversation.turn import FloorReturned, MakeEstimate, Reply, StaffToSee, Turn
from intakebot.conversation.work import Work
from intakebot.definitions.model import Definitions
from intakebot.definitions.texts import Texts
from intakebot.errors import BadInputError

LONG_SILENCE = timedelta(hours=24)
MOST_MISSES = 3
MOST_ANGER = 2
STORY_CHARACTERS = 500


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
) -> Turn:
    """Start a talk: the opener, and, with `text`, the first turn over it in the same answer.

    Args:
        family: id of the family; None takes the first by id. locale: an unknown one falls back to the first shipped.
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
    work = Work(definitions, conversation, now, assessor, links or {}, message_id)
    shop, count = definitions.pricing.shop.name, questions_ahead(work.family, work)
    if channel == "sms":
        work.reply(Reply(work.say("opener_sms", shop=shop, count=count), kind="opener"))
    else:
        opener = work.say("opener", shop=shop, count=count)
        if work.links.get("form"):
            opener = f"{opener} {work.say('opener_form', form=work.links['form'])}"
        work.reply(Reply(opener, kind="opener"))
        if text is None:
            ask_story(work)
    work.change(pending=Pending("story"))
    if text is None:
        return work.seal()
    first = advance(
        definitions,
        work.conversation,
        MessageReceived(message_id, text),
        now,
        assessor=assessor,
        links=links,
    )
    replies = (*work.replies, *first.replies)
    spoken = replace(first.conversation, last_replies=tuple(reply.text for reply in replies))
    return Turn(spoken, replies, first.heard, first.effects, (*work.log, *first.log))


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
        _arrive(work, event.channel)
        _message(work, event.text)
    elif isinstance(event, ChoiceTaken):
        _arrive(work, event.channel)
        _choice(work, event.value)
    elif isinstance(event, FactsEntered):
        _form(work, event)
    elif isinstance(event, PhotoAdded):
        _photo(work, event)
    else:
        _shop_event(work, event)
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
        and work.facts[fact_id].source != "derived"
    ]
    shown = things(work.texts, work.family, weighty, most=4)
    return work.say("resumed", things=shown) if shown else work.say("resumed_bare")


def _message(work: Work, text: str) -> None:
    control = control_of(text, work.words)
    if control is not None and not applies(work, control, key(text)):
        control = None
    if _silenced(work, control is not None and control.name == "start"):
        _listen(work, text)
        return
    if control is not None and (work.conversation.floor != "person" or control.name in ALWAYS_HEARD):
        paused = work.conversation.floor == "paused"
        if paused and control.name == "skip":
            control = Control("resume")
        elif paused and control.name not in ("stop", "pause", "resume"):
            restore_floor(work)
        steer(work, control)
        return
    if work.conversation.floor == "person" and not _answers_aside(work):
        _while_person(work, text)
        return
    if work.conversation.floor == "paused" or work.conversation.pending is None:
        restore_floor(work)
    _content(work, text)


def _answers_aside(work: Work) -> bool:
    """While a person has the floor only a control's own yes/no (erase all?) may be open."""
    pending = work.conversation.pending
    return pending is not None and pending.kind in ASIDE


def _silenced(work: Work, wants_back: bool) -> bool:
    """After an opt-out nothing is sent on a channel where we write first, except the answer to START."""
    return (
        work.conversation.consent == "opted_out"
        and work.conversation.channel in PUSH_CHANNELS
        and not wants_back
    )


def _listen(work: Work, text: str) -> None:
    """Facts still land while nothing may be said."""
    read(work, text)
    derive(work)
    work.acks, work.echoed, work.corrected, work.dropped = [], [], [], []
    work.effects.append(StaffToSee("wrote_after_opt_out"))


def restore_floor(work: Work) -> None:
    """The talk is on again; the question put aside is open again."""
    if work.conversation.floor == "paused":
        work.change(floor="self")
        work.note("resumed")
    if work.conversation.held is not None and work.conversation.pending is None:
        work.change(pending=work.conversation.held, held=None)


def _while_person(work: Work, text: str) -> None:
    """A person has the floor: facts still land, hazards still count, the engine asks nothing."""
    read(work, text)
    derive(work)
    work.change(proposals=())
    work.effects.append(StaffToSee("message"))
    if preempt(work):
        return
    review(work)
    work.acks, work.echoed, work.corrected, work.dropped = [], [], [], []
    if not work.conversation.person_wrote:
        work.reply(Reply(work.say("handover_waiting", hours=hours(work)), kind="handover"))


def _content(work: Work, text: str) -> None:
    if is_empty(text):
        _not_understood(work, "empty")
        return
    pending = work.conversation.pending
    choice, rest = picked_with_rest(pending, text)
    if choice is not None and not rest:
        work.change(misses=0)
        take_choice(work, choice)
        return
    if choice is not None and enter_choice(work, choice):
        work.change(misses=0, pending=None)
        text = rest
    if is_angry(text, work.words):
        work.change(anger=work.conversation.anger + 1)
        _empathise(work)
    _keep_story(work, text)
    if pending is not None and pending.kind == "contact":
        _contact(work, text)
        return
    understood = read(work, text)
    if not understood.anything:
        understood = _read_other_language(work, text, understood)
    derive(work)
    if preempt(work):
        return
    review(work)
    if work.conversation.anger >= MOST_ANGER:
        work.change(anger=0)
        flush(work)
        hand_off(work, "anger")
        return
    if work.conversation.foreign is not None and work.conversation.foreign[1] >= 2:
        _offer_language(work, understood)
        return
    _next(work, understood)


def _next(work: Work, understood: Understood) -> None:
    """Settle what was open with what was heard, then go on."""
    pending = work.conversation.pending
    kind = pending.kind if pending is not None else None
    heard = understood.heard
    if kind not in ("question", "confirm", "change", "story", None) and heard.choice:
        work.change(misses=0)
        take_choice(work, heard.choice)
        return
    if heard.facts or heard.ruled_out or understood.answered:
        work.change(misses=0)
        if understood.answered or kind != "question":
            _shop_helped(work)
            if kind == "recap":
                _recap_corrected(work)
                return
            work.change(pending=None)
        go_on(work)
    elif kind == "recap" and heard.reply in ("yes", "no"):
        agree(work) if heard.reply == "yes" else show_recap(work, again=True)
    elif kind == "decision" and heard.reply in ("yes", "no"):
        take_choice(work, "decision:accept" if heard.reply == "yes" else "decision:decline")
    elif kind is not None and kind.startswith("confirm_") and heard.reply in ("yes", "no"):
        take_choice(work, f"{kind}:{heard.reply}")
    elif understood.anything or kind in ("story", None):
        work.change(pending=None if kind in ("story", None) else pending)
        go_on(work)
    else:
        _not_understood(work, "not_understood")


def _recap_corrected(work: Work) -> None:
    """A correction on the recap is applied, said, and the list shown once more (unless a new question came up)."""
    work.change(pending=None)
    go_on(work)


def _shop_helped(work: Work) -> None:
    """One kind clause a talk when a shop's earlier try is told."""
    told = any(
        work.family.facts[line.fact].role == "attempt" and line.value == "shop"
        for line in work.heard
        if line.fact in work.family.facts
    )
    if told:
        _empathise(work)


def _empathise(work: Work) -> None:
    if not work.conversation.empathy_said:
        work.change(empathy_said=True)
        work.acks.insert(0, work.say("empathy"))


def _keep_story(work: Work, text: str) -> None:
    """The first message with content is kept as the story, in the customer's own words."""
    fact = role_fact(work, "story")
    pending = work.conversation.pending
    if fact is None or fact in work.facts or pending is None or pending.kind != "story":
        return
    words = readable(text).strip()[:STORY_CHARACTERS]
    if words:
        enter(work, fact, words, status="heard", source="text")


def _contact(work: Work, text: str) -> None:
    """Only hazards and contact are read from a contact message; street names are no symptoms."""
    if read_contact(work, readable(text)):
        work.change(misses=0, pending=None)
        check_contact(work)
    else:
        _not_understood(work, "not_understood")


def _read_other_language(work: Work, text: str, first: Understood) -> Understood:
    """Nothing was heard: when the words look like another shipped language, read them as that."""
    locale = _language_of(work, text)
    if locale is None or locale == work.conversation.locale:
        if locale is not None:
            work.change(foreign=None)
        return first
    seen = work.conversation.foreign
    work.change(foreign=(locale, seen[1] + 1 if seen is not None and seen[0] == locale else 1))
    return read(work, text, locale)


def _language_of(work: Work, text: str) -> str | None:
    """The shipped language with most of its everyday words in the text; None when that is not clear."""
    words = set(key(text).split())
    counts = []
    for locale in work.definitions.locales:
        texts = Texts(work.definitions, None, locale)
        everyday = {
            texts.say("control.common_words", index)
            for index in range(texts.wordings("control.common_words"))
        }
        counts.append((len(words & everyday), locale))
    counts.sort(reverse=True)
    if counts[0][0] < 2 or (len(counts) > 1 and counts[0][0] == counts[1][0]):
        return None
    return counts[0][1]


def _offer_language(work: Work, understood: Understood) -> None:
    foreign = work.conversation.foreign
    if understood.answered:
        work.change(pending=None)
    if foreign is not None:
        say_both_languages(work, foreign[0])
        work.change(foreign=(foreign[0], 0))


def _not_understood(work: Work, text_key: str) -> None:
    """Rephrase, then numbered choices, then move on; the third miss in a row goes to a person."""
    pending = work.conversation.pending
    misses = work.conversation.misses + 1
    tries = (pending.tries if pending is not None else 0) + 1
    work.change(misses=misses)
    work.note("not_understood", tries=tries, misses=misses)
    if misses >= MOST_MISSES:
        hand_off(work, "not_understood", text_key="handover_not_understood")
        return
    if pending is not None and pending.kind == "story" and tries >= 2:
        work.change(pending=None)
        work.acks.append(work.say(text_key))
        go_on(work)
    elif pending is not None and pending.kind == "question" and tries >= MOST_MISSES:
        work.change(pending=None, skipped=(*work.conversation.skipped, pending.question or ""))
        work.note("moved_on", question=pending.question)
        work.acks.append(work.say("moved_on"))
        go_on(work)
    else:
        pick = tries >= 2 and pending is not None and bool(pending.offered)
        reask(work, work.say("not_understood_pick" if pick else text_key), tries=tries)


def _choice(work: Work, value: str) -> None:
    if _silenced(work, value == "go_on"):
        return
    if value == "go_on":
        opt_in(work) if work.conversation.consent == "opted_out" else resume(work)
        return
    if work.conversation.floor == "person" and not (_answers_aside(work) and value.startswith("confirm_")):
        take_choice_quietly(work, value)
        return
    if work.conversation.floor == "paused":
        restore_floor(work)
    work.change(misses=0)
    take_choice(work, value[:200])


def take_choice_quietly(work: Work, value: str) -> None:
    """A tap while a person has the floor: the facts land, nothing is asked."""
    before = work.conversation
    take_choice(work, value[:200])
    floor_kept = replace(
        work.conversation, pending=before.pending, held=before.held, asked=before.asked, phase=before.phase
    )
    work.conversation = floor_kept
    work.replies = [reply for reply in work.replies if reply.kind in ("safety", "handover")]
    work.effects = [StaffToSee("choice")]
    if not work.replies and not before.person_wrote:
        work.reply(Reply(work.say("handover_waiting", hours=hours(work)), kind="handover"))


def _form(work: Work, event: FactsEntered) -> None:
    """The one-page form or a staff edit: same facts, same rules, nothing lost on the way between form and talk."""
    enter_facts(work, event)
    derive(work)
    if preempt(work):
        return
    if event.by == "staff":
        lift(work)
    else:
        review(work)
    after_edit(work)


def after_edit(work: Work) -> None:
    """Ask on only where the open question was answered or the estimate moved; else stay silent."""
    work.corrected, work.echoed, work.dropped = [], [], []
    conversation = work.conversation
    if conversation.floor != "self" or conversation.phase in CLOSED:
        work.acks = []
        return
    pending = conversation.pending
    answered = _answered_by_edit(work)
    moved = conversation.phase != "open" and bool(work.heard)
    if (
        answered
        or (moved and pending is None)
        or (moved and pending is not None and pending.kind == "decision")
    ):
        work.change(pending=None)
        go_on(work)
    else:
        flush(work)


def _answered_by_edit(work: Work) -> bool:
    """Whether the form or an edit settled what the last message asked."""
    pending = work.conversation.pending
    if pending is None:
        return False
    question = question_of(work, pending)
    if question is not None:
        return all(fact in work.facts for fact in question.fills)
    if pending.kind in ("confirm", "change"):
        return any(line.fact == pending.fact for line in work.heard)
    return pending.kind in ("story", "recap", "contact", "confirm_contact") and bool(work.heard)


def _photo(work: Work, event: PhotoAdded) -> None:
    fact_id = event.fact or role_fact(work, "photos")
    if fact_id is None or fact_id not in work.family.facts:
        return
    held = work.facts.get(fact_id)
    photos = held.value if held is not None and isinstance(held.value, tuple) else ()
    enter(work, fact_id, (*photos, event.photo_id), status="confirmed", source="photo")
    work.corrected = []
    if work.conversation.floor == "self":
        work.reply(Reply(work.say("photo"), kind="notice"))
    else:
        work.effects.append(StaffToSee("photo"))


def _shop_event(work: Work, event: Event) -> None:
    conversation = work.conversation
    if isinstance(event, TakenOver):
        hand_off(work, "wish", quiet=True)
    elif isinstance(event, StaffReplied):
        if conversation.floor != "person":
            hand_off(work, "wish", quiet=True)
        work.effects = []
        work.change(person_wrote=True)
        work.reply(Reply(readable(event.text), kind="staff"))
    elif isinstance(event, GivenBack):
        if conversation.floor == "person":
            _give_back(work)
    elif isinstance(event, EstimateDecided):
        _decided(work, event.outcome)
    elif isinstance(event, EstimateRevised):
        if conversation.phase in ("open", "estimated", "accepted"):
            work.change(phase="estimated", pending=None)
            work.acks.append(work.say("estimate_revised"))
            if conversation.floor == "self":
                ask_decision(work)
            else:
                flush(work)
    elif isinstance(event, PhaseMoved):
        work.change(phase=event.phase, pending=None, held=None)
        work.note("phase", phase=event.phase)
        if event.phase in CLOSED:
            work.reply(Reply(work.say(f"status_{event.phase}"), kind="notice"))


def _give_back(work: Work) -> None:
    work.change(floor="self", person_wrote=False, anger=0)
    work.effects.append(FloorReturned())
    work.note("given_back")
    lift(work)
    work.acks.append(work.say("given_back"))
    restore(work)


def _decided(work: Work, outcome: str) -> None:
    if work.conversation.phase not in ("estimated", "accepted", "declined"):
        return
    work.note("decision", outcome=outcome)
    work.change(pending=None)
    if outcome == "accepted":
        work.change(phase="accepted")
        work.acks.append(work.say("accepted"))
        go_on(work)
    elif outcome == "declined":
        work.change(phase="declined")
        work.reply(Reply(work.say("declined"), kind="notice"))
    elif outcome == "expired":
        work.effects.append(MakeEstimate(revises=True))
        work.reply(Reply(work.say("expired"), kind="notice"))
    else:
        hand_off(work, "refused", quiet=True)
        work.reply(Reply(work.say("refused"), kind="handover"))
