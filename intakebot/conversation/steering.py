"""What each control does."""

from __future__ import annotations

from collections.abc import Callable

from intakebot.conversation.aside import ASIDE, held_question, put_aside
from intakebot.conversation.asking import acknowledgement, ask, put_question, show_recap
from intakebot.conversation.checklist import take_back
from intakebot.conversation.choices import switch_language, take_choice
from intakebot.conversation.choosing import recap_facts
from intakebot.conversation.controls import Control
from intakebot.conversation.entering import enter
from intakebot.conversation.flow import ask_accept, ask_decline, go_on, reask, yes_no
from intakebot.conversation.handing import hand_off
from intakebot.conversation.labels import value_label
from intakebot.conversation.reading import deny, leave_open, question_of
from intakebot.conversation.safety import unsure
from intakebot.conversation.state import Because, Pending
from intakebot.conversation.stopping import stop_writing
from intakebot.conversation.turn import OptIn, Reply, ReplyChoice
from intakebot.conversation.work import Work
from intakebot.definitions.texts import Texts
from intakebot.quoting.money import Money, format_money

PUSH_CHANNELS = ("sms", "email")
"""On these we write first and at any time, so an opt-out means silence; elsewhere the customer looks at our page."""
ALWAYS_HEARD = ("stop", "start", "help", "language", "erase", "resume", "form", "pause")
"""Controls that work while a person has the floor; the others are then part of what the person reads."""


def applies(work: Work, control: Control, text_key: str) -> bool:
    """Whether a control word is a control here: some are ordinary answers while a question is open."""
    pending = work.conversation.pending
    if control.name in ("accept", "decline"):
        phases = ("estimated",) if control.name == "accept" else ("estimated", "accepted")
        return work.conversation.phase in phases and (
            pending is None or pending.kind in ("decision", "contact", *ASIDE)
        )
    if control.name == "not_sure":
        return pending is not None and pending.kind in ("question", "confirm", "change")
    if control.name == "start":
        return work.conversation.consent == "opted_out"
    if control.name == "wrong":
        return pending is None or pending.kind not in ASIDE
    if control.name == "stop" and work.conversation.channel not in PUSH_CHANNELS:
        return not (text_key == "cancel" and pending is not None and pending.kind in ASIDE)
    return True


def steer(work: Work, control: Control) -> None:
    """Carry out a control."""
    work.note("control", name=control.name, locale=control.locale)
    if control.name == "language":
        _language(work, control.locale or work.conversation.locale)
        return
    ACTIONS[control.name](work)


def opt_in(work: Work) -> None:
    work.change(consent="allowed")
    work.effects.append(OptIn(work.conversation.channel))
    work.note("opted_in", channel=work.conversation.channel)
    work.acks.append(work.say("started"))
    restore(work)


def restore(work: Work) -> None:
    """Ask what was open before a stop, a pause or a hand-over."""
    if work.conversation.held is not None:
        work.change(pending=work.conversation.held, held=None)
    reask(work)


def _help(work: Work) -> None:
    shop = work.definitions.pricing.shop
    work.reply(Reply(work.say("help", shop=shop.name, phone=shop.phone), kind="control"))
    if work.conversation.floor == "self":
        reask(work)


def _person(work: Work) -> None:
    hand_off(work, "asked")


def _back(work: Work) -> None:
    """Ask the question before the open one again, with the old value shown."""
    conversation = work.conversation
    asked = list(conversation.asked)
    pending = conversation.pending
    current = pending.question if pending is not None and pending.kind == "question" else None
    if current is not None and asked and asked[-1] == current and work.family.questions[current].several:
        asked.pop()  # the list before it may be one of the same question
        current = None
    while asked and (asked[-1] == current or asked[-1] not in work.family.questions):
        asked.pop()
    if not asked:
        reask(work, work.say("nothing_back"))
        return
    target = work.family.questions[asked.pop()]
    work.change(
        asked=tuple(asked),
        skipped=tuple(question for question in conversation.skipped if question != target.id),
        misses=0,
    )
    if target.several:
        ask(work, target, Because("asked_back"), items=take_back(work, target))
        return
    known = [fact for fact in target.fills if fact in work.facts and work.facts[fact].is_known]
    lead = ""
    if known:
        values = [value_label(work.texts, work.fact(fact), work.facts[fact].value) for fact in known[:2]]
        lead = work.say("back_value", value=", ".join(values))
    ask(work, target, Because("asked_back"), lead=lead)


def _skip(work: Work) -> None:
    pending = work.conversation.pending
    if pending is None or pending.kind in ("story", "recap", "decision", "contact", *ASIDE):
        reask(work)
        return
    question = question_of(work, pending)
    if question is not None:
        leave_open(work, question, "declined")
        work.change(skipped=(*work.conversation.skipped, question.id))
    work.change(pending=None, misses=0)
    work.acks.append(work.say("skipped"))
    go_on(work)


def _not_sure(work: Work) -> None:
    pending = work.conversation.pending
    question = question_of(work, pending)
    if question is not None:
        leave_open(work, question, "not_known")
        work.acks.append(work.say("noted_not_sure"))
    elif pending is not None and pending.fact is not None and pending.fact not in work.facts:
        enter(work, pending.fact, None, status="not_known", source="text")
        if unsure(work, pending):
            return
    work.change(pending=None, misses=0)
    go_on(work)


def _pause(work: Work) -> None:
    if work.conversation.floor == "self":
        work.change(floor="paused", held=held_question(work), pending=None)
        work.note("paused")
    work.reply(Reply(work.say("paused"), (ReplyChoice(work.say("choice.go_on"), "go_on"),), kind="control"))


def resume(work: Work) -> None:
    """Back to the talk from a pause, or from waiting for a person (never while a hazard stands)."""
    if work.conversation.floor == "person" and "safety" in work.conversation.holds:
        work.reply(Reply(work.say("safety_again"), kind="safety"))
        return
    if work.conversation.floor != "self":
        work.change(floor="self", person_wrote=False)
        work.note("resumed")
    work.acks.append(work.say("goes_on"))
    restore(work)


def _language(work: Work, locale: str) -> None:
    if work.conversation.floor != "self":
        work.change(locale=locale)
        work.note("language", locale=locale)
        work.reply(Reply(work.say("language"), kind="control"))
        return
    put_aside(work)
    switch_language(work, locale)


def _other_language(work: Work) -> None:
    work.note("language", unsupported=True)
    text = work.say("language_unsupported")
    if work.links.get("form"):
        text = f"{text} {work.links['form']}"
    hand_off(work, "unsupported_language", quiet=True)
    work.reply(Reply(text, kind="handover"))


def ask_wish(work: Work, wish: str) -> None:
    """Ask whether the customer means what the message leans to. wish: `stop` or `person`, see `leanings`."""
    put_aside(work)
    yes_no(work, f"confirm_{wish}", work.say(f"{wish}_check"))
    work.note("wish_asked", wish=wish)


def _erase(work: Work) -> None:
    put_aside(work)
    yes_no(work, "confirm_erase", work.say("erase_check"))
    work.note("erase_asked")


def _start_again(work: Work) -> None:
    put_aside(work)
    yes_no(work, "confirm_start_again", work.say("start_again_check"))


def _repeat(work: Work) -> None:
    if work.conversation.floor == "self" and work.conversation.pending is not None:
        reask(work, tries=work.conversation.pending.tries)
        return
    last = work.conversation.last_replies
    for text in last or (work.say("repeat_none"),):
        work.reply(Reply(text, kind="control"))


def _wrong(work: Work) -> None:
    """ "That's wrong": no to an open check, else the list of what can be changed."""
    pending = work.conversation.pending
    if pending is not None and pending.kind == "confirm" and pending.fact and pending.value is not None:
        deny(work, pending.fact, pending.value)
        work.change(pending=None)
        go_on(work)
    elif pending is not None and pending.kind == "confirm_contact":
        take_choice(work, "confirm_contact:no")
    elif recap_facts(work):
        show_recap(work, "recap_again")
    else:
        reask(work)


def _form(work: Work) -> None:
    """The link to the one-page form; the talk stays where it is."""
    link = work.links.get("form")
    work.reply(Reply(work.say("form_link", form=link) if link else work.say("form_none"), kind="control"))


def _price(work: Work) -> None:
    if work.conversation.phase != "open":
        reask(work)
        return
    outlook, locale = work.outlook(), work.conversation.locale
    low, high = (
        format_money(Money(amount, outlook.currency), locale) for amount in (outlook.p10, outlook.p90)
    )
    answered = any(entry.source != "derived" for entry in work.facts.values())
    reask(work, work.say("price_so_far", low=low, high=high) if answered else work.say("estimate_none"))


def _decline(work: Work) -> None:
    """No to the estimate; after a yes only a person can undo it."""
    if work.conversation.phase == "accepted":
        hand_off(work, "wants_out")
    else:
        ask_decline(work)


def say_both_languages(work: Work, locale: str) -> None:
    """Ask, in both languages, whether to go on in the other one."""
    put_aside(work)
    other = Texts(work.definitions, work.conversation.family, locale).say("talk.language_check")
    choices = [
        ("confirm_language:yes", Texts(work.definitions, None, locale).say("talk.choice.yes")),
        ("confirm_language:no", work.say("choice.no")),
    ]
    own = work.say("language_offer", language=work.say(f"language_name.{locale}"))
    lead = acknowledgement(work)
    put_question(work, f"{lead} {own} {other}".strip(), choices, Pending("confirm_language"), "confirm")


ACTIONS: dict[str, Callable[[Work], None]] = {
    "stop": stop_writing,
    "start": opt_in,
    "help": _help,
    "person": _person,
    "back": _back,
    "skip": _skip,
    "not_sure": _not_sure,
    "pause": _pause,
    "resume": resume,
    "other_language": _other_language,
    "start_again": _start_again,
    "erase": _erase,
    "repeat": _repeat,
    "wrong": _wrong,
    "form": _form,
    "price": _price,
    "accept": ask_accept,
    "decline": _decline,
}
