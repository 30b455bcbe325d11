"""Signed-in people: sessions kept on the server, found by the hash of the cookie's token, ended at any time.

A session ends after 30 minutes without a request, after 12 hours in any case, at sign-out, when its person is made
inactive or gets another role, and when they end their other sessions (ASVS 5.0, 7.3 and 7.4).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from flask import g, request
from werkzeug.wrappers import Response as BaseResponse

from intakebot.errors import NotFoundError
from intakebot.records.access import User, WebSession
from intakebot.records.tokens import hash_secret, new_secret
from intakebot.web import security

IDLE = timedelta(minutes=30)
LONGEST = timedelta(hours=12)
NOTE_EVERY = timedelta(minutes=1)
COOKIE = "session"


@dataclass(frozen=True)
class Person:
    """Somebody of the shop, signed in. role: owner, desk or technician."""

    id: str
    login: str
    name: str
    role: str

    @property
    def actor(self) -> str:
        """How the log names them."""
        return f"staff:{self.id}"


def load_person() -> None:
    """Find out who is asking; nobody when there is no live session."""
    token = request.cookies.get(security.cookie_name(COOKIE), "")
    if not 20 <= len(token) <= 100:
        return
    services, now = security.services(), security.services().now()
    with services.store.reading() as work:
        try:
            session = work.web_sessions.get(hash_secret(token))
            user = work.users.get(session.user_id)
        except NotFoundError:
            return
    if not user.active or now >= session.expires_at or now - session.seen_at >= IDLE:
        return
    g.session_token = token
    g.person = Person(user.id, user.login, user.name, user.role)
    if now - session.seen_at >= NOTE_EVERY:
        with services.store.unit_of_work() as work:
            work.web_sessions.touch(session.id_hash, now)
            work.commit()


def start(response: BaseResponse, user: User) -> BaseResponse:
    """Sign a person in under a new session id; an older session of this browser ends."""
    services, now, token = security.services(), security.services().now(), new_secret()
    with services.store.unit_of_work() as work:
        if g.session_token is not None:
            work.web_sessions.delete(hash_secret(g.session_token))
        work.web_sessions.prune(now)
        work.web_sessions.add(
            WebSession(
                id_hash=hash_secret(token),
                user_id=user.id,
                created_at=now,
                seen_at=now,
                expires_at=now + LONGEST,
                data={},
            )
        )
        work.commit()
    security.set_cookie(response, COOKIE, token, None)
    return response


def end(response: BaseResponse) -> BaseResponse:
    """Sign out: the session is gone on the server, whatever the browser keeps."""
    services = security.services()
    with services.store.unit_of_work() as work:
        work.web_sessions.delete(hash_secret(g.session_token))
        work.commit()
    response.delete_cookie(
        security.cookie_name(COOKIE), path="/", secure=services.is_secure, httponly=True, samesite="Lax"
    )
    return response


def end_others(user_id: str) -> None:
    """End every session of a person except the one that asks (if it is theirs)."""
    services = security.services()
    keep = hash_secret(g.session_token) if g.session_token and g.person and g.person.id == user_id else None
    with services.store.unit_of_work() as work:
        work.web_sessions.delete_of(user_id, keep=keep)
        work.commit()
