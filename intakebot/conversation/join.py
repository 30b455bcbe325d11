"""Going on with a talk on another channel by a one-time code.

The caller makes the code (at least 20 bits, from a secure source) and sends it to the *first* channel; knowing a phone
number or address is never enough, because numbers are handed on. A code lives ten minutes, works once, and five
wrong tries end it (OWASP ASVS 5.0, 6.5.1, 6.5.4, 6.5.5, 6.6.3). Only its SHA-256, bound to the conversation's id,
is kept.
"""

from __future__ import annotations

import hashlib
import hmac
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal

from intakebot.conversation.state import Conversation, JoinCode
from intakebot.errors import BadInputError

LIFETIME = timedelta(minutes=10)
TRIES = 5
MINIMUM_LENGTH = 7
"""Seven digits hold log2(10^7) = 23.2 bits, above the 20 asked for; six digits (19.9) would not."""


@dataclass(frozen=True)
class JoinResult:
    """Store `conversation` whatever `ok` says: tries are counted and a used code is gone."""

    conversation: Conversation
    ok: bool
    reason: Literal["joined", "no_code", "expired", "wrong", "too_many_tries"]


def issue_join_code(conversation: Conversation, code: str, now: datetime) -> Conversation:
    """Set the code that lets another channel go on with this talk; a former one stops working.

    Raises: BadInputError when the code has under seven characters.
    """
    clean = _clean(code)
    if len(clean) < MINIMUM_LENGTH:
        raise BadInputError("code", f"{len(clean)} characters", f"at least {MINIMUM_LENGTH}")
    return replace(conversation, join_code=JoinCode(_digest(conversation.id, clean), now + LIFETIME, TRIES))


def redeem_join_code(conversation: Conversation, code: str, now: datetime, channel: str) -> JoinResult:
    """Try a code; on success the talk goes on over `channel` and the code is used up."""
    held = conversation.join_code
    if held is None:
        return JoinResult(conversation, False, "no_code")
    if now >= held.expires_at:
        return JoinResult(replace(conversation, join_code=None), False, "expired")
    if hmac.compare_digest(held.digest, _digest(conversation.id, _clean(code))):
        return JoinResult(replace(conversation, join_code=None, channel=channel), True, "joined")
    if held.tries_left <= 1:
        return JoinResult(replace(conversation, join_code=None), False, "too_many_tries")
    fewer = replace(held, tries_left=held.tries_left - 1)
    return JoinResult(replace(conversation, join_code=fewer), False, "wrong")


def _clean(code: str) -> str:
    return "".join(code[:100].split()).replace("-", "").casefold()


def _digest(conversation_id: str, code: str) -> str:
    return hashlib.sha256(f"{conversation_id}:{code}".encode()).hexdigest()
