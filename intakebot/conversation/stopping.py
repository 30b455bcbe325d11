"""No more messages: from the control word, and after a yes to the question whether that is meant."""

from __future__ import annotations

from intakebot.conversation.aside import held_question
from intakebot.conversation.turn import OptOut, Reply
from intakebot.conversation.work import Work


def stop_writing(work: Work) -> None:
    """Record the opt-out and confirm it with the one message that is still allowed; the open question is kept."""
    channel = work.conversation.channel
    work.change(consent="opted_out", held=held_question(work), pending=None)
    work.effects.append(OptOut(channel))
    work.note("opted_out", channel=channel)
    work.reply(Reply(work.say("stopped", shop=work.definitions.pricing.shop.name), kind="control"))
