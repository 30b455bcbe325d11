"""What every request passes through: who is asking, is it their own form, and what the answer's headers say.

Order before a view: declared access (default deny) -> person or conversation -> origin and CSRF token for changes.
Sources: OWASP ASVS 5.0 chapters 3 and 7 (CSRF, headers, sessions); RFC 6265bis for the `__Host-` prefix.
"""

from __future__ import annotations

import hashlib
import hmac
from typing import Any
from urllib.parse import urlsplit

from flask import Flask, Response, abort, current_app, g, redirect, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from intakebot.records.tokens import new_secret
from intakebot.web import customers, sessions
from intakebot.web.access import OWN_AUTHENTICATION, STAFF, declared
from intakebot.web.services import Services

CONTENT_SECURITY_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
    "font-src 'none'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'; object-src 'none'"
)
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})


class CsrfError(Exception):
    """A change that did not come from one of our own forms."""


def protect(app: Flask, services: Services) -> None:
    """Put the checks before, and the headers behind, every view of the application."""
    app.before_request(_check_request)
    app.after_request(_set_headers)
    app.extensions["intakebot"] = services


def services() -> Services:
    """The services of the application that answers this request."""
    return current_app.extensions["intakebot"]


def has_own_authentication() -> bool:
    """Whether the request is for a part that checks its callers itself."""
    return request.blueprint in OWN_AUTHENTICATION


def csrf_token() -> str:
    """The token to put into every form: bound to the visitor's own cookie, worthless to anybody else."""
    bound_to = g.get("session_token") or visitor()
    return hmac.new(services().secret_key, b"csrf:" + bound_to.encode(), hashlib.sha256).hexdigest()


def cookie_name(name: str) -> str:
    """`__Host-` only where a browser accepts it: over https."""
    return f"__Host-{name}" if services().is_secure else name


def set_cookie(response: BaseResponse, name: str, value: str, seconds: int | None) -> None:
    """Set one of our cookies: for this host only, not readable by scripts, not sent from other sites' forms."""
    response.set_cookie(
        cookie_name(name),
        value,
        max_age=seconds,
        path="/",
        secure=services().is_secure,
        httponly=True,
        samesite="Lax",
    )


def visitor() -> str:
    """A random name for this browser, made on the first visit and kept in a cookie; nothing is stored about it."""
    if "visitor" not in g:
        held = request.cookies.get(cookie_name("visitor"), "")
        g.visitor_is_new = not 20 <= len(held) <= 100
        g.visitor = new_secret() if g.visitor_is_new else held
    return g.visitor


def _check_request() -> Any:
    g.person, g.session_token = None, None
    if has_own_authentication():
        return None
    if request.endpoint is None:
        return None  # no such page, or not with this method: the error page follows
    allowed = _access_of(request.endpoint)
    sessions.load_person()
    if request.method not in SAFE_METHODS:
        _check_own_form()
    if "public" in allowed:
        return None
    if "customer" in allowed:
        return customers.check(request.view_args or {})
    if g.person is None:
        return _ask_to_sign_in(allowed)
    if g.person.role not in allowed:
        abort(403)
    return None


def _access_of(endpoint: str) -> frozenset[str]:
    return frozenset({"public"}) if endpoint == "static" else declared(current_app.view_functions[endpoint])


def _ask_to_sign_in(allowed: frozenset[str]) -> Any:
    if not allowed & STAFF:
        abort(403)
    if request.method in SAFE_METHODS:
        return redirect(url_for("signin.page", next=request.full_path.rstrip("?")))
    abort(401)


def _check_own_form() -> None:
    """The browser's word for where a change comes from, then the token (both must agree)."""
    site = request.headers.get("Sec-Fetch-Site")
    if site is not None and site not in {"same-origin", "none"}:
        raise CsrfError(f"Sec-Fetch-Site {site}")
    origin = request.headers.get("Origin")
    if origin is not None and urlsplit(origin).netloc != request.host:
        raise CsrfError("another origin")
    if not hmac.compare_digest(request.form.get("csrf", "").encode(), csrf_token().encode()):
        raise CsrfError("no token of ours")


def _set_headers(response: Response) -> Response:
    if g.get("visitor_is_new"):
        set_cookie(response, "visitor", g.visitor, 365 * 24 * 3600)
    if has_own_authentication():
        return response
    headers = response.headers
    headers.setdefault("Content-Security-Policy", CONTENT_SECURITY_POLICY)
    headers["X-Content-Type-Options"] = "nosniff"
    headers["X-Frame-Options"] = "DENY"
    headers["Referrer-Policy"] = "same-origin"
    headers["Cross-Origin-Opener-Policy"] = "same-origin"
    headers["Cross-Origin-Resource-Policy"] = "same-origin"
    headers["Permissions-Policy"] = "camera=(), microphone=(), geolocation=()"
    if request.endpoint != "static":
        headers["Cache-Control"] = "no-store"
    if services().is_secure:
        headers["Strict-Transport-Security"] = "max-age=63072000; includeSubDomains"
    return response
