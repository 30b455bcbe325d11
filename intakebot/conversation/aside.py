"""Questions the talk asks on its own account, and the open question that waits while one of them is asked."""

from __future__ import annotations

from intakebot.conversation.state import Pending
from intakebot.conversation.work import Work

ASIDE = (
    "confirm_erase", "confirm_start_again", "confirm_language", "confirm_accept", "confirm_decline", "confirm_stop",
    "confirm_person",
)  # fmt: skip


def put_aside(work: Work) -> None:
    """Keep the open question while something else is asked or done."""
    pending = work.conversation.pending
    if pending is not None and pending.kind not in ASIDE:
        work.change(held=pending)


def held_question(work: Work) -> Pending | None:
    """The question to come back to."""
    pending = work.conversation.pending
    return pending if pending is not None and pending.kind not in ASIDE else work.conversation.held
