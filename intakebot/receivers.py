"""Who is sent to: asked for permission, tested, switched off and on again; for the API and the desk alike.

A receiver is named as in the outbox: `endpoint:<id>`, `gateway:<id>`, `email`, or what another channel uses; only the
first two can be switched off.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
from dataclasses import replace
from datetime import datetime
from typing import Any

from intakebot.channels.handshake import rate_permission
from intakebot.errors import BadInputError, ConflictError, NotFoundError
from intakebot.records import UnitOfWork
from intakebot.records.endpoints import Endpoint, Endpoints, Gateways
from intakebot.records.outbox import NewItem
from intakebot.services import Services
from intakebot.turn_save import EVENT_TYPE_PREFIX

NOT_ASKED_YET = "the receiver has not been asked yet"


def add_endpoint(work: UnitOfWork, services: Services, endpoint: Endpoint, traceparent: str = "") -> Endpoint:
    """Store a new or changed endpoint; with `handshake: required` it gets nothing until its receiver has said yes."""
    if endpoint.handshake == "required":
        endpoint = replace(endpoint, state="unconfirmed", reason=NOT_ASKED_YET, allowed_rate=None)
        work.endpoints.put(endpoint)
        ask_again(work, services, endpoint, traceparent)
    else:
        endpoint = replace(endpoint, state="active", reason="", allowed_rate=None)
        work.endpoints.put(endpoint)
    return endpoint


def ask_again(work: UnitOfWork, services: Services, endpoint: Endpoint, traceparent: str = "") -> None:
    """Queue the question whether an endpoint wants to hear from us. The caller commits and wakes the relay."""
    now, target = services.now(), f"endpoint:{endpoint.id}"
    item = NewItem(
        services.ids.message_id("out"), "handshake", target, None, {}, now, traceparent=traceparent
    )
    work.outbox.add_all([item], now)


def confirmation_key(secret_key: bytes, endpoint: Endpoint) -> str:
    """The secret in an endpoint's callback URL: 256 bits made from our key, the endpoint and its URL.

    Computed rather than stored; a changed URL ends the links that were sent to the old one.
    """
    named = f"endpoint confirmation\n{endpoint.id}\n{endpoint.url}".encode()
    return base64.urlsafe_b64encode(hmac.new(secret_key, named, hashlib.sha256).digest()).decode().rstrip("=")


def confirm_by_callback(services: Services, endpoint_id: str, key: str, rate: str = "") -> Endpoint:
    """The receiver opened its callback URL: it allows us to send.

    Raises: NotFoundError for an unknown endpoint or a wrong key (not told apart); BadInputError for an unusable rate;
        ConflictError while the endpoint is switched off.
    """
    permission = rate_permission(rate)
    if not permission.granted:
        raise BadInputError("WebHook-Allowed-Rate", rate[:20], "a whole number of requests a minute, or *")
    with services.store.unit_of_work() as work:
        endpoint = work.endpoints.get(endpoint_id)
        if not hmac.compare_digest(key.encode(), confirmation_key(services.secret_key, endpoint).encode()):
            raise NotFoundError("no such receiver")
        if endpoint.state == "disabled":
            raise ConflictError("this endpoint is switched off")
        confirm(work, endpoint_id, permission.rate, services.now())
        work.commit()
    services.wake()
    with services.store.reading() as work:
        return work.endpoints.get(endpoint_id)


def confirm(work: UnitOfWork, endpoint_id: str, rate: int | None, now: datetime) -> None:
    """Remember that a receiver said yes, and send what failed for want of it."""
    work.endpoints.confirm(endpoint_id, rate)
    work.outbox.replay_target(f"endpoint:{endpoint_id}", now)


def switch_on(services: Services, target: str, traceparent: str = "") -> int:
    """Switch a receiver on and send everything that was given up once more, in order; how many that is.

    An endpoint with a handshake is asked first; what was given up goes when it says yes. Raises: NotFoundError.
    """
    kind, _, name = target.partition(":")
    with services.store.unit_of_work() as work:
        again = 0
        if kind == "endpoint" and (endpoint := work.endpoints.get(name)).handshake == "required":
            add_endpoint(work, services, replace(endpoint, failing_since=None), traceparent)
        else:
            receivers = _receivers(work, target)
            receivers.get(name)
            receivers.enable(name)
            again = work.outbox.replay_target(target, services.now())
        work.commit()
    services.wake()
    return again


def replay(services: Services, item_id: str, *, target: str | None = None) -> None:
    """Send one given-up or delivered item once more, under the same id.

    target: refuse an item of another receiver. Raises: NotFoundError; ConflictError while the receiver is switched off.
    """
    with services.store.unit_of_work() as work:
        item = work.outbox.get(item_id)
        if target is not None and item.target != target:
            raise NotFoundError("no such delivery")
        _check_is_on(work, item.target)
        work.outbox.replay(item.id, services.now())
        work.commit()
    services.wake()


def replay_all(services: Services, target: str) -> int:
    """Send everything that was given up for a receiver once more, in order; how many. Raises as `replay`."""
    with services.store.unit_of_work() as work:
        _check_is_on(work, target)
        again = work.outbox.replay_target(target, services.now())
        work.commit()
    services.wake()
    return again


def _check_is_on(work: UnitOfWork, target: str) -> None:
    kind, _, name = target.partition(":")
    if kind in ("endpoint", "gateway") and _receivers(work, target).get(name).state == "disabled":
        raise ConflictError("this receiver is switched off; switch it on first")


def switch_off(services: Services, target: str, reason: str) -> None:
    """Send nothing more there; what waits is given up and can be sent again later. Raises: NotFoundError."""
    with services.store.unit_of_work() as work:
        receivers = _receivers(work, target)
        receivers.get(target.partition(":")[2])
        disable(work, target, reason, services.now())
        work.commit()


def disable(work: UnitOfWork, target: str, reason: str, now: datetime) -> None:
    """Switch a receiver off within a unit of work."""
    _receivers(work, target).disable(target.partition(":")[2], reason)
    work.outbox.fail_target(target, reason, now)


def _receivers(work: UnitOfWork, target: str) -> Endpoints | Gateways:
    kind = target.partition(":")[0]
    if kind == "endpoint":
        return work.endpoints
    if kind == "gateway":
        return work.gateways
    raise NotFoundError("no such receiver")


def queue_test(services: Services, target: str, traceparent: str = "") -> str:
    """Queue a test, which is tried once; the delivery's id.

    An endpoint gets an event of type `intakebot.endpoint.test`, a gateway a body of type `gateway.test`, and the shop's
    own address a short mail. Raises: NotFoundError; ConflictError when the receiver is switched off.
    """
    now, address = services.now(), ""
    kind, _, name = target.partition(":")
    with services.store.unit_of_work() as work:
        if kind == "email":
            address = services.editions.current.pricing.shop.email
            body: dict[str, Any] = {"locale": services.editions.current.locales[0]}
        else:
            _receivers(work, target)
            _check_is_on(work, target)
            body = {"type": "gateway.test"} if kind == "gateway" else _test_event(services, name, now)
        item = NewItem(
            services.ids.message_id("out"),
            "test",
            target,
            None,
            body,
            now,
            address=address,
            traceparent=traceparent,
        )
        work.outbox.add_all([item], now)
        work.commit()
    services.wake()
    return item.id


def _test_event(services: Services, endpoint_id: str, now: datetime) -> dict[str, Any]:
    return {
        "specversion": "1.0",
        "id": services.ids.message_id("evt"),
        "source": services.source,
        "type": EVENT_TYPE_PREFIX + "endpoint.test",
        "subject": endpoint_id,
        "time": now.isoformat().replace("+00:00", "Z"),
        "datacontenttype": "application/json",
        "data": {},
    }
