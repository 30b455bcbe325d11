"""A customer's proof: the token of their talk, kept in a cookie of this host (never in an address).

The cookie holds the newest talks of this browser as `id.token`, so that somebody with two devices to repair can go
back and forth. An unknown talk and somebody else's talk look the same: no such page.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import g, request
from werkzeug.wrappers import Response as BaseResponse

from intakebot.conversation import Conversation
from intakebot.errors import NotFoundError
from intakebot.records.tokens import hash_secret
from intakebot.web import cases, security, words

MOST_TALKS = 6
KEEP_SECONDS = 120 * 24 * 3600


def check(view_args: Mapping[str, Any]) -> None:
    """Load the talk named in the address, if this browser holds its token. Raises NotFoundError."""
    talk = str(view_args.get("talk", ""))
    token = dict(_held()).get(talk)
    if token is None:
        raise NotFoundError("no such conversation")
    g.token_hash = hash_secret(token)
    cases.load(talk, g.token_hash)
    words.use_locale(g.case.locale)


def conversation() -> Conversation:
    """The talk of this request."""
    return g.conversation


def remember(response: BaseResponse, talk: str, token: str) -> BaseResponse:
    """Keep a talk's token in this browser."""
    others = [pair for pair in _held() if pair[0] != talk][: MOST_TALKS - 1]
    return _write(response, [(talk, token), *others])


def forget(response: BaseResponse, talk: str) -> BaseResponse:
    """Drop a talk's token from this browser."""
    return _write(response, [pair for pair in _held() if pair[0] != talk])


def held_talks() -> tuple[str, ...]:
    """Ids of the talks this browser holds, newest first."""
    return tuple(talk for talk, _ in _held())


def _held() -> list[tuple[str, str]]:
    raw = request.cookies.get(security.cookie_name("talks"), "")[:2000]
    pairs = [item.partition(".") for item in raw.split("|")]
    return [(talk, token) for talk, dot, token in pairs if dot and talk and token][:MOST_TALKS]


def _write(response: BaseResponse, pairs: list[tuple[str, str]]) -> BaseResponse:
    security.set_cookie(response, "talks", "|".join(f"{talk}.{token}" for talk, token in pairs), KEEP_SECONDS)
    return response
