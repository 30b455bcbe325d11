"""One turn of the talk."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from intakebot.conversation.assessor import Assessor
from intakebot.conversation.events import Event
from intakebot.conversation.recap import RecapLine
from intakebot.conversation.state import Conversation
from intakebot.conversation.turn import Turn
from intakebot.definitions.model import Definitions


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
    raise NotImplementedError


def advance(
    definitions: Definitions,
    conversation: Conversation,
    event: Event,
    now: datetime,
    *,
    assessor: Assessor,
    links: Mapping[str, str] | None = None,
) -> Turn:
    raise NotImplementedError


def recap(definitions: Definitions, conversation: Conversation) -> tuple[RecapLine, ...]:
    raise NotImplementedError
