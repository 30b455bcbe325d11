"""Standard Webhooks: the official vector, negatives, and the reference library as peer in both directions."""

from __future__ import annotations

import base64
from datetime import UTC, datetime, timedelta

import pytest
from standardwebhooks.webhooks import Webhook, WebhookVerificationError

from intakebot.channels.signing import headers_for, key_of, new_signing_secret, sign, verify
from intakebot.errors import SignatureError

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
ID = "msg_p5jXN8AQM9LWM0D4loKWxJek"
TIME = 1614265330
BODY = b'{"test": 2432232314}'
SIGNATURE = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
AT = datetime.fromtimestamp(TIME, UTC)
"""Source: test vector of the Standard Webhooks reference libraries."""

UTF8 = '{"type":"quote.ready","data":{"note":"Ça saute — ディスク"}}'.encode()


def _headers(**changes: str) -> dict[str, str]:
    plain = {"webhook-id": ID, "webhook-timestamp": str(TIME), "webhook-signature": SIGNATURE}
    return plain | {name.replace("_", "-"): value for name, value in changes.items()}


def test_the_official_vector_is_signed_and_verified() -> None:
    assert sign(SECRET, ID, TIME, BODY) == SIGNATURE
    assert verify([SECRET], _headers(), BODY, AT) == ID


@pytest.mark.parametrize(
    ("secret", "body", "signature"),
    [
        pytest.param(SECRET, UTF8, "v1,xqPnTFtXWEnadNG1SaggsRnoFcYG6tIkWs1JX9FOr+w=", id="utf-8"),
        pytest.param(SECRET, b"{}", "v1,ekMEuoRyDrJhwIs4d9Smk0jcUWX26g/uJyAAHBGHq04=", id="empty-object"),
        pytest.param(
            "whsec_AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAE=",
            UTF8,
            "v1,/2eiMjp2Jmx334NAXfOqKwDTxVFftGKy9a84MV/aFcs=",
            id="second-key",
        ),
    ],
)
def test_derived_vectors(secret: str, body: bytes, signature: str) -> None:
    """Computed once with openssl from the same rule: HMAC-SHA256 over `id.timestamp.body`."""
    assert sign(secret, "msg_utf8_0001", 1_700_000_000, body) == signature


@pytest.mark.parametrize(
    ("headers", "body", "seconds"),
    [
        pytest.param(_headers(webhook_signature=SIGNATURE[:-2] + "A="), BODY, 0, id="last-character"),
        pytest.param(_headers(webhook_signature="v2," + SIGNATURE[3:]), BODY, 0, id="v2-only"),
        pytest.param(_headers(), b'{"test":2432232314}', 0, id="re-serialised"),
        pytest.param(_headers(webhook_timestamp="hello"), BODY, 0, id="timestamp-word"),
        pytest.param(_headers(webhook_timestamp=""), BODY, 0, id="timestamp-empty"),
        pytest.param(_headers(webhook_timestamp="١٦١٤٢٦٥٣٣٠"), BODY, 0, id="timestamp-other-digits"),
        pytest.param(_headers(), BODY, 301, id="too-old"),
        pytest.param(_headers(), BODY, -301, id="too-new"),
        pytest.param(_headers(webhook_id="msg.with.dots"), BODY, 0, id="id-with-dots"),
        pytest.param(_headers(webhook_id=""), BODY, 0, id="id-empty"),
        pytest.param({}, BODY, 0, id="no-headers"),
        pytest.param(_headers(webhook_signature=""), BODY, 0, id="signature-empty"),
    ],
)
def test_what_is_not_rightly_signed_is_refused(headers: dict[str, str], body: bytes, seconds: int) -> None:
    with pytest.raises(SignatureError):
        verify([SECRET], headers, body, AT + timedelta(seconds=seconds))


@pytest.mark.parametrize("seconds", [-300, 0, 300])
def test_five_minutes_either_way_are_allowed(seconds: int) -> None:
    assert verify([SECRET], _headers(), BODY, AT + timedelta(seconds=seconds)) == ID


@pytest.mark.parametrize("secret", ["", "whsec_", "whsec_AAAA", "whsec_not base64!", "whsec_" + "A" * 200])
def test_a_secret_that_would_sign_for_everyone_is_refused(secret: str) -> None:
    with pytest.raises(SignatureError):
        key_of(secret)


def test_during_a_rotation_either_secret_verifies() -> None:
    old, new = new_signing_secret(), new_signing_secret()
    headers = headers_for([new, old], "msg_1", AT, BODY)

    assert verify([old], headers, BODY, AT) == verify([new], headers, BODY, AT) == "msg_1"
    assert len(headers["webhook-signature"].split()) == 2


def test_header_names_are_compared_without_case() -> None:
    headers = {name.title(): value for name, value in _headers().items()}

    assert verify([SECRET], headers, BODY, AT) == ID


def test_new_secrets_hold_32_random_bytes() -> None:
    secrets = {new_signing_secret() for _ in range(50)}

    assert len(secrets) == 50
    assert all(len(base64.b64decode(secret.removeprefix("whsec_"))) == 32 for secret in secrets)


def test_the_reference_library_accepts_what_we_sign() -> None:
    """Peer: the standardwebhooks package, which compares with the real clock, so this test signs with it too."""
    now = datetime.now(UTC)

    assert Webhook(SECRET).verify(UTF8, headers_for([SECRET], "msg_2", now, UTF8)) is not None


def test_we_accept_what_the_reference_library_signs() -> None:
    signature = Webhook(SECRET).sign("msg_3", AT, UTF8.decode())
    headers = {"webhook-id": "msg_3", "webhook-timestamp": str(TIME), "webhook-signature": signature}

    assert verify([SECRET], headers, UTF8, AT) == "msg_3"


def test_the_reference_library_refuses_what_we_tamper_with() -> None:
    now = datetime.now(UTC)
    headers = headers_for([SECRET], "msg_4", now, UTF8)

    with pytest.raises(WebhookVerificationError):
        Webhook(SECRET).verify(UTF8 + b" ", headers)
