"""One API request, taken apart and checked before a handler sees it."""

from __future__ import annotations

import hashlib
import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from flask import Request as HttpRequest
from jsonschema import Draft202012Validator
from werkzeug.exceptions import RequestEntityTooLarge

from intakebot.channels.guard import Guard
from intakebot.errors import NotFoundError
from intakebot.records.access import RatePolicy, RateState, ShopKey
from intakebot.records.photos import PhotoStore
from intakebot.records.tokens import hash_secret
from intakebot.strict_json import parse_strict
from intakebot.turns import Request, Services
from intakebot.web.api_limits import Limiter, Limits, RateLimiter
from intakebot.web.api_metrics import Metrics
from intakebot.web.api_operations import Operation
from intakebot.web.api_problems import ProblemError, schema_problem
from intakebot.web.api_schemas import SCHEMAS

KEY_PREFIX = "ik_"
MIN_OPENING_KEY = 16
_TRACE = re.compile(r"00-(?!0{32})[0-9a-f]{32}-(?!0{16})[0-9a-f]{16}-[0-9a-f]{2}")
_KEY = re.compile(r'"([\x21\x23-\x5b\x5d-\x7e]{1,255})"|([\x21\x23-\x5b\x5d-\x7e]{1,255})')
_ETAG = re.compile(r'"v(\d{1,9})"')


@dataclass(frozen=True)
class ApiServices:
    """What the API needs, built once by the app factory's caller.

    Attributes:
        guard: checks and opens addresses outside (webhook endpoints, media); see channels.guard.
        base_url: how this server is reached, for links; no slash at the end.
    """

    turns: Services
    photos: PhotoStore
    base_url: str = ""
    limits: Limits = field(default_factory=Limits)
    limiter: Limiter = field(default_factory=RateLimiter)
    guard: Guard = field(default_factory=Guard)
    metrics: Metrics = field(default_factory=Metrics)


@dataclass
class Call:
    """What a handler gets.

    Attributes:
        body: the parsed and validated JSON value, or None.
        token_hash: SHA-256 of the customer's token. shop_key: the shop's key.
        request: set when an Idempotency-Key came; handlers pass it on to turns.
        if_version: the version of If-Match.
    """

    services: ApiServices
    operation: Operation
    http: HttpRequest
    path: Mapping[str, str]
    body: Any = None
    raw: bytes = b""
    token_hash: str | None = None
    shop_key: ShopKey | None = None
    request: Request | None = None
    if_version: int | None = None
    traceparent: str = ""
    rate: RateState | None = None
    instance: str = ""

    @property
    def caller(self) -> str:
        """Who calls, for scopes of idempotency keys and rate limits."""
        if self.shop_key is not None:
            return f"key:{self.shop_key.id}"
        if self.token_hash is not None:
            return f"token:{self.token_hash}"
        return f"address:{self.http.remote_addr}"

    @property
    def actor(self) -> str:
        return self.caller if self.shop_key is not None else "customer"

    def query_int(self, name: str, default: int, least: int, most: int) -> int:
        text = self.http.args.get(name, str(default))
        if not re.fullmatch(r"[0-9]{1,9}", text) or not least <= int(text) <= most:
            raise ProblemError(
                "unusable-value",
                f"{name} must be a whole number from {least} to {most}.",
                errors=[{"pointer": "", "detail": f"query parameter {name}", "code": "unusable"}],
            )
        return int(text)


def read_call(
    services: ApiServices, operation: Operation, http: HttpRequest, path: Mapping[str, str]
) -> Call:
    """Check everything about a request that needs no handler.

    Order: who calls, how often, size, type, content, repeat key, version.
    Raises: ProblemError, RateLimitedError, BadInputError.
    """
    call = Call(services, operation, http, path, instance=new_instance())
    call.traceparent = trace_of(http)
    _authenticate(call)
    call.rate = services.limiter.take(call.caller, _policy(call), services.turns.now())
    _read_body(call)
    _read_key(call)
    _read_version(call)
    return call


def new_instance() -> str:
    return f"urn:intakebot:request:{secrets.token_hex(8)}"


def trace_of(http: HttpRequest) -> str:
    """A usable `traceparent`, or an empty string. Source: W3C Trace Context, section 3.2."""
    text = http.headers.get("traceparent", "").strip()
    return text if _TRACE.fullmatch(text) else ""


def _policy(call: Call) -> RatePolicy:
    limits = call.services.limits
    return limits.opening if call.operation.id == "openConversation" else limits.burst


def _bearer(http: HttpRequest) -> str:
    scheme, _, token = http.headers.get("Authorization", "").partition(" ")
    token = token.strip()
    if scheme.lower() != "bearer" or not token or len(token) > 200 or not token.isascii():
        challenge = {"WWW-Authenticate": 'Bearer realm="intakebot"'}
        raise ProblemError("not-authenticated", "Send `Authorization: Bearer <token>`.", headers=challenge)
    return token


def _authenticate(call: Call) -> None:
    if call.operation.caller == "customer":
        call.token_hash = hash_secret(_bearer(call.http))
    elif call.operation.caller == "shop":
        call.shop_key = _shop_key(call)
        scope = call.operation.scope
        if scope is not None and scope not in call.shop_key.scopes:
            raise ProblemError("not-allowed", f"This key lacks the scope {scope}.")


def _shop_key(call: Call) -> ShopKey:
    token = _bearer(call.http)
    key_id, _, secret = token.removeprefix(KEY_PREFIX).partition(".")
    now = call.services.turns.now()
    store = call.services.turns.store
    try:
        if not token.startswith(KEY_PREFIX):
            raise NotFoundError("not a shop key")
        with store.reading() as work:
            key = work.shop_keys.check(key_id, secret, now)
    except NotFoundError:
        challenge = {"WWW-Authenticate": 'Bearer realm="intakebot", error="invalid_token"'}
        raise ProblemError(
            "not-authenticated", "This key is unknown, revoked or expired.", headers=challenge
        ) from None
    if key.last_used_at is None or (now - key.last_used_at).total_seconds() > 60:
        with store.unit_of_work() as work:
            work.shop_keys.used(key.id, now)
            work.commit()
    return key


def _read_body(call: Call) -> None:
    operation, http = call.operation, call.http
    if operation.body is None:
        return
    wanted = "multipart/form-data" if operation.body == "multipart" else "application/json"
    if (http.content_length or 0) > operation.max_bytes:
        raise ProblemError("too-large", f"At most {operation.max_bytes} bytes are taken here.")
    if http.mimetype != wanted:
        raise ProblemError("unsupported-media-type", f"Send {wanted}.", headers={"Accept": wanted})
    http.max_content_length = operation.max_bytes
    if operation.body == "multipart":
        return
    try:
        call.raw = http.get_data(cache=True)
    except RequestEntityTooLarge:
        raise ProblemError("too-large", f"At most {operation.max_bytes} bytes are taken here.") from None
    if operation.caller == "gateway":
        return  # the signature is checked over the raw bytes before they are read
    call.body = checked_body(call.raw, operation.body)


def checked_body(raw: bytes, schema: str) -> Any:
    """Parse strictly and validate. Raises: BadInputError, ProblemError with every schema error."""
    value = parse_strict(raw)
    errors = sorted(
        validator(schema).iter_errors(value), key=lambda error: [str(s) for s in error.absolute_path]
    )
    if errors:
        raise_schema_problem(errors)
    return value


def raise_schema_problem(errors: list[Any]) -> None:
    problem = schema_problem(errors[:20])
    raise ProblemError(problem.kind, problem.detail, errors=problem.errors)


_VALIDATORS: dict[str, Draft202012Validator] = {}


def validator(name: str) -> Draft202012Validator:
    """The compiled validator of a named schema; built once, as it never changes."""
    found = _VALIDATORS.get(name)
    if found is None:
        document = {"$ref": f"#/components/schemas/{name}", "components": {"schemas": SCHEMAS}}
        found = _VALIDATORS[name] = Draft202012Validator(document)
    return found


def _read_key(call: Call) -> None:
    if call.operation.key == "none":
        return
    given = call.http.headers.getlist("Idempotency-Key")
    if not given:
        if call.operation.key == "required":
            raise ProblemError("idempotency-key-missing", "This request needs an Idempotency-Key.")
        return
    match = _KEY.fullmatch(given[0].strip()) if len(given) == 1 else None
    if match is None:
        raise ProblemError(
            "idempotency-key-missing", "Send one Idempotency-Key of 1 to 255 visible characters."
        )
    key = match[1] or match[2]
    opening = call.operation.caller == "anyone"
    if opening and len(key) < MIN_OPENING_KEY:
        detail = f"Here the Idempotency-Key must be unguessable: at least {MIN_OPENING_KEY} characters."
        raise ProblemError("idempotency-key-missing", detail)
    who = "anyone" if opening else call.caller
    scope = f"{who}|{call.operation.id}|{call.path.get('id', '')}"
    call.request = Request(hash_secret(scope), key, fingerprint_of(call.raw))


def fingerprint_of(raw: bytes) -> str:
    return hashlib.sha256(raw).hexdigest()


def _read_version(call: Call) -> None:
    if not call.operation.if_match:
        return
    given = call.http.headers.get("If-Match", "").strip()
    if not given:
        raise ProblemError("version-missing", 'Send If-Match with the ETag you saw, such as "v7".')
    match = _ETAG.fullmatch(given)
    if match is None:
        raise ProblemError(
            "stale-version", 'The If-Match value is not one of ours; expected one such as "v7".'
        )
    call.if_version = int(match[1])
