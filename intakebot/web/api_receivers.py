"""Webhook endpoints, gateways, shop keys: set up, rotated, tested, looked into by the shop's own systems."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from intakebot import receivers
from intakebot.channels.gateway import SignedGateway
from intakebot.channels.incoming import Incoming
from intakebot.channels.signing import new_signing_secret
from intakebot.errors import BadInputError, ConflictError
from intakebot.records.access import ShopKey
from intakebot.records.endpoints import Endpoint, Gateway, Secret, rotated
from intakebot.records.outbox import Item
from intakebot.records.tokens import hash_secret
from intakebot.web.api_call import KEY_PREFIX, Call
from intakebot.web.api_operations import Answer

ROTATION = timedelta(hours=24)
"""How long an old signing secret or key goes on after a rotation."""
MOST_RECEIVERS = 100
DELIVERY_STATES = ("waiting", "done", "failed", "set_aside", "dropped")


_ORIGIN = re.compile(
    r"(?=.{1,253}$)[A-Za-z0-9]([A-Za-z0-9-]*[A-Za-z0-9])?(\.[A-Za-z0-9]([A-Za-z0-9-]*[A-Za-z0-9])?)*"
)


def _moment(moment: datetime | None) -> str | None:
    return None if moment is None else moment.isoformat()


# ---- endpoints -----------------------------------------------------------------------------------------------------


def endpoint_mapping(endpoint: Endpoint) -> dict[str, Any]:
    return {
        "id": endpoint.id,
        "url": endpoint.url,
        "description": endpoint.description,
        "event_types": list(endpoint.event_types),
        "state": endpoint.state,
        "reason": endpoint.reason,
        "failing_since": _moment(endpoint.failing_since),
        "created_at": endpoint.created_at.isoformat(),
        "handshake": endpoint.handshake,
        "allowed_rate": endpoint.allowed_rate,
    }


def add_endpoint(call: Call) -> Answer:
    """The signing secret is in the answer, and only there. The receiver is asked for permission in the background."""
    turns, body = call.services.turns, call.body
    call.services.guard.check(body["url"])
    endpoint = Endpoint(
        id=turns.ids.message_id("ep")[:40],
        url=body["url"],
        description=body.get("description", ""),
        event_types=tuple(body.get("event_types", ())),
        secrets=(Secret(new_signing_secret()),),
        created_at=turns.now(),
        handshake=body.get("handshake", "required"),
    )
    with turns.store.unit_of_work() as work:
        if len(work.endpoints.all()) >= MOST_RECEIVERS:
            raise ConflictError("there are too many endpoints; remove one first")
        endpoint = receivers.add_endpoint(work, turns, endpoint, call.traceparent)
        work.commit()
    turns.wake()
    return Answer(201, endpoint_mapping(endpoint) | {"secret": endpoint.secrets[0].secret})


def change_endpoint(call: Call) -> Answer:
    """Another URL, description, choice of events, or handshake. A new URL is asked for permission anew."""
    turns, body = call.services.turns, call.body
    if "url" in body:
        call.services.guard.check(body["url"])
    with turns.store.unit_of_work() as work:
        before = work.endpoints.get(call.path["id"])
        after = replace(
            before,
            url=body.get("url", before.url),
            description=body.get("description", before.description),
            event_types=tuple(body.get("event_types", before.event_types)),
            handshake=body.get("handshake", before.handshake),
        )
        if (after.url, after.handshake) != (before.url, before.handshake) and before.state != "disabled":
            after = receivers.add_endpoint(work, turns, after, call.traceparent)
        else:
            work.endpoints.put(after)
        work.commit()
    turns.wake()
    return Answer(200, endpoint_mapping(after))


def confirm_endpoint(call: Call) -> Answer:
    """Where a receiver says yes to its registration: the callback of the handshake, by GET or POST."""
    rate = call.http.headers.get("WebHook-Allowed-Rate", "")
    endpoint = receivers.confirm_by_callback(
        call.services.turns, call.path["id"], call.http.args.get("key", "")[:100], rate
    )
    return Answer(200, {"id": endpoint.id, "state": endpoint.state})


def list_endpoints(call: Call) -> Answer:
    with call.services.turns.store.reading() as work:
        found = work.endpoints.all()
    return Answer(200, {"endpoints": [endpoint_mapping(endpoint) for endpoint in found]})


def get_endpoint(call: Call) -> Answer:
    with call.services.turns.store.reading() as work:
        return Answer(200, endpoint_mapping(work.endpoints.get(call.path["id"])))


def remove_endpoint(call: Call) -> Answer:
    turns = call.services.turns
    with turns.store.unit_of_work() as work:
        work.endpoints.delete(call.path["id"])
        work.outbox.drop_target(f"endpoint:{call.path['id']}", turns.now())
        work.commit()
    return Answer(204, "")


def rotate_endpoint(call: Call) -> Answer:
    """A new signing secret; for a day everything is signed with both."""
    turns = call.services.turns
    new = new_signing_secret()
    with turns.store.unit_of_work() as work:
        endpoint = work.endpoints.get(call.path["id"])
        changed = replace(endpoint, secrets=rotated(endpoint.secrets, new, turns.now() + ROTATION))
        work.endpoints.put(changed)
        work.commit()
    return Answer(200, endpoint_mapping(changed) | {"secret": new})


def enable_endpoint(call: Call) -> Answer:
    """Switch an endpoint on again and send everything that failed once more, in order."""
    turns, endpoint_id = call.services.turns, call.path["id"]
    receivers.switch_on(turns, f"endpoint:{endpoint_id}", call.traceparent)
    with turns.store.reading() as work:
        return Answer(200, endpoint_mapping(work.endpoints.get(endpoint_id)))


def test_endpoint(call: Call) -> Answer:
    """Queue an event of type `intakebot.endpoint.test`, tried once; also to an endpoint that has not said yes yet."""
    target = f"endpoint:{call.path['id']}"
    return Answer(202, {"id": receivers.queue_test(call.services.turns, target, call.traceparent)})


def list_deliveries(call: Call) -> Answer:
    """The newest deliveries to this endpoint, with every try."""
    target = f"endpoint:{call.path['id']}"
    state = call.http.args.get("state")
    if state not in (None, *DELIVERY_STATES):
        raise BadInputError("state", state, "one of " + ", ".join(DELIVERY_STATES))
    with call.services.turns.store.reading() as work:
        work.endpoints.get(call.path["id"])
        items = work.outbox.of_target(target, state)
        tries = {item.id: work.outbox.attempts_of(item.id) for item in items}
    return Answer(200, {"deliveries": [delivery_mapping(item, tries[item.id]) for item in items]})


def delivery_mapping(item: Item, tries: tuple[Any, ...]) -> dict[str, Any]:
    return {
        "id": item.id,
        "kind": item.kind,
        "state": item.state,
        "created_at": item.created_at.isoformat(),
        "due_at": item.due_at.isoformat(),
        "attempt": item.attempt,
        "last_error": item.last_error,
        "attempts": [
            {
                "number": each.number,
                "at": each.at.isoformat(),
                "status": each.status,
                "error": each.error,
                "took_ms": each.took_ms,
            }
            for each in tries
        ],
    }


def replay_delivery(call: Call) -> Answer:
    """Send one finished delivery once more, under the same id."""
    receivers.replay(call.services.turns, call.path["delivery_id"], target=f"endpoint:{call.path['id']}")
    return Answer(202, {"id": call.path["delivery_id"]})


# ---- gateways ------------------------------------------------------------------------------------------------------


def gateway_mapping(gateway: Gateway) -> dict[str, Any]:
    return {
        "id": gateway.id,
        "url": gateway.url,
        "alphabet": gateway.alphabet,
        "max_parts": gateway.max_parts,
        "pictures": gateway.pictures,
        "choices": gateway.choices,
        "state": gateway.state,
        "reason": gateway.reason,
        "failing_since": _moment(gateway.failing_since),
        "created_at": gateway.created_at.isoformat(),
    }


def add_gateway(call: Call) -> Answer:
    """The signing secret, used in both directions, is in the answer, and only there."""
    turns, body = call.services.turns, call.body
    call.services.guard.check(body["url"])
    gateway = Gateway(
        id=body.get("id") or turns.ids.message_id("gw")[:20],
        url=body["url"],
        secrets=(Secret(new_signing_secret()),),
        created_at=turns.now(),
        alphabet=body.get("alphabet", "unicode"),
        max_parts=body.get("max_parts", 2),
        pictures=body.get("pictures", False),
        choices=body.get("choices", False),
    )
    with turns.store.unit_of_work() as work:
        known = work.gateways.all()
        if gateway.id in {each.id for each in known} or len(known) >= MOST_RECEIVERS:
            raise ConflictError("there is a gateway with this id, or there are too many")
        work.gateways.put(gateway)
        work.commit()
    return Answer(201, gateway_mapping(gateway) | {"secret": gateway.secrets[0].secret})


def list_gateways(call: Call) -> Answer:
    with call.services.turns.store.reading() as work:
        return Answer(200, {"gateways": [gateway_mapping(each) for each in work.gateways.all()]})


def remove_gateway(call: Call) -> Answer:
    turns = call.services.turns
    with turns.store.unit_of_work() as work:
        work.gateways.delete(call.path["id"])
        work.outbox.drop_target(f"gateway:{call.path['id']}", turns.now())
        work.commit()
    return Answer(204, "")


def rotate_gateway(call: Call) -> Answer:
    """A new signing secret; for a day both are accepted and used."""
    turns = call.services.turns
    new = new_signing_secret()
    with turns.store.unit_of_work() as work:
        gateway = work.gateways.get(call.path["id"])
        changed = replace(gateway, secrets=rotated(gateway.secrets, new, turns.now() + ROTATION))
        work.gateways.put(changed)
        work.commit()
    return Answer(200, gateway_mapping(changed) | {"secret": new})


def enable_gateway(call: Call) -> Answer:
    """Switch a gateway on again, in both directions, and send everything that failed once more, in order."""
    turns, gateway_id = call.services.turns, call.path["id"]
    receivers.switch_on(turns, f"gateway:{gateway_id}", call.traceparent)
    with turns.store.reading() as work:
        return Answer(200, gateway_mapping(work.gateways.get(gateway_id)))


def test_gateway(call: Call) -> Answer:
    """Queue a body of type `gateway.test`, tried once."""
    target = f"gateway:{call.path['id']}"
    return Answer(202, {"id": receivers.queue_test(call.services.turns, target, call.traceparent)})


def allow_inbound(call: Call) -> Answer:
    """The handshake from the other side: a gateway asks whether it may deliver here, and how fast.

    Source: HTTP 1.1 Web Hooks for Event Delivery 1.0.2 (CloudEvents), section 4.2.
    """
    with call.services.turns.store.reading() as work:
        gateway = work.gateways.get(call.path["gateway"])
    headers = {"Allow": "OPTIONS, POST"}
    origin = call.http.headers.get("WebHook-Request-Origin", "").strip()
    if gateway.state == "active" and _ORIGIN.fullmatch(origin):
        burst = call.services.limits.burst
        rate = max(1, burst.quota * 60 // burst.window_s)
        headers |= {"WebHook-Allowed-Origin": origin, "WebHook-Allowed-Rate": str(rate)}
    return Answer(204, "", headers)


def inbound(call: Call) -> Answer:
    """A customer's message from a gateway. The same webhook-id has one effect and one answer."""
    services = call.services
    with services.turns.store.reading() as work:
        gateway = work.gateways.get(call.path["gateway"])
    channel = SignedGateway(gateway, services.guard)
    message = channel.receive(dict(call.http.headers), call.raw, services.turns.now())
    voice = "sms" if gateway.alphabet == "gsm7" else "web"
    answer = Incoming(services.turns, services.photos, services.guard).take(message, voice)
    taken = {name: answer.mapping[name] for name in ("conversation_id", "reference", "version")}
    return Answer(200, taken)


# ---- keys ----------------------------------------------------------------------------------------------------------


def key_mapping(key: ShopKey) -> dict[str, Any]:
    return {
        "id": key.id,
        "name": key.name,
        "scopes": list(key.scopes),
        "created_at": key.created_at.isoformat(),
        "expires_at": _moment(key.expires_at),
        "revoked_at": _moment(key.revoked_at),
        "last_used_at": _moment(key.last_used_at),
    }


def add_key(call: Call) -> Answer:
    """The key is in the answer, and only there. A key cannot make one with more scopes than its own."""
    turns, body = call.services.turns, call.body
    assert call.shop_key is not None
    more = set(body["scopes"]) - set(call.shop_key.scopes)
    if more:
        raise BadInputError("scopes", ", ".join(sorted(more)), "scopes that the calling key has")
    days = body.get("days")
    expires_at = None if days is None else turns.now() + timedelta(days=days)
    key, shown = new_key(turns.ids, body["name"], tuple(body["scopes"]), turns.now(), expires_at)
    with turns.store.unit_of_work() as work:
        work.shop_keys.add(key)
        work.commit()
    return Answer(201, key_mapping(key) | {"key": shown})


def new_key(
    ids: Any, name: str, scopes: tuple[str, ...], now: datetime, expires_at: datetime | None = None
) -> tuple[ShopKey, str]:
    """A fresh shop key and its text `ik_<id>.<secret>` (256 bits), which is shown once."""
    secret = ids.secret()
    key = ShopKey(ids.message_id("key")[:24], name, hash_secret(secret), scopes, now, expires_at)
    return key, f"{KEY_PREFIX}{key.id}.{secret}"


def list_keys(call: Call) -> Answer:
    with call.services.turns.store.reading() as work:
        return Answer(200, {"keys": [key_mapping(key) for key in work.shop_keys.all()]})


def rotate_key(call: Call) -> Answer:
    """A new key with the same name and scopes; the old one goes on for a day."""
    turns = call.services.turns
    with turns.store.unit_of_work() as work:
        old = work.shop_keys.get(call.path["id"])
        if old.revoked_at is not None:
            raise ConflictError("a revoked key cannot be rotated")
        if set(old.scopes) - set(call.shop_key.scopes if call.shop_key else ()):
            raise ConflictError("this key has scopes that the calling key lacks")
        key, shown = new_key(turns.ids, old.name, old.scopes, turns.now(), old.expires_at)
        work.shop_keys.add(replace(key, replaces=old.id))
        work.shop_keys.expire(old.id, turns.now() + ROTATION)
        work.commit()
    return Answer(200, key_mapping(key) | {"key": shown})


def revoke_key(call: Call) -> Answer:
    turns = call.services.turns
    with turns.store.unit_of_work() as work:
        work.shop_keys.get(call.path["id"])
        work.shop_keys.revoke(call.path["id"], turns.now())
        work.commit()
    return Answer(204, "")
