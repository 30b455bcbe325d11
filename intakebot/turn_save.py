"""Write a finished draft into an open unit of work: everything but the case row and the stored answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from intakebot.records import Case, UnitOfWork
from intakebot.records.outbox import NewItem
from intakebot.records.tokens import Ids
from intakebot.turn_draft import Draft

EVENT_TYPE_PREFIX = "intakebot."
REMINDERS_AFTER = (timedelta(days=1), timedelta(days=4))
"""Two nudges, then silence. common practice, no source."""


def is_pushed(channel: str) -> bool:
    """True for channels on which the customer does not come for the replies but gets them sent."""
    return channel == "email" or channel.startswith("gateway:")


def save_draft(
    work: UnitOfWork, draft: Draft, case: Case, ids: Ids, source: str, traceparent: str = ""
) -> None:
    """Messages, events, quotes, authorisations, outcome, opt-outs and outbox rows of one turn."""
    work.messages.add_all(case.id, draft.messages)
    work.events.add_all(case.id, draft.numbered_events())
    for quote in draft.quotes:
        work.quotes.put(case.id, quote)
    for entry in draft.authorisations:
        work.authorisations.add(case.id, entry)
    if draft.outcome is not None:
        work.outcomes.add(case.id, draft.now, draft.outcome)
    _save_opt_outs(work, draft, case)
    items = _announcements(work, draft.announcements, case, case.id, ids, source, draft.now, traceparent)
    if is_pushed(case.channel):
        items += _messages(work, draft, case, ids, traceparent)
    work.outbox.add_all(items, draft.now)


def _save_opt_outs(work: UnitOfWork, draft: Draft, case: Case) -> None:
    if not draft.opted_out and not draft.opted_in:
        return
    for address in work.addresses.of_case(case.id):
        if address.channel == case.channel:
            if draft.opted_out:
                work.opt_outs.add(address.channel, address.address, draft.now)
            else:
                work.opt_outs.remove(address.channel, address.address)


def announce(
    work: UnitOfWork, case: Case, event_type: str, ids: Ids, source: str, now: datetime, traceparent: str = ""
) -> None:
    """Tell the shop's systems one thing about a case that is gone (the rows must not hang on it)."""
    work.outbox.add_all(_announcements(work, [event_type], case, None, ids, source, now, traceparent), now)


def _announcements(
    work: UnitOfWork,
    event_types: Sequence[str],
    case: Case,
    conversation_id: str | None,
    ids: Ids,
    source: str,
    now: datetime,
    traceparent: str,
) -> list[NewItem]:
    items = []
    for event_type in dict.fromkeys(event_types):
        listening = work.endpoints.listening(event_type)
        if listening:
            body = cloud_event(ids.message_id("evt"), source, event_type, case)
            items += [
                NewItem(
                    id=ids.message_id("out"),
                    kind="event",
                    target=f"endpoint:{endpoint.id}",
                    conversation_id=conversation_id,
                    body=body,
                    due_at=now,
                    traceparent=traceparent,
                )
                for endpoint in listening
            ]
    return items


def cloud_event(event_id: str, source: str, event_type: str, case: Case) -> dict[str, Any]:
    """A CloudEvents 1.0 body, structured JSON mode. Thin on purpose: ids and the version, nothing personal.

    Source: CloudEvents specification 1.0.2, section 3 (context attributes).
    """
    return {
        "specversion": "1.0",
        "id": event_id,
        "source": source,
        "type": EVENT_TYPE_PREFIX + event_type,
        "subject": case.id,
        "time": case.updated_at.isoformat().replace("+00:00", "Z"),
        "datacontenttype": "application/json",
        "data": event_data(case),
    }


def event_data(case: Case) -> Mapping[str, Any]:
    return {
        "conversation_id": case.id,
        "reference": case.reference,
        "version": case.version,
        "phase": case.index.phase,
        "floor": case.index.floor,
        "waits_for": case.index.waits_for,
    }


def _messages(work: UnitOfWork, draft: Draft, case: Case, ids: Ids, traceparent: str) -> list[NewItem]:
    """The replies of this turn as one delivery, and two reminders if a question is left open."""
    if draft.received:
        work.outbox.drop_reminders(case.id)
    if not draft.replies:
        return []
    address = next((a.address for a in work.addresses.of_case(case.id) if a.channel == case.channel), None)
    if address is None:
        return []
    first = {
        "replies": [reply.to_mapping() for reply in draft.replies],
        "locale": case.locale,
        "last_words": bool(draft.opted_out),
    }
    items = [_message(ids, "message", case, address, first, draft.now, traceparent)]
    if draft.conversation.pending is not None and draft.conversation.floor == "self":
        items += [
            _message(
                ids, "reminder", case, address, {"number": number, "message_count": case.message_count, "locale": case.locale},
                draft.now + wait, traceparent,
            )
            for number, wait in enumerate(REMINDERS_AFTER, start=1)
        ]  # fmt: skip
    return items


def last_words(work: UnitOfWork, draft: Draft, case: Case, ids: Ids) -> list[NewItem]:
    """The replies of the turn that erases the case, for a channel that must be sent to.

    They hang on no case, and the row is removed as soon as it was sent (or given up).
    """
    if not is_pushed(case.channel):
        return []
    body = {"replies": [r.to_mapping() for r in draft.replies], "locale": case.locale, "last_words": True}
    return [
        NewItem(
            id=ids.message_id("out"),
            kind="farewell",
            target=case.channel,
            conversation_id=None,
            body=body,
            due_at=draft.now,
            address=address.address,
        )
        for address in work.addresses.of_case(case.id)
        if address.channel == case.channel
    ][:1]


def _message(
    ids: Ids, kind: str, case: Case, address: str, body: Mapping[str, Any], due_at: datetime, traceparent: str
) -> NewItem:
    return NewItem(
        id=ids.message_id("out"),
        kind=kind,
        target=case.channel,
        conversation_id=case.id,
        address=address,
        body=body,
        due_at=due_at,
        traceparent=traceparent,
    )
