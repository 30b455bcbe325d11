"""Asking a webhook endpoint whether it wants to hear from us, before anything is sent there.

An OPTIONS request to the endpoint's exact URL; only the two `WebHook-Allowed-*` headers of the answer count as a yes, no
status does. A receiver may also say yes later, by opening the callback URL that was sent along.
Source: HTTP 1.1 Web Hooks for Event Delivery 1.0.2 (CloudEvents), section 4.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import urlsplit

import requests

from intakebot.channels.guard import Guard
from intakebot.channels.posting import USER_AGENT, retry_after_s
from intakebot.channels.seam import Receipt
from intakebot.errors import BadInputError

WISHED_RATE = 120
"""Requests a minute we ask for. A shop makes a few events an hour; this leaves room for sending again after a failure."""
NOT_ALLOWED = "the receiver did not allow us to send"
_RATE = re.compile(r"[1-9][0-9]{0,8}")


@dataclass(frozen=True)
class Permission:
    """What the receiver said. rate: requests a minute; None for no limit. Without `granted` the rate means nothing."""

    granted: bool
    rate: int | None = None


def origin_of(source: str) -> str:
    """The name we ask under: the host of this installation's address (a DNS expression, section 4.1.2)."""
    return urlsplit(source).hostname or "intakebot.invalid"


def permission_in(headers: Mapping[str, str], origin: str) -> Permission:
    """What an answer's headers (names in lower case) permit (section 4.2).

    The origin must be ours or `*`. A rate is a positive whole number or `*`; without one we keep to what we asked for.
    """
    allowed = headers.get("webhook-allowed-origin", "").strip()
    if allowed != "*" and allowed.lower() != origin.lower():
        return Permission(False)
    return rate_permission(headers.get("webhook-allowed-rate", ""))


def rate_permission(text: str) -> Permission:
    """A permission with the rate that a `WebHook-Allowed-Rate` names; one that cannot be read is no permission."""
    text = text.strip()
    if text == "*":
        return Permission(True)
    if not text:
        return Permission(True, WISHED_RATE)
    return Permission(True, int(text)) if _RATE.fullmatch(text) else Permission(False)


def ask(guard: Guard, url: str, origin: str, callback: str, now: datetime) -> tuple[Receipt, Permission]:
    """Ask once. The receipt says whether asking again may help: only when no usable answer came at all."""
    headers = {
        "WebHook-Request-Origin": origin,
        "WebHook-Request-Rate": str(WISHED_RATE),
        "user-agent": USER_AGENT,
    }
    if callback:
        headers["WebHook-Request-Callback"] = callback
    try:
        answer = guard.options(url, headers)
    except BadInputError as error:
        return Receipt("retry", error=f"the address cannot be used: expected {error.expected}"), Permission(
            False
        )
    except (requests.RequestException, OSError) as error:
        return Receipt("retry", error=type(error).__name__), Permission(False)
    permission = permission_in(answer.headers, origin)
    if permission.granted:
        return Receipt("delivered", answer.status), permission
    if answer.status == 429 or answer.status >= 500:
        wait = retry_after_s(answer.headers.get("retry-after", ""), now)
        return Receipt("retry", answer.status, f"the receiver answered {answer.status}", wait), permission
    return Receipt("refused", answer.status, NOT_ALLOWED), permission
