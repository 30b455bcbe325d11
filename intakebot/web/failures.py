"""Pages for what goes wrong: one handler per kind of error decides status and page. No ids, paths or traces."""

from __future__ import annotations

from flask import Flask, Response, render_template, request
from werkzeug.exceptions import HTTPException, InternalServerError

from intakebot.errors import (
    BadInputError,
    ConflictError,
    NotAllowedError,
    NotFoundError,
    OverCapError,
    QuoteStateError,
    RateLimitedError,
    StaleVersionError,
    StoreBusyError,
)
from intakebot.web import conflicts, security
from intakebot.web.security import CsrfError

Answer = tuple[str, int] | Response


def install(app: Flask) -> None:
    """Register the handlers."""
    app.register_error_handler(HTTPException, _http)
    app.register_error_handler(
        NotFoundError, lambda error: _page(404, "no_talk" if _wanted_a_talk() else "not_found")
    )
    app.register_error_handler(NotAllowedError, lambda error: _page(403, "not_allowed"))
    app.register_error_handler(CsrfError, lambda error: _page(403, "not_our_form"))
    app.register_error_handler(BadInputError, lambda error: _page(422, "bad_input"))
    app.register_error_handler(OverCapError, lambda error: _page(409, "over_cap"))
    app.register_error_handler(QuoteStateError, lambda error: _page(409, "quote_state"))
    app.register_error_handler(StaleVersionError, conflicts.show)
    app.register_error_handler(StoreBusyError, lambda error: _page(503, "busy"))
    app.register_error_handler(RateLimitedError, _too_often)
    app.register_error_handler(ConflictError, lambda error: _page(409, "conflict"))


def _wanted_a_talk() -> bool:
    """Whether it was a customer's page; unknown and foreign talks are not told apart."""
    return "talk" in (request.view_args or {})


def _page(status: int, name: str) -> Answer:
    """A plain page in the reader's language: what happened, and where to go on."""
    return render_template("failure.html", name=name, status=status), status


def _too_often(error: RateLimitedError) -> tuple[str, int, dict[str, str]]:
    return (
        render_template("failure.html", name="too_often", status=429),
        429,
        {"Retry-After": str(error.retry_after_s)},
    )


_NAMES = {
    400: "bad_input",
    401: "signed_out",
    403: "not_allowed",
    404: "not_found",
    405: "not_found",
    413: "too_large",
    429: "too_often",
}


def _http(error: HTTPException) -> Answer | HTTPException:
    if security.has_own_authentication() or request.path.startswith("/api/"):
        return error
    if isinstance(error, InternalServerError):
        return _page(500, "our_fault")
    code = error.code or 500
    if code < 400:
        return error
    return _page(code, _NAMES.get(code, "bad_input"))
