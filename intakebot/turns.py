"""Where pure decisions and the outside meet. A turn is: load, decide, save in one commit, send after it.

Promises kept here, and tested in tests/turns:
- A returned answer means the turn is on disk: inbound message, events, snapshot with its new version, replies, quotes,
  stored answer and outbox rows, all in one commit.
- The same request (scope and key) never acts twice; its stored answer is given again, byte for byte.
- Turns of one case are applied one after another. Deciding happens outside the write transaction, on the version that
  was read; if somebody else was first, the decision is made again on what they left.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import random
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from intakebot.conversation import Conversation, MessageReceived, open_conversation
from intakebot.conversation import Event as TalkEvent
from intakebot.definitions import Definitions
from intakebot.errors import (
    BadInputError,
    ConflictError,
    QuoteStateError,
    RequestMismatchError,
    RequestRunningError,
    StaleVersionError,
    StoreBusyError,
)
from intakebot.model_server import suggested, with_suggestions
from intakebot.records import Case, UnitOfWork
from intakebot.records.case import StoredAnswer
from intakebot.records.columns import to_json
from intakebot.records.log import Address
from intakebot.records.tokens import hash_secret
from intakebot.services import CaseLocks, RunningRequests, Services, build_services, utc_now
from intakebot.turn_draft import CaseChange, Decided, Draft, Via, Workshop, answer_mapping
from intakebot.turn_save import announce, last_words, save_draft
from intakebot.understanding import HeardFact
from intakebot.understanding.suggester import Suggester

__all__ = [
    "CaseLocks",
    "RunningRequests",
    "utc_now",
    "CaseChange",
    "Decided",
    "Opened",
    "Request",
    "Services",
    "TurnAnswer",
    "Via",
    "Workshop",
    "build_services",
    "change_case",
    "decide",
    "erase_case",
    "open_case",
    "take_turn",
]

FIRST_PAUSE_S, LONGEST_PAUSE_S = 0.004, 0.25
MAX_ROUNDS = 12
"""How often a turn is decided anew because another process was first, before it is refused as busy."""


@dataclass(frozen=True)
class Request:
    """What makes two requests the same one: scope (caller and route), key (the caller's), fingerprint of the content."""

    scope: str
    key: str
    fingerprint: str


@dataclass(frozen=True)
class TurnAnswer:
    """What the caller is told. body is canonical JSON: the same request gives the same bytes."""

    status: int
    body: str
    replayed: bool = False

    @property
    def mapping(self) -> dict[str, Any]:
        result: dict[str, Any] = json.loads(self.body)
        return result


@dataclass(frozen=True)
class Opened:
    """A new conversation. token is shown to the customer once and only its hash is stored."""

    answer: TurnAnswer
    conversation_id: str
    token: str


def open_case(
    services: Services,
    *,
    via: Via,
    locale: str,
    text: str | None = None,
    family: str | None = None,
    message_id: str = "open",
    request: Request | None = None,
    traceparent: str = "",
    sent_at: datetime | None = None,
) -> Opened:
    """Begin a conversation, with the customer's first words if there are any.

    sent_at: when the customer sent them, if the channel says so.
    Raises: BadInputError for an unknown family or locale; RequestMismatchError.
    """
    definitions = services.editions.current
    if locale not in definitions.locales:
        raise BadInputError("locale", locale, "one of " + ", ".join(definitions.locales))
    if family is not None and family not in definitions.families:
        raise BadInputError("family", family, "one of " + ", ".join(sorted(definitions.families)))
    guesses: tuple[HeardFact, ...] = ()
    for attempt in range(MAX_ROUNDS):
        stored = _stored(services, request)
        if stored is not None:
            case_id = str(stored.conversation_id)
            answer = TurnAnswer(stored.status, stored.body, replayed=True)
            return Opened(answer, case_id, first_token(services, case_id))
        if attempt == 0 and services.suggester is not None and text:
            guesses = suggested(
                services.suggester, definitions, family or min(definitions.families), locale, text
            )
        try:
            first = _First(text, message_id, guesses, sent_at)
            return _open(services, definitions, via, locale, first, family, request, traceparent)
        except RequestRunningError:
            _give_way(attempt)
    raise StoreBusyError("the same request is being answered; try again")


@dataclass(frozen=True)
class _First:
    """The customer's first words, if there are any, and what is known about them."""

    text: str | None
    message_id: str
    guesses: tuple[HeardFact, ...]
    sent_at: datetime | None


def _open(
    services: Services,
    definitions: Definitions,
    via: Via,
    locale: str,
    first: _First,
    family: str | None,
    request: Request | None,
    traceparent: str,
) -> Opened:
    now, case_id = services.now(), services.ids.case_id()
    assessor = services.editions.assessor(definitions)
    token = first_token(services, case_id)
    case = Case(
        id=case_id,
        reference=services.ids.reference(),
        version=1,
        family=family or next(iter(definitions.families)),
        locale=locale,
        channel=via.channel,
        definitions_version=definitions.version,
        rate_card=definitions.pricing.rate_card_on(now.date()).id,
        opened_at=now,
        updated_at=now,
        conversation={},
    )
    turn = open_conversation(
        definitions,
        conversation_id=case_id,
        channel=via.voice,
        locale=locale,
        now=now,
        assessor=assessor,
        family=family,
        text=first.text,
        message_id=first.message_id,
        links=services.links(case),
        suggested=first.guesses,
        sent_at=first.sent_at,
    )
    draft = Draft(definitions, assessor, services.workshop, case, turn.conversation, now, via=via)
    if first.text is not None:
        draft.receive(first.text, {"text": first.text}, via.channel, first.message_id)
    draft.take(turn, services.links(case), via.channel)
    draft.announcements.insert(0, "conversation.opened")
    case = draft.finish()
    answer = TurnAnswer(201, to_json(answer_mapping(draft, case)))
    with services.store.unit_of_work() as work:
        work.cases.add(case, hash_secret(token))
        _remember(work, case, via, now)
        save_draft(work, draft, case, services.ids, services.source, traceparent)
        _keep_answer(work, request, answer, case_id, now)
        work.commit()
    services.wake()
    return Opened(answer, case_id, token)


def first_token(services: Services, case_id: str) -> str:
    """The first token of a case: 256 bits made from the secret key and the case's random id.

    Computed rather than drawn, so that a repeated opening can give it again although only its hash is stored.
    """
    digest = hmac.new(
        services.secret_key, b"conversation token\n" + case_id.encode(), hashlib.sha256
    ).digest()
    return base64.urlsafe_b64encode(digest).decode().rstrip("=")


@dataclass(frozen=True)
class _Call:
    """One call of a turn: who asks, how they came, and how it may be repeated."""

    actor: str
    via: Via | None = None
    request: Request | None = None
    token_hash: str | None = None
    if_version: int | None = None
    traceparent: str = ""
    look: Callable[[UnitOfWork, Case], None] = lambda work, case: None


def take_turn(
    services: Services,
    conversation_id: str,
    event: TalkEvent,
    *,
    via: Via | None = None,
    actor: str = "customer",
    request: Request | None = None,
    token_hash: str | None = None,
    if_version: int | None = None,
    traceparent: str = "",
) -> TurnAnswer:
    """One turn of a conversation.

    Args:
        via: None keeps the channel of the turn before.
        request: its scope must name the caller: a repeat is answered without looking at the case again.
        token_hash: when given, the case is only found under this token.
        if_version: refuse unless this is the current version (staff edits).
    Raises: NotFoundError, BadInputError, StaleVersionError, RequestMismatchError, StoreBusyError.
    """
    call = _Call(actor, via, request, token_hash, if_version, traceparent)
    if services.suggester is not None and isinstance(event, MessageReceived):
        event = _with_suggestions(services, services.suggester, conversation_id, event, call)

    def decision(draft: Draft) -> None:
        draft.advance(event, services.links(draft.case), via.channel if via else draft.case.channel)

    return _turn(services, conversation_id, decision, call)


def _with_suggestions(
    services: Services, suggester: Suggester, conversation_id: str, event: MessageReceived, call: _Call
) -> MessageReceived:
    """The message with a language model's proposals; asked before the turn, so nothing waits for it but this message."""
    with services.store.reading() as work:
        if _found(work, call.request) is not None:
            return event
        case = work.cases.get(conversation_id, call.token_hash)
    definitions = services.editions.of(case.definitions_version)
    return with_suggestions(suggester, definitions, Conversation.from_mapping(case.conversation), event)


def decide(
    services: Services,
    conversation_id: str,
    decision: str,
    limit: str | None = None,
    *,
    by: str,
    channel: str,
    quote_number: int | None = None,
    request: Request | None = None,
    token_hash: str | None = None,
    traceparent: str = "",
) -> TurnAnswer:
    """Accept or decline the current estimate by button or API; consent and talk change in one commit.

    Raises: QuoteStateError (expired, superseded, decided), BadInputError (limit), NotFoundError (no estimate yet),
        and those of `take_turn`.
    """
    if decision not in ("accept", "decline"):
        raise BadInputError("decision", decision, "accept or decline")

    def look(work: UnitOfWork, case: Case) -> None:
        current = work.quotes.current(case.id)
        if quote_number is not None and current.number != quote_number:
            raise QuoteStateError(f"estimate {quote_number} was replaced by estimate {current.number}")

    def decide_it(draft: Draft) -> None:
        draft.decide_or_refuse(decision, limit, by, channel, services.links(draft.case))

    call = _Call(by, None, request, token_hash, None, traceparent, look)
    return _turn(services, conversation_id, decide_it, call)


def change_case(
    services: Services,
    conversation_id: str,
    change: Callable[[Definitions, Case, datetime], CaseChange],
    *,
    actor: str,
    if_version: int | None = None,
    request: Request | None = None,
    traceparent: str = "",
) -> TurnAnswer:
    """Staff and workshop changes. `change` must be pure: it is called again when somebody else was first.

    Raises: whatever `change` raises (nothing is stored then), and those of `take_turn`.
    """

    def apply(draft: Draft) -> None:
        draft.apply(
            change(draft.definitions, draft.case, draft.now), services.links(draft.case), draft.case.channel
        )

    call = _Call(actor, None, request, None, if_version, traceparent)
    return _turn(services, conversation_id, apply, call)


def _give_way(attempt: int) -> None:
    """Wait a short random time, longer each round, so that processes at one case do not keep overtaking each other."""
    time.sleep(random.uniform(0.0, min(LONGEST_PAUSE_S, FIRST_PAUSE_S * 2**attempt)))


def _turn(
    services: Services, conversation_id: str, decision: Callable[[Draft], None], call: _Call
) -> TurnAnswer:
    with services.locks.of(conversation_id):
        for attempt in range(MAX_ROUNDS):
            with services.store.reading() as work:
                stored = _found(work, call.request)
                if stored is not None:
                    return TurnAnswer(stored.status, stored.body, replayed=True)
                case = work.cases.get(conversation_id, call.token_hash)
                call.look(work, case)
            if call.if_version is not None and case.version != call.if_version:
                raise StaleVersionError(call.if_version, case.version)
            try:
                return _decide_and_save(services, case, decision, call)
            except (StaleVersionError, RequestRunningError):
                _give_way(
                    attempt
                )  # another process was first: decide again on what it left, or give its answer
    raise StoreBusyError("too many changes at once; nothing was stored")


def _decide_and_save(
    services: Services, case: Case, decision: Callable[[Draft], None], call: _Call
) -> TurnAnswer:
    definitions = services.editions.of(case.definitions_version)
    draft = Draft(
        definitions=definitions,
        assessor=services.editions.assessor(definitions),
        workshop=services.workshop,
        case=case,
        conversation=Conversation.from_mapping(case.conversation),
        now=services.now(),
        actor=call.actor,
        via=call.via,
    )
    decision(draft)
    after = replace(draft.finish(), version=case.version + 1)
    answer = TurnAnswer(200, to_json(answer_mapping(draft, after)))
    with services.store.unit_of_work() as work:
        if draft.erases:
            farewell = last_words(work, draft, after, services.ids)
            erase(services, work, after, draft.now, call.traceparent)
            work.outbox.add_all(farewell, draft.now)
        else:
            work.cases.save(after, case.version)
            if after.index.search_words != case.index.search_words:
                work.cases.save_words(after)
            if draft.via is not None:
                _remember(work, after, draft.via, draft.now)
            save_draft(work, draft, after, services.ids, services.source, call.traceparent)
        _keep_answer(work, call.request, answer, None if draft.erases else case.id, draft.now)
        work.commit()
    if draft.erases:
        services.store.forget(case.id)
    services.wake()
    return answer


def _found(work: UnitOfWork, request: Request | None) -> StoredAnswer | None:
    """The stored answer to this request. Raises RequestMismatchError when the key came with another content."""
    if request is None:
        return None
    stored = work.answers.find(request.scope, request.key)
    if stored is not None and stored.fingerprint != request.fingerprint:
        raise RequestMismatchError("this key was used before with another content")
    return stored


def _stored(services: Services, request: Request | None) -> StoredAnswer | None:
    if request is None:
        return None
    with services.store.reading() as work:
        return _found(work, request)


def _keep_answer(
    work: UnitOfWork, request: Request | None, answer: TurnAnswer, case_id: str | None, now: datetime
) -> None:
    if request is not None:
        stored = StoredAnswer(request.fingerprint, answer.status, answer.body, case_id)
        work.answers.add(request.scope, request.key, stored, now)


def _remember(work: UnitOfWork, case: Case, via: Via, now: datetime) -> None:
    if via.address:
        work.addresses.put(Address(via.channel, via.address, case.id, dict(via.thread), now))


def erase_case(services: Services, conversation_id: str, *, token_hash: str | None = None) -> None:
    """Erase a case: rows, photos, and the bytes the database keeps in its log.

    Raises: NotFoundError; ConflictError while the case is on legal hold.
    """
    with services.locks.of(conversation_id), services.store.unit_of_work() as work:
        case = work.cases.get(conversation_id, token_hash)
        erase(services, work, case, services.now())
        work.commit()
    services.store.forget(conversation_id)
    services.wake()


def erase(services: Services, work: UnitOfWork, case: Case, now: datetime, traceparent: str = "") -> None:
    """Remove a case and everything that hangs on it, and tell the shop's systems.

    The caller commits, and then lets the store forget what is outside the tables (`Store.forget`).
    Raises: ConflictError while the case is on legal hold.
    """
    if case.legal_hold:
        raise ConflictError("this case must be kept for now")
    work.cases.delete(case.id)
    announce(work, case, "conversation.erased", services.ids, services.source, now, traceparent)
