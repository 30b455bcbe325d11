"""The relay: takes what the outbox holds, sends it, and notes what came of it.

Claim under a lease (one transaction), send (none open), note the result (another). A crash in between repeats the same
id, never loses it. Opt-out, erasure and quiet hours are looked up right before sending, because they may have changed
since the row was written.
"""

from __future__ import annotations

import logging
import random
import threading
import time
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from intakebot.channels.email_out import EmailSender
from intakebot.channels.gateway import SignedGateway
from intakebot.channels.guard import Guard
from intakebot.channels.posting import post_signed
from intakebot.channels.seam import OutboundMessage, Receipt
from intakebot.channels.timing import next_try, nudge_time
from intakebot.conversation import Reply
from intakebot.definitions import Texts
from intakebot.errors import NotFoundError, StoreBusyError
from intakebot.records import Store, UnitOfWork
from intakebot.records.columns import to_json
from intakebot.records.endpoints import usable_secrets
from intakebot.records.outbox import Attempt, Item
from intakebot.turns import Services

LEASE_S = 60
BATCH = 16
IDLE_S = 5.0
_log = logging.getLogger("intakebot.relay")

Send = Callable[[datetime], Receipt]


@dataclass(frozen=True)
class Plan:
    """What to do with a claimed item: send it, drop it, or wait until a time."""

    send: Send | None = None
    drop: str = ""
    until: datetime | None = None


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
                self._wake.wait(IDLE_S)

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
        if plan.until is not None:
            with self._store.unit_of_work() as work:
                work.outbox.postpone(item, plan.until)
                work.commit()
            return
        started = time.monotonic()
        receipt = Receipt("refused", error=plan.drop) if plan.send is None else plan.send(now)
        took_ms = int((time.monotonic() - started) * 1000)
        attempt = Attempt(item.attempt + 1, now, receipt.status, receipt.error, took_ms)
        with self._store.unit_of_work() as work:
            self._note(work, item, receipt, attempt, dropped=plan.send is None)
            work.commit()

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
            _disable(work, item.target, receipt.error)
            work.outbox.fail_target(item.target, "the receiver is gone", now)
        else:
            again = next_try(attempt.number, now, receipt.retry_after_s, self._random)
            if receipt.outcome == "refused" or again is None:
                work.outbox.failed(item, attempt)
            else:
                work.outbox.again(item, attempt, again)
            _set_failing(work, item.target, now)
        _log.info("delivery %s try %d: %s %s", item.id, attempt.number, receipt.outcome, receipt.status or "")

    # ---- what to do with an item -----------------------------------------------------------------------------------

    def _plan(self, work: UnitOfWork, item: Item, now: datetime) -> Plan:
        kind, _, name = item.target.partition(":")
        try:
            if kind == "endpoint":
                return self._plan_event(work, item, name)
            return self._plan_message(work, item, kind, name, now)
        except NotFoundError:
            return Plan(drop="the receiver or the case is no more")

    def _plan_event(self, work: UnitOfWork, item: Item, endpoint_id: str) -> Plan:
        endpoint = work.endpoints.get(endpoint_id)
        if endpoint.state != "active":
            return Plan(drop="the endpoint is switched off")
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
            )

        return Plan(send)

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
                return Plan(drop="no mail server is set up")
            return Plan(lambda at: email.send(message, at))
        gateway = SignedGateway(work.gateways.get(name), self._guard)
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


def _disable(work: UnitOfWork, target: str, reason: str) -> None:
    kind, _, name = target.partition(":")
    if kind == "endpoint":
        work.endpoints.disable(name, reason)
    elif kind == "gateway":
        work.gateways.disable(name, reason)
