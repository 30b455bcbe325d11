"""A message that was sent before the turn it arrives after: read as a turn of its own, but not as an answer.

Gateways and mail servers hold messages back, and two may overtake each other. Such a message was written without sight of
what is asked now, so a bare "yes" or "2" in it answers nothing and accepts nothing. What it says about the device is read;
what the customer said later than it was sent stays as it is (see `entering.heard_later`), and the customer is told.

When a message was sent is the word of somebody else's clock: it counts only when it lies between a week ago and now.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from intakebot.conversation.aside import ASIDE
from intakebot.conversation.controls import control_of
from intakebot.conversation.entering import derive
from intakebot.conversation.flow import reask
from intakebot.conversation.guard import is_empty, is_reaction
from intakebot.conversation.labels import things
from intakebot.conversation.message import take_message, take_tap
from intakebot.conversation.reading import read
from intakebot.conversation.safety import preempt, review
from intakebot.conversation.turn import StaffToSee
from intakebot.conversation.work import Work
from intakebot.dates import short_moment

BELIEVED = timedelta(days=7)
TOLERANCE = timedelta(minutes=2)
"""Messages written one after the other, and clocks that differ a little, are not late. common practice, no source."""
ANY_TIME = ("stop", "start", "help", "person", "erase", "language", "other_language", "pause")
"""Controls that mean the same whatever is asked; all others are about what was on the screen."""
DECISIONS = ("decision", "recap", *ASIDE)


def is_late(work: Work, sent_at: datetime | None) -> bool:
    """Note when the message was said; True when that was before the last turn, whose question it cannot answer."""
    if sent_at is None or not work.now - BELIEVED <= sent_at <= work.now:
        return False
    work.said_at = sent_at
    conversation = work.conversation
    return conversation.messages_in > 0 and sent_at < conversation.last_in_at - TOLERANCE


def take_late_message(work: Work, text: str) -> None:
    """Read the facts of a late message; the open question stays open and is asked again."""
    control = control_of(text, work.words)
    if control is not None and control.name in ANY_TIME:
        take_message(work, text)
        return
    if is_reaction(text):
        return
    conversation = work.conversation
    work.change(pending=None)
    understood = None if is_empty(text) or control is not None else read(work, text)
    derive(work)
    work.change(pending=conversation.pending)
    _log(work)
    if preempt(work):
        return
    review(work)
    if conversation.floor != "self" or conversation.consent == "opted_out":
        work.acks, work.echoed, work.corrected, work.dropped = [], [], [], []
        work.effects.append(StaffToSee("message"))
        return
    reask(work, _words(work, nothing=understood is None or not understood.anything))


def take_late_tap(work: Work, value: str) -> None:
    """A tap names what it answers, so it counts; a decision was made without sight of what it is about now and is asked anew."""
    _log(work)
    if value.partition(":")[0] in DECISIONS and work.conversation.floor == "self":
        reask(work, _words(work, nothing=True))
        return
    take_tap(work, value)
    if work.kept and work.replies:
        first = work.replies[0]
        work.replies[0] = type(first)(f"{_words(work)} {first.text}", first.choices, first.kind)


def _log(work: Work) -> None:
    assert work.said_at is not None
    work.note("late", said_at=work.said_at.isoformat(), kept=sorted({fact for fact, _ in work.kept}))


def _words(work: Work, *, nothing: bool = False) -> str:
    """What the customer is told: that it came late, and what stays as they said later (or that it could not be used)."""
    assert work.said_at is not None
    zone = ZoneInfo(work.definitions.pricing.shop.timezone)
    local, today = work.said_at.astimezone(zone), work.now.astimezone(zone).date()
    same_day = local.date() == today
    sent = f"{local:%H:%M}" if same_day else short_moment(local, work.conversation.locale, year=False)
    kept = [pair for pair in dict.fromkeys(work.kept) if not work.fact(pair[0]).personal]
    if kept:
        shown = things(work.texts, work.family, kept)
        return work.texts.say("channels.late_kept", sent=sent, things=shown)
    return work.texts.say("channels.late_unclear" if nothing else "channels.late", sent=sent)
