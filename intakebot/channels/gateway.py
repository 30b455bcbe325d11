"""The generic signed gateway: any SMS or messenger service behind a small adapter can drive it.

In: `POST /api/v1/inbound/{gateway}` with a JSON body (`INBOUND`), signed as Standard Webhooks.
Out: a signed POST to the gateway's URL with what to say to whom. Its `webhook-id` stays the same over retries.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from jsonschema import Draft202012Validator

from intakebot.channels.guard import Guard
from intakebot.channels.posting import post_signed
from intakebot.channels.rendering import rendered
from intakebot.channels.seam import Abilities, Attachment, InboundMessage, OutboundMessage, Receipt
from intakebot.channels.signing import verify
from intakebot.errors import BadInputError, SignatureError
from intakebot.records.columns import to_json
from intakebot.records.endpoints import Gateway, usable_secrets
from intakebot.strict_json import parse_strict

INBOUND: dict[str, Any] = {
    "type": "object",
    "required": ["from"],
    "additionalProperties": False,
    "properties": {
        "from": {"type": "string", "minLength": 1, "maxLength": 320},
        "text": {"type": "string", "maxLength": 4000},
        "choice": {"type": "string", "minLength": 1, "maxLength": 200},
        "media": {
            "type": "array",
            "maxItems": 10,
            "items": {
                "type": "object",
                "required": ["url"],
                "additionalProperties": False,
                "properties": {
                    "url": {"type": "string", "maxLength": 2000},
                    "content_type": {"type": "string", "maxLength": 100},
                },
            },
        },
        "locale": {"type": "string", "maxLength": 16},
        "sent_at": {"type": "string", "maxLength": 40},
    },
}
"""JSON Schema of what a gateway sends for each message of a customer."""

PART_LENGTH = 150
"""Characters planned for one part of a short message: 153 fit (3GPP TS 23.038), a few of which count twice."""

_VALIDATOR = Draft202012Validator(INBOUND)


class SignedGateway:
    """Inbound and outbound of one configured gateway."""

    def __init__(self, gateway: Gateway, guard: Guard) -> None:
        self._gateway = gateway
        self._guard = guard

    @property
    def abilities(self) -> Abilities:
        gateway = self._gateway
        if gateway.alphabet == "gsm7":
            return Abilities(gateway.choices, gateway.pictures, PART_LENGTH * gateway.max_parts, "gsm7")
        return Abilities(gateway.choices, gateway.pictures, None, "unicode")

    def receive(self, headers: Mapping[str, str], body: bytes, now: datetime) -> InboundMessage:
        """Signature first, over the raw bytes; only then is the body read.

        Raises: SignatureError, BadInputError.
        """
        if self._gateway.state != "active":
            raise SignatureError("this gateway is switched off")
        message_id = verify(usable_secrets(self._gateway.secrets, now), headers, body, now)
        value = parse_strict(body)
        for error in _VALIDATOR.iter_errors(value):
            where = ".".join(["message", *(str(step) for step in error.absolute_path)])
            raise BadInputError(where, "something else", error.message[:150])
        return InboundMessage(
            channel=f"gateway:{self._gateway.id}",
            address=value["from"].strip(),
            message_id=message_id,
            text=value.get("text", ""),
            choice=value.get("choice"),
            attachments=tuple(
                Attachment(media.get("content_type", ""), url=media["url"])
                for media in value.get("media", ())
            ),
            locale=value.get("locale"),
            sent_at=_moment(value.get("sent_at")),
            raw=body,
        )

    def send(self, message: OutboundMessage, now: datetime, traceparent: str = "") -> Receipt:
        return self._post(message.id, self.payload(message), now, traceparent)

    def send_test(self, item_id: str, now: datetime, traceparent: str = "") -> Receipt:
        """Post `{"type": "gateway.test"}`: nothing for a customer, only to see that the gateway takes what we sign."""
        return self._post(item_id, {"type": "gateway.test"}, now, traceparent)

    def _post(self, item_id: str, payload: Mapping[str, Any], now: datetime, traceparent: str) -> Receipt:
        return post_signed(
            self._guard,
            self._gateway.url,
            usable_secrets(self._gateway.secrets, now),
            item_id,
            to_json(payload).encode(),
            now,
            content_type="application/json",
            traceparent=traceparent,
        )

    def payload(self, message: OutboundMessage) -> dict[str, Any]:
        """What is posted: texts ready to send, and the choices as buttons where the gateway has them."""
        said = [{"text": text} for text in rendered(message, self.abilities)]
        payload: dict[str, Any] = {
            "type": "message.outbound",
            "to": message.address,
            "locale": message.locale,
            "messages": said,
        }
        if self._gateway.choices and message.replies and not message.replies[-1].several:
            payload["choices"] = [
                {"label": choice.label, "value": choice.value} for choice in message.replies[-1].choices
            ]
        return payload


def _moment(text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise BadInputError("message.sent_at", "something else", "an ISO 8601 time with a zone") from error
    if moment.tzinfo is None:
        raise BadInputError("message.sent_at", "a time without a zone", "an ISO 8601 time with a zone")
    return moment
