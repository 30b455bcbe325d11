"""Handing the floor to a person, and taking it back."""

from __future__ import annotations

from intakebot.conversation.choosing import eligible
from intakebot.conversation.labels import value_label
from intakebot.conversation.turn import HandOff, HandOffCard, Reply
from intakebot.conversation.work import Work


def hand_off(work: Work, reason: str, *, text_key: str = "handover", quiet: bool = False) -> None:
    """Put the open question aside and give the front desk a card. Asking again changes nothing."""
    if work.conversation.floor == "person":
        if not quiet:
            work.reply(Reply(work.say("handover_waiting", hours=hours(work)), kind="handover"))
        return
    card = card_of(work, reason)
    if work.conversation.floor == "self" and work.conversation.pending is not None:
        work.change(held=work.conversation.pending)
    work.change(floor="person", pending=None, misses=0)
    work.effects.append(HandOff(reason, card))
    work.note("handed_over", reason=reason)
    if not quiet:
        work.reply(Reply(work.say(text_key, hours=hours(work)), kind="handover"))


def hours(work: Work) -> str:
    """When a person is there, in the shop's own words."""
    key = work.definitions.pricing.shop.opening_hours_key
    return work.texts.say(key) if work.texts.has(key) else ""


def card_of(work: Work, reason: str) -> HandOffCard:
    """Facts with status, the questions still open (most valuable first), and the question that was pending."""
    facts = tuple(
        (
            fact_id,
            value_label(work.texts, work.fact(fact_id), entry.value) if entry.is_known else None,
            entry.status,
        )
        for fact_id, entry in sorted(work.facts.items())
        if entry.source != "derived"
    )
    pending = work.conversation.pending
    return HandOffCard(reason, facts, open_questions(work), pending.question if pending else None)


def open_questions(work: Work) -> tuple[str, ...]:
    """Ids of the eligible questions, by falling worth."""
    allowed = [question.id for question in work.family.questions.values() if eligible(work, question)]
    if not allowed:
        return ()
    worths = work.assessor.worths(
        work.conversation.family, work.answers, allowed, work.today, len(work.conversation.asked)
    )
    return tuple(worth.question for worth in worths.questions if worth.score > 0 or worth.decisive)
