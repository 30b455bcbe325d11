"""The form, staff edits, photos, and everything the shop does to a talk."""

from __future__ import annotations

from intakebot.conversation.asking import flush
from intakebot.conversation.checklist import listed_facts
from intakebot.conversation.contact import role_fact
from intakebot.conversation.editing import enter_facts
from intakebot.conversation.entering import derive, enter
from intakebot.conversation.events import (
    EstimateDecided,
    EstimateRevised,
    Event,
    FactsEntered,
    GivenBack,
    PhaseMoved,
    PhotoAdded,
    StaffReplied,
    TakenOver,
)
from intakebot.conversation.flow import CLOSED, ask_decision, go_on
from intakebot.conversation.guard import readable
from intakebot.conversation.handing import hand_off
from intakebot.conversation.reading import question_of
from intakebot.conversation.safety import lift, preempt, review
from intakebot.conversation.steering import (
    restore,
)
from intakebot.conversation.turn import FloorReturned, MakeEstimate, Reply, StaffToSee
from intakebot.conversation.work import Work


def take_form(work: Work, event: FactsEntered) -> None:
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
        return all(fact in work.facts for fact in listed_facts(pending, question))
    if pending.kind in ("confirm", "change"):
        return any(line.fact == pending.fact for line in work.heard)
    return pending.kind in ("story", "recap", "contact", "confirm_contact") and bool(work.heard)


def take_photo(work: Work, event: PhotoAdded) -> None:
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


def take_shop_event(work: Work, event: Event) -> None:
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
