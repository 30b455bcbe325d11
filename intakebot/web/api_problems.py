"""Problem details (RFC 9457): every error answer of the API has this shape.

`type` is a stable URI reference of ours per kind of problem; `instance` names this one occurrence for the log;
`errors` points into the request with JSON Pointers (RFC 6901). Never an id of somebody else, a path or a trace.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from intakebot.errors import (
    BadInputError,
    ConflictError,
    IntakebotError,
    NotAllowedError,
    NotFoundError,
    OverCapError,
    QuoteStateError,
    RateLimitedError,
    RequestMismatchError,
    RequestRunningError,
    SignatureError,
    StaleVersionError,
    StoreBusyError,
)

TYPE_BASE = "/api/v1/problems/"

TITLES: Mapping[str, tuple[int, str]] = {
    "malformed-request": (400, "The request cannot be read"),
    "idempotency-key-missing": (400, "The Idempotency-Key header is missing or unusable"),
    "signature-invalid": (401, "The signature is missing or not valid"),
    "not-authenticated": (401, "A token or key is needed"),
    "not-allowed": (403, "This key may not do that"),
    "not-found": (404, "There is no such thing here"),
    "method-not-allowed": (405, "This address does not take that method"),
    "conflict": (409, "The state does not allow that"),
    "estimate-state": (409, "The estimate can no longer be decided"),
    "over-maximum": (409, "That would pass the authorised maximum"),
    "request-running": (409, "The same request is being answered"),
    "stale-version": (412, "It was changed meanwhile"),
    "too-large": (413, "The request is too large"),
    "unsupported-media-type": (415, "This content type is not taken here"),
    "unusable-value": (422, "A value cannot be used"),
    "idempotency-key-reused": (422, "The Idempotency-Key came before with another content"),
    "version-missing": (428, "The If-Match header is needed"),
    "quota-exceeded": (429, "Too many requests"),
    "internal": (500, "Something went wrong here"),
    "temporarily-unavailable": (503, "Not possible at this moment"),
}


@dataclass(frozen=True)
class Problem:
    """One error answer before it is serialised."""

    kind: str
    detail: str
    errors: Sequence[Mapping[str, Any]] = ()
    headers: Mapping[str, str] = field(default_factory=dict)

    @property
    def status(self) -> int:
        return TITLES[self.kind][0]

    def to_mapping(self, instance: str) -> dict[str, Any]:
        body: dict[str, Any] = {
            "type": TYPE_BASE + self.kind,
            "title": TITLES[self.kind][1],
            "status": self.status,
            "detail": self.detail,
            "instance": instance,
        }
        if self.errors:
            body["errors"] = [dict(error) for error in self.errors]
        return body


class ProblemError(IntakebotError):
    """An API problem with no meaning outside HTTP, such as a missing header."""

    def __init__(
        self, kind: str, detail: str, *, headers: Mapping[str, str] | None = None, errors: Sequence[Any] = ()
    ) -> None:
        self.problem = Problem(kind, detail, errors, headers or {})
        super().__init__(detail)


_KINDS: tuple[tuple[type[IntakebotError], str], ...] = (
    (NotFoundError, "not-found"),
    (NotAllowedError, "not-allowed"),
    (StaleVersionError, "stale-version"),
    (QuoteStateError, "estimate-state"),
    (OverCapError, "over-maximum"),
    (RequestRunningError, "request-running"),
    (RequestMismatchError, "idempotency-key-reused"),
    (ConflictError, "conflict"),
    (SignatureError, "signature-invalid"),
)


def problem_of(error: IntakebotError) -> Problem:
    """The problem a domain error becomes."""
    if isinstance(error, ProblemError):
        return error.problem
    if isinstance(error, BadInputError):
        kind = "malformed-request" if error.where.split(".")[0] == "body" else "unusable-value"
        return Problem(kind, f"{error.where}: expected {error.expected}.", [_pointed(error)])
    if isinstance(error, RateLimitedError):
        return Problem("quota-exceeded", str(error), headers={"Retry-After": str(error.retry_after_s)})
    if isinstance(error, StoreBusyError):
        return Problem("temporarily-unavailable", str(error), headers={"Retry-After": "2"})
    for kind_of_error, kind in _KINDS:
        if isinstance(error, kind_of_error):
            return Problem(kind, f"{error}.")
    return Problem("internal", "The request could not be handled. Nothing was changed.")


def _pointed(error: BadInputError) -> dict[str, Any]:
    parts = [part for part in error.where.split(".") if part != "body"]
    return {
        "pointer": "".join("/" + part.replace("~", "~0").replace("/", "~1") for part in parts),
        "detail": f"expected {error.expected}",
        "code": "unusable",
    }


def schema_problem(errors: Sequence[Any]) -> Problem:
    """The problem for a body that its JSON Schema refuses; every reason at once."""
    found = [
        {
            "pointer": "".join(f"/{_escape(str(step))}" for step in error.absolute_path),
            "detail": _short(error.message),
            "code": str(error.validator),
        }
        for error in errors
    ]
    return Problem("unusable-value", f"{len(found)} value(s) do not fit the schema.", found)


def _escape(step: str) -> str:
    return step.replace("~", "~0").replace("/", "~1")


def _short(message: str) -> str:
    return message if len(message) <= 200 else message[:90] + " ... " + message[-90:]
