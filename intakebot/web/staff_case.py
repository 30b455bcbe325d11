"""What every staff view about one case does: load it, and change it only from the version that was on the screen."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from flask import g, request

from intakebot.definitions.model import Definitions
from intakebot.errors import BadInputError
from intakebot.records import Case
from intakebot.turns import CaseChange, Request, change_case, take_turn
from intakebot.web import cases, security, words


def load(case_id: str) -> None:
    """Load the case; page texts stay in the language of the person, the family's texts come along."""
    cases.load(case_id)


def seen_version() -> int:
    """The version the form was made from. Raises: BadInputError."""
    text = request.form.get("version", "")
    if not text.isascii() or not text.isdigit() or len(text) > 9:
        raise BadInputError("version", text[:20], "the version the page was made from")
    return int(text)


def tell(event: Any) -> None:
    """A conversation event by staff. Raises: StaleVersionError when somebody else was first."""
    take_turn(
        security.services().turns,
        cases.case().id,
        event,
        actor=g.person.actor,
        if_version=seen_version(),
        request=_repeat(),
    )


def change(decide: Callable[..., CaseChange], **arguments: Any) -> None:
    """A workshop change. Raises: StaleVersionError when somebody else was first, and whatever `decide` raises."""

    def apply(definitions: Definitions, case: Case, now: datetime) -> CaseChange:
        return decide(definitions, case, now, by=g.person.actor, **arguments)

    change_case(
        security.services().turns,
        cases.case().id,
        apply,
        actor=g.person.actor,
        if_version=seen_version(),
        request=_repeat(),
    )


def message_id() -> str:
    """The name of the form that was sent."""
    return request.form.get("message_id", "")[:80] or security.services().new_id()


def _repeat() -> Request | None:
    """The same form sent twice changes things once."""
    key = request.form.get("message_id", "")[:80]
    return Request(f"staff:{g.person.id}:{request.path}", key, key) if key else None


def sentence(error: BadInputError) -> str:
    """A plain sentence for something that cannot be used."""
    for key in (f"web.problem.{error.where}", f"web.problem.{error.where.split('.')[0]}"):
        if words.has_text(key):
            return words.say(key)
    return words.say("web.problem.other")
