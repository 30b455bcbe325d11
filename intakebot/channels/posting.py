"""Signed POSTs to others, and what their answers mean.

Only 2xx is success. 3xx is a failure and never followed; 410 means the receiver is gone; everything else may work
later, after Retry-After if it was given. Source: Standard Webhooks 1.0; RFC 9110, sections 10.2.3 and 15.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime

import requests

from intakebot.channels.guard import Fetched, Guard
from intakebot.channels.seam import Receipt
from intakebot.channels.signing import headers_for
from intakebot.errors import BadInputError, SignatureError

USER_AGENT = "intakebot"
LONGEST_WAIT_S = 24 * 3600


def post_signed(
    guard: Guard,
    url: str,
    secrets_in_use: Sequence[str],
    message_id: str,
    body: bytes,
    now: datetime,
    *,
    content_type: str,
    traceparent: str = "",
    origin: str = "",
) -> Receipt:
    """POST a signed body and say what came of it; never raises for trouble on the way.

    origin: the name this installation asked for permission under; goes along as `WebHook-Request-Origin`.
    """
    try:
        headers = headers_for(secrets_in_use, message_id, now, body)
        headers |= {"content-type": content_type, "user-agent": USER_AGENT}
        if origin:
            headers["WebHook-Request-Origin"] = origin
        if traceparent:
            headers["traceparent"] = traceparent
        return receipt_of(guard.post(url, body, headers), now)
    except SignatureError as error:
        return Receipt("refused", error=str(error))
    except BadInputError as error:
        return Receipt("retry", error=f"the address cannot be used: expected {error.expected}")
    except (requests.RequestException, OSError) as error:
        return Receipt("retry", error=type(error).__name__)


def receipt_of(fetched: Fetched, now: datetime) -> Receipt:
    """What an HTTP answer means."""
    status = fetched.status
    if 200 <= status < 300:
        return Receipt("delivered", status)
    if status == 410:
        return Receipt("gone", status, "the receiver answered 410 Gone")
    wait = retry_after_s(fetched.headers.get("retry-after", ""), now)
    return Receipt("retry", status, f"the receiver answered {status}", wait)


def retry_after_s(text: str, now: datetime) -> int | None:
    """Seconds of a Retry-After header (a number or a date), capped at a day; None when there is none to use."""
    text = text.strip()
    if text.isascii() and text.isdigit() and len(text) < 10:
        return min(int(text), LONGEST_WAIT_S)
    try:
        moment = parsedate_to_datetime(text)
    except (TypeError, ValueError):
        return None
    moment = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
    return max(0, min(int((moment - now).total_seconds()), LONGEST_WAIT_S))
