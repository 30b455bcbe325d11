"""Standard Webhooks 1.0: sign and verify, symmetric (`v1`) only.

Signed bytes are `id.timestamp.body` with the raw body. A signature header may hold several signatures (rotation); one
that matches is enough. Written out here, and not taken from the reference library, because a clock must be given from
outside; tests use that library as the peer in both directions.

Source: Standard Webhooks specification 1.0.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import secrets
from collections.abc import Mapping, Sequence
from datetime import datetime

from intakebot.errors import SignatureError

PREFIX = "whsec_"
TOLERANCE_S = 300
MIN_KEY_BYTES, MAX_KEY_BYTES = 24, 64


def new_signing_secret() -> str:
    """A fresh secret of 32 random bytes, as `whsec_` and base64."""
    return PREFIX + base64.b64encode(secrets.token_bytes(32)).decode()


def key_of(secret: str) -> bytes:
    """The key bytes of a secret.

    Raises: SignatureError for an empty, short or unreadable secret: an empty key would sign for everyone.
    """
    try:
        key = base64.b64decode(secret.removeprefix(PREFIX), validate=True)
    except (binascii.Error, ValueError) as error:
        raise SignatureError("a signing secret cannot be read; expected whsec_ and base64") from error
    if not MIN_KEY_BYTES <= len(key) <= MAX_KEY_BYTES:
        raise SignatureError(f"a signing secret must hold {MIN_KEY_BYTES} to {MAX_KEY_BYTES} bytes")
    return key


def sign(secret: str, message_id: str, timestamp: int, body: bytes) -> str:
    """One signature, `v1,<base64>`."""
    signed = f"{message_id}.{timestamp}.".encode() + body
    digest = hmac.new(key_of(secret), signed, hashlib.sha256).digest()
    return "v1," + base64.b64encode(digest).decode()


def headers_for(secrets_in_use: Sequence[str], message_id: str, now: datetime, body: bytes) -> dict[str, str]:
    """The three headers; one signature for each secret in use, so that a rotation needs no agreed moment."""
    timestamp = int(now.timestamp())
    signatures = " ".join(sign(secret, message_id, timestamp, body) for secret in secrets_in_use)
    return {"webhook-id": message_id, "webhook-timestamp": str(timestamp), "webhook-signature": signatures}


def verify(secrets_in_use: Sequence[str], headers: Mapping[str, str], body: bytes, now: datetime) -> str:
    """The message id, if the message is signed with one of the secrets and not older or newer than five minutes.

    Args:
        headers: any mapping; names are compared without case.
    Raises: SignatureError, with a text that may be shown to the sender.
    """
    given = {name.lower(): value for name, value in headers.items()}
    message_id = given.get("webhook-id", "")
    if not message_id or "." in message_id or len(message_id) > 256:
        raise SignatureError("webhook-id is missing or not usable")
    timestamp = _timestamp(given.get("webhook-timestamp", ""))
    if abs(now.timestamp() - timestamp) > TOLERANCE_S:
        raise SignatureError("webhook-timestamp is too old or too new")
    expected = [sign(secret, message_id, timestamp, body) for secret in secrets_in_use]
    matches = [
        hmac.compare_digest(candidate.encode(), wanted.encode())
        for candidate in given.get("webhook-signature", "").split(" ")[:10]
        for wanted in expected
    ]
    if not any(matches):
        raise SignatureError("webhook-signature does not match")
    return message_id


def _timestamp(text: str) -> int:
    if not text.isascii() or not text.isdigit() or len(text) > 12:
        raise SignatureError("webhook-timestamp is missing or not a number")
    return int(text)
