"""The relay: takes what the outbox holds, sends it, and notes what came of it.

Claim under a lease (one transaction), send (none open), note the result (another). A crash in between repeats the same
id, never loses it. Opt-out, erasure and quiet hours are looked up right before sending, because they may have changed
since the row was written. An endpoint with a handshake gets nothing before its receiver said yes, and then no more
requests a minute than it allowed, over all relays.

A receiver that answers 410 is switched off at once; an endpoint also when every try of three days failed. A gateway is
not: it may still bring customers' answers in.
"""

from __future__ import annotations

import logging
import math
import random
import threading
import time
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from intakebot.channels.email_out import EmailSender
from intakebot.channels.gateway import SignedGateway
from intakebot.channels.guard import Guard
from intakebot.channels.handshake import ask, origin_of
from intakebot.channels.posting import post_signed
from intakebot.channels.seam import OutboundMessage, Receipt
from intakebot.channels.timing import SCHEDULE_S, next_try, nudge_time
from intakebot.conversation import Reply
from intakebot.definitions import Texts
from intakebot.errors import NotFoundError, RateLimitedError, StoreBusyError
from intakebot.receivers import confirm, confirmation_key, disable
from intakebot.records import Store, UnitOfWork
from intakebot.records.access import RatePolicy
from intakebot.records.columns import to_json
from intakebot.records.endpoints import Endpoint, usable_secrets
from intakebot.records.outbox import Attempt, Item
from intakebot.turns import Services

LEASE_S = 60
BATCH = 16
IDLE_S, SHORTEST_IDLE_S = 5.0, 0.02
WHOLE_SCHEDULE = timedelta(seconds=sum(SCHEDULE_S))
SWITCHED_OFF, UNCONFIRMED = "the endpoint is switched off", "the endpoint has not allowed us to send yet"
GATEWAY_OFF, NO_MAIL = "the gateway is switched off", "no mail server is set up"
NEVER_ANSWERED = "every try of three days failed"
_log = logging.getLogger("intakebot.relay")

Send = Callable[[datetime], Receipt]


@dataclass(frozen=True)
class Plan:
    """What to do with a claimed item: send it, drop it, give it up (it can be sent again), or wait until a time.

    rate: the most requests a minute that its receiver allows.
    """

    send: Send | None = None
    drop: str = ""
    give_up: str = ""
    until: datetime | None = None
    rate: int | None = None


class Relay:
    """Sends until stopped. Several may run at once, in one process or in many."""

    def __init__(
        self,
        services: Services,
        guard: Guard,
        email: EmailSender | None = None,
        *,
        randomness: random.Random | None = None,
        workers: int = 4,
    ) -> None:
        self._services = services
        self._guard = guard
        self._email = email
        self._random = randomness or random.Random()
        self._workers = workers
        self._wake = threading.Event()
        self._stop = threading.Event()

    @property
    def _store(self) -> Store:
        return self._services.store

    def wake(self) -> None:
        """Look at once: something new was committed."""
        self._wake.set()

    def stop(self) -> None:
        """End `run` after what is being sent."""
        self._stop.set()
        self._wake.set()

    def run(self) -> None:
        """Send what is due, then wait for more, until `stop`."""
        while not self._stop.is_set():
            self._wake.clear()
            try:
                sent = self.run_once()
            except StoreBusyError:
                sent = 0
            except Exception as error:  # the thread must go on; the text of an error may hold personal data
                _log.error("sending failed: %s", type(error).__name__)
                sent = 0
            if sent == 0:
                self._wake.wait(self._idle_s())

    def _idle_s(self) -> float:
        """How long to wait: until the next item is due, at most `IDLE_S`."""
        now = self._services.now()
        try:
            with self._store.reading() as work:
                due = work.outbox.next_due(after=now)
        except StoreBusyError:
            due = None
        wait_s = IDLE_S if due is None else (due - now).total_seconds()
        return min(IDLE_S, max(SHORTEST_IDLE_S, wait_s))

    def run_once(self, limit: int = BATCH) -> int:
        """Claim and handle up to `limit` due items; how many there were."""
        now = self._services.now()
        lease = self._services.ids.message_id("lease")
        with self._store.unit_of_work() as work:
            items = work.outbox.claim(lease, now, LEASE_S, limit)
            work.commit()
        if len(items) == 1 or self._workers == 1:
            for item in items:
                self._handle(item)
        elif items:
            with ThreadPoolExecutor(self._workers) as pool:
                list(pool.map(self._handle, items))
        return len(items)

    def _handle(self, item: Item) -> None:
        now = self._services.now()
        with self._store.reading() as work:
            plan = self._plan(work, item, now)
        if (
            plan.until is not None
            or plan.give_up
            or (plan.rate is not None and not self._may(item, plan.rate, now))
        ):
            with self._store.unit_of_work() as work:
                if plan.until is not None:
                    work.outbox.postpone(item, plan.until)
                elif plan.give_up:
                    work.outbox.given_up(item, plan.give_up, now)
                work.commit()
            return
        started = time.monotonic()
        receipt = Receipt("refused", error=plan.drop) if plan.send is None else plan.send(now)
        took_ms = int((time.monotonic() - started) * 1000)
        attempt = Attempt(item.attempt + 1, now, receipt.status, receipt.error, took_ms)
        with self._store.unit_of_work() as work:
            self._note(work, item, receipt, attempt, dropped=plan.send is None)
            work.commit()

    def _may(self, item: Item, rate: int, now: datetime) -> bool:
        """Take one of the requests a receiver allows in a minute; when there is none, all its items are put off."""
        with self._store.unit_of_work() as work:
            try:
                work.rates.take(f"sending|{item.target}", allowed(rate), now)
                free = True
            except RateLimitedError as error:
                work.outbox.put_off_target(item.target, now + timedelta(seconds=error.retry_after_s))
                free = False
            work.commit()
        return free

    def _note(
        self, work: UnitOfWork, item: Item, receipt: Receipt, attempt: Attempt, *, dropped: bool
    ) -> None:
        now = attempt.at
        if dropped:
            work.outbox.dropped(item, attempt)
        elif receipt.outcome == "delivered":
            work.outbox.sent(item, attempt)
            _set_failing(work, item.target, None)
        elif receipt.outcome == "gone":
            work.outbox.failed(item, attempt)
            if item.target != "email":
                disable(work, item.target, receipt.error, now)
        else:
            answered = self._services.now()  # waits count from the answer, which may have been long in coming
            again = next_try(attempt.number, answered, receipt.retry_after_s, self._random)
            if receipt.outcome == "refused" or again is None or item.kind == "test":
                work.outbox.failed(item, attempt)
            else:
                work.outbox.again(item, attempt, again)
            _set_failing(work, item.target, now)
            if again is None:
                _switch_off_if_silent(work, item.target, now)
        _log.info("delivery %s try %d: %s %s", item.id, attempt.number, receipt.outcome, receipt.status or "")

    # ---- what to do with an item -----------------------------------------------------------------------------------

    def _plan(self, work: UnitOfWork, item: Item, now: datetime) -> Plan:
        kind, _, name = item.target.partition(":")
        try:
            if kind == "endpoint":
                endpoint = work.endpoints.get(name)
                plan = self._plan_question if item.kind == "handshake" else self._plan_event
                return plan(item, endpoint)
            if item.kind == "test":
                return self._plan_test(work, item, kind, name)
            return self._plan_message(work, item, kind, name, now)
        except NotFoundError:
            return Plan(drop="the receiver or the case is no more")

    def _plan_event(self, item: Item, endpoint: Endpoint) -> Plan:
        if endpoint.state == "disabled":
            return Plan(give_up=SWITCHED_OFF)
        if endpoint.state == "unconfirmed" and item.kind != "test":
            return Plan(give_up=UNCONFIRMED)
        body = to_json(item.body).encode()

        def send(at: datetime) -> Receipt:
            return post_signed(
                self._guard,
                endpoint.url,
                usable_secrets(endpoint.secrets, at),
                str(item.body["id"]),
                body,
                at,
                content_type="application/cloudevents+json",
                traceparent=item.traceparent,
                origin=origin_of(self._services.source),
            )

        return Plan(send, rate=endpoint.allowed_rate)

    def _plan_question(self, item: Item, endpoint: Endpoint) -> Plan:
        """Ask for permission to send. The answer is kept before the try is noted: asking twice does no harm."""
        if endpoint.state != "unconfirmed":
            return Plan(drop="there is nothing to ask any more")
        services = self._services
        key = confirmation_key(services.secret_key, endpoint)
        callback = f"{services.source}/api/v1/endpoints/{endpoint.id}/confirmation?key={key}"
        callback = (
            callback if callback.startswith("http") else ""
        )  # an installation without an address of its own

        def send(at: datetime) -> Receipt:
            receipt, permission = ask(self._guard, endpoint.url, origin_of(services.source), callback, at)
            with self._store.unit_of_work() as work:
                if permission.granted and work.endpoints.get(endpoint.id).url == endpoint.url:
                    confirm(work, endpoint.id, permission.rate, at)
                elif not permission.granted:
                    work.endpoints.explain(endpoint.id, receipt.error)
                work.commit()
            return receipt

        return Plan(send)

    def _plan_test(self, work: UnitOfWork, item: Item, kind: str, name: str) -> Plan:
        if kind == "email":
            email = self._email
            if email is None:
                return Plan(give_up=NO_MAIL)
            locale = str(item.body["locale"])
            words = Texts(self._services.editions.current, None, locale).say("channels.test")
            test = OutboundMessage(
                item.id, item.address, (Reply(words, kind="notice"),), locale, reference=""
            )
            return Plan(lambda at: email.send(test, at))
        gateway = SignedGateway(work.gateways.get(name), self._guard)
        return Plan(lambda at: gateway.send_test(item.id, at, item.traceparent))

    def _plan_message(self, work: UnitOfWork, item: Item, kind: str, name: str, now: datetime) -> Plan:
        opted_out = work.opt_outs.has(item.target, item.address)
        if opted_out and not item.body.get("last_words"):
            return Plan(drop="the customer opted out")
        replies = self._replies(work, item)
        if not replies:
            return Plan(drop="nothing to remind of any more")
        if item.kind == "reminder":
            allowed = nudge_time(self._services.editions.current, now)
            if allowed > now:
                return Plan(until=allowed)
        address = work.addresses.find(item.target, item.address)
        thread: Mapping[str, Any] = address.thread if address else {}
        reference = work.cases.get(item.conversation_id).reference if item.conversation_id else ""
        message = OutboundMessage(item.id, item.address, replies, str(item.body["locale"]), thread, reference)
        if kind == "email":
            email = self._email
            if email is None:
                return Plan(give_up=NO_MAIL)
            return Plan(lambda at: email.send(message, at))
        receiver = work.gateways.get(name)
        if receiver.state == "disabled":
            return Plan(give_up=GATEWAY_OFF)
        gateway = SignedGateway(receiver, self._guard)
        return Plan(lambda at: gateway.send(message, at, item.traceparent))

    def _replies(self, work: UnitOfWork, item: Item) -> tuple[Reply, ...]:
        if item.kind != "reminder":
            return tuple(Reply.from_mapping(raw) for raw in item.body["replies"])
        case = work.cases.get(str(item.conversation_id))
        if case.message_count != item.body["message_count"] or case.index.floor != "self":
            return ()
        texts = Texts(self._services.editions.of(case.definitions_version), case.family, case.locale)
        return (Reply(texts.say("channels.reminder", int(item.body["number"]) - 1), kind="notice"),)


def _set_failing(work: UnitOfWork, target: str, since: datetime | None) -> None:
    kind, _, name = target.partition(":")
    if kind == "endpoint":
        work.endpoints.set_failing(name, since)
    elif kind == "gateway":
        work.gateways.set_failing(name, since)


def _switch_off_if_silent(work: UnitOfWork, target: str, now: datetime) -> None:
    """After the last try: an endpoint that took nothing for as long as the whole schedule gets nothing more."""
    kind, _, name = target.partition(":")
    if kind == "endpoint":
        since = work.endpoints.get(name).failing_since
        if since is not None and now - since >= WHOLE_SCHEDULE:
            disable(work, target, NEVER_ANSWERED, now)


def allowed(rate: int) -> RatePolicy:
    """A bucket that lets at most `rate` requests through in any minute: what it holds and what flows in add up to it."""
    burst = max(1, rate // 2)
    return RatePolicy("sending", burst, math.ceil(60 * burst / max(1, rate - burst)))
