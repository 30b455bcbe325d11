"""Hazards pre-empt everything: a stop sign, no self-test, no question, and a person.

Nothing may be shipped while a hazard stands (hold `safety`); only a person lifts the hold, by giving the floor back after
setting the facts, or by entering that the hazard is not there.
"""

from __future__ import annotations

from intakebot.conversation.handing import hand_off
from intakebot.conversation.state import Pending
from intakebot.conversation.turn import Reply
from intakebot.conversation.work import Work


def hazards(work: Work) -> tuple[str, ...]:
    """Ids of the hazards the case has."""
    return tuple(
        fact_id
        for fact_id, fact in work.family.facts.items()
        if fact.role == "hazard" and fact_id in work.facts and work.facts[fact_id].value == "yes"
    )


def preempt(work: Work) -> bool:
    """Show the stop sign when a hazard is new; True when the turn ends here."""
    present = hazards(work)
    fresh = [hazard for hazard in present if hazard not in work.conversation.safety_shown]
    if not fresh:
        return False
    work.change(safety_shown=(*work.conversation.safety_shown, *fresh))
    if "safety" not in work.conversation.holds:
        work.change(holds=(*work.conversation.holds, "safety"))
    work.note("safety", hazards=list(present))
    work.acks, work.echoed, work.corrected, work.dropped = [], [], [], []
    work.reply(Reply(work.say("safety"), kind="safety"))
    hand_off(work, "safety", quiet=True)
    return True


def unsure(work: Work, asked: Pending | None) -> bool:
    """Hand over when the customer is not sure of a hazard that their own words suggested; True when the turn ends here."""
    if (
        asked is None
        or asked.kind != "confirm"
        or asked.fact is None
        or work.fact(asked.fact).role != "hazard"
    ):
        return False
    entry = work.facts.get(asked.fact)
    if entry is None or entry.status != "not_known":
        return False
    if "safety" not in work.conversation.holds:
        work.change(holds=(*work.conversation.holds, "safety"))
    work.note("safety", hazards=[], unsure=asked.fact)
    work.acks, work.echoed, work.corrected, work.dropped = [], [], [], []
    work.change(pending=None)
    work.reply(Reply(work.say("safety_again"), kind="safety"))
    hand_off(work, "safety", quiet=True)
    return True


def review(work: Work) -> None:
    """After a change of facts: a withdrawn hazard is said; the hold stays until a person lifts it."""
    if "safety" in work.conversation.holds and not hazards(work) and work.conversation.safety_shown:
        work.change(safety_shown=())
        work.note("safety", hazards=[])
        work.acks.append(work.say("safety_clear"))


def lift(work: Work) -> None:
    """A person gave the floor back or cleared the hazard: the hold goes when no hazard is left."""
    if not hazards(work):
        work.change(
            holds=tuple(hold for hold in work.conversation.holds if hold != "safety"), safety_shown=()
        )
