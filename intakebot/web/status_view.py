"""The status page: where the job is, who is next, and what has happened. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from intakebot.conversation import Conversation
from intakebot.records import Event

WAY = ("open", "estimated", "accepted", "shipped", "arrived", "on_bench", "finished")


@dataclass(frozen=True)
class Stage:
    """One stage of the way. state: past, now or ahead. at: when it began, if it has."""

    phase: str
    state: Literal["past", "now", "ahead"]
    at: datetime | None


@dataclass(frozen=True)
class StatusView:
    """phase: where the job is; waits_for: who or what is next; holds: why nothing moves; stages: the whole way."""

    phase: str
    waits_for: str
    holds: tuple[str, ...]
    stages: tuple[Stage, ...]


def status_view(conversation: Conversation, waits_for: str, events: Iterable[Event]) -> StatusView:
    """Build the page from the conversation and the log."""
    began = {"open": conversation.opened_at}
    for event in events:
        phase = _begun(event)
        if phase:
            began.setdefault(phase, event.at)
    off_the_way = conversation.phase not in WAY
    position = len(WAY) if off_the_way else WAY.index(conversation.phase)
    stages = []
    for number, phase in enumerate(WAY):
        if off_the_way:
            state: Literal["past", "now", "ahead"] = "past"
            if phase not in began:
                continue
        else:
            state = "past" if number < position else "now" if number == position else "ahead"
        stages.append(Stage(phase, state, began.get(phase)))
    if off_the_way:
        stages.append(Stage(conversation.phase, "now", began.get(conversation.phase)))
    return StatusView(conversation.phase, waits_for, conversation.holds, tuple(stages))


def _begun(event: Event) -> str:
    """The phase that an entry of the log begins, if any."""
    if event.kind == "estimate_ready":
        return "estimated"
    if event.kind in ("phase", "decision"):
        return str(event.body.get("phase") or event.body.get("outcome") or "")
    return ""
