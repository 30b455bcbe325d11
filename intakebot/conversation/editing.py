"""Facts entered as values: the one-page form of the customer, and edits by staff."""

from __future__ import annotations

from intakebot.conversation.entering import enter, withdraw
from intakebot.conversation.events import FactsEntered
from intakebot.conversation.reading import drop_proposal
from intakebot.conversation.state import Source
from intakebot.conversation.work import Work
from intakebot.definitions.facts import Value
from intakebot.definitions.model import Fact
from intakebot.definitions.values import parse_value
from intakebot.errors import BadInputError


def enter_facts(work: Work, event: FactsEntered) -> None:
    """Check everything first, then enter everything: one bad value leaves the conversation as it was.

    Raises: BadInputError with `where` = `facts.<id>`.
    """
    values: dict[str, Value | None] = {}
    for fact_id, raw in event.facts.items():
        fact = _known(work, fact_id)
        try:
            values[fact_id] = None if raw is None else parse_value(fact, raw)
        except BadInputError as error:
            raise BadInputError(f"facts.{fact_id}", error.found, error.expected) from error
    for fact_id in (*event.declined, *event.cleared):
        _known(work, fact_id)
    source: Source = "staff" if event.by == "staff" else "form"
    for fact_id, value in values.items():
        status = "not_known" if value is None else "confirmed"
        verified = event.verified and event.by == "staff"
        enter(work, fact_id, value, status=status, source=source, verified=verified)  # type: ignore[arg-type]
        drop_proposal(work, fact_id)
    for fact_id in event.declined:
        enter(work, fact_id, None, status="declined", source=source)
    for fact_id in event.cleared:
        entry = work.facts.get(fact_id)
        if entry is not None and (not entry.verified or event.by == "staff"):
            withdraw(work, fact_id)


def _known(work: Work, fact_id: str) -> Fact:
    if fact_id not in work.family.facts:
        raise BadInputError(f"facts.{fact_id}"[:80], "an unknown fact", "a fact of the intake form")
    return work.family.facts[fact_id]
