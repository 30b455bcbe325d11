"""What every channel must do. A new channel adds itself to OUTBOUND (and INBOUND) and passes, or it is not done."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass

import pytest
import responses

from intakebot.channels.email_in import EmailInbound
from intakebot.channels.email_out import EmailSender, MailServer
from intakebot.channels.gateway import SignedGateway
from intakebot.channels.guard import Guard
from intakebot.channels.memory import MemoryChannel
from intakebot.channels.rendering import rendered, split
from intakebot.channels.seam import Abilities, Inbound, InboundMessage, Outbound, OutboundMessage
from intakebot.channels.signing import headers_for
from intakebot.conversation import Reply, ReplyChoice
from intakebot.errors import BadInputError, IntakebotError
from intakebot.records.endpoints import Gateway, Secret
from tests.turns.doubles import NOW

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
GUARD = Guard(lambda host, port: ["8.8.8.8"])
GATEWAY = Gateway("g", "https://gateway.example.com/", (Secret(SECRET),), NOW, alphabet="gsm7")
BUTTONS = Gateway("b", "https://gateway.example.com/", (Secret(SECRET),), NOW, choices=True)

OUTBOUND: dict[str, Callable[[], Outbound]] = {
    "memory": lambda: MemoryChannel(Abilities(True, True, 100, "unicode")),
    "gateway-sms": lambda: SignedGateway(GATEWAY, GUARD),
    "gateway-buttons": lambda: SignedGateway(BUTTONS, GUARD),
    "email": lambda: EmailSender(
        MailServer("127.0.0.1", 1, "desk@shop.example.com", security="none", timeout_s=1)
    ),
}


@dataclass(frozen=True)
class Sample:
    """How a genuine message of a channel looks, and one that must be refused."""

    channel: Inbound
    headers: dict[str, str]
    body: bytes
    address: str
    forged: tuple[dict[str, str], bytes]


def _gateway_sample() -> Sample:
    body = json.dumps({"from": "+447700900123", "text": "hello there"}).encode()
    headers = headers_for([SECRET], "msg_1", NOW, body)
    return Sample(SignedGateway(GATEWAY, GUARD), headers, body, "+447700900123", (headers, body + b" "))


def _memory_sample() -> Sample:
    body = json.dumps({"from": "a", "id": "1", "text": "hello there"}).encode()
    channel = MemoryChannel(Abilities(True, True, 100, "unicode"))
    return Sample(channel, {"password": "memory"}, body, "a", ({"password": "x"}, body))


def _email_sample() -> Sample:
    mail = b"From: Ada <ada@example.com>\r\nMessage-ID: <1@example.com>\r\nSubject: x\r\n\r\nhello there\r\n"
    return Sample(
        EmailInbound(), {"mail-from": "ada@example.com"}, mail, "ada@example.com", ({"mail-from": ""}, mail)
    )


INBOUND = {"memory": _memory_sample, "gateway": _gateway_sample, "email": _email_sample}
NAMES = pytest.mark.parametrize("name", OUTBOUND)
SAMPLES = pytest.mark.parametrize("name", INBOUND)
QUESTION = Reply(
    "Does it spin?", (ReplyChoice("Yes", "spins:yes"), ReplyChoice("No", "spins:no")), "question"
)


def _out(*replies: Reply) -> OutboundMessage:
    return OutboundMessage("out_1", "ada@example.com", replies, "en", reference="ABC-DEFG")


@NAMES
def test_it_declares_what_it_can_carry(name: str) -> None:
    abilities = OUTBOUND[name]().abilities

    assert isinstance(abilities, Abilities)
    assert abilities.alphabet in ("gsm7", "unicode")


@NAMES
def test_sending_gives_a_receipt_and_never_raises(name: str) -> None:
    """No server answers here: that is a receipt to try again, not an error."""
    with responses.RequestsMock() as http:
        if name.startswith("gateway"):
            http.post("https://gateway.example.com/", body=ConnectionError("no route"))
        receipt = OUTBOUND[name]().send(_out(QUESTION), NOW)

    assert receipt.outcome == ("delivered" if name == "memory" else "retry")


@NAMES
def test_choices_can_always_be_answered(name: str) -> None:
    """As buttons where there are some, else as printed numbers."""
    abilities = OUTBOUND[name]().abilities

    [text] = rendered(_out(QUESTION), abilities)

    assert "Does it spin?" in text
    if not abilities.choices or abilities.alphabet == "gsm7":
        assert "1" in text
        assert "Yes" in text


@SAMPLES
def test_a_genuine_message_is_taken_in_with_its_raw_payload(name: str) -> None:
    sample = INBOUND[name]()

    message = sample.channel.receive(sample.headers, sample.body, NOW)

    assert isinstance(message, InboundMessage)
    assert (message.address, message.text.strip(), message.raw) == (
        sample.address,
        "hello there",
        sample.body,
    )
    assert message.message_id


@SAMPLES
def test_the_same_delivery_has_the_same_message_id(name: str) -> None:
    sample = INBOUND[name]()

    ids = {sample.channel.receive(sample.headers, sample.body, NOW).message_id for _ in range(3)}

    assert len(ids) == 1


@SAMPLES
def test_what_cannot_be_trusted_is_refused(name: str) -> None:
    sample = INBOUND[name]()

    with pytest.raises(IntakebotError):
        sample.channel.receive(*sample.forged, NOW)


@SAMPLES
@pytest.mark.parametrize("body", [b"", b"\x00\xff" * 50, b"{" * 5000, b"From: " + b"x" * 5000])
def test_nonsense_is_a_domain_error_and_nothing_else(name: str, body: bytes) -> None:
    sample = INBOUND[name]()
    headers = headers_for([SECRET], "msg_2", NOW, body) if name == "gateway" else sample.headers

    with pytest.raises(BadInputError):
        sample.channel.receive(headers, body, NOW)


def test_long_texts_are_cut_at_spaces_and_lose_nothing() -> None:
    text = " ".join(f"word{number}" for number in range(60))

    pieces = split(text, 50)

    assert all(len(piece) <= 50 for piece in pieces)
    assert " ".join(pieces) == text


@pytest.mark.parametrize("length", [1, 49, 50, 51, 100, 101])
def test_a_word_longer_than_a_message_is_cut_hard(length: int) -> None:
    assert "".join(split("x" * length, 50)) == "x" * length


def test_short_messages_stay_within_the_parts_a_gateway_may_use() -> None:
    """153 characters of the GSM alphabet in each joined part. Source: 3GPP TS 23.038 and 23.040; counted by smsutil."""
    import smsutil

    text = " ".join(f"word{number}" for number in range(200)) + " \u201cquoted\u201d \u2013 caf\u00e9"
    pieces = rendered(_out(Reply(text)), SignedGateway(GATEWAY, GUARD).abilities)

    assert len(pieces) > 1
    for piece in pieces:
        split_up = smsutil.split(piece)
        assert (split_up.encoding, len(split_up.parts) <= 2) == ("gsm0338", True)
