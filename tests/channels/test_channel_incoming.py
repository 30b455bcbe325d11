"""Messages from customers over gateway and e-mail: one effect each, pictures, and going on elsewhere."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from dataclasses import replace

import pytest
import responses
from PIL import Image

from intakebot.channels.gateway import SignedGateway
from intakebot.channels.guard import Guard
from intakebot.channels.incoming import Incoming
from intakebot.channels.seam import InboundMessage
from intakebot.channels.signing import headers_for
from intakebot.errors import BadInputError, RateLimitedError, RequestMismatchError, SignatureError
from intakebot.joining import issue_code
from intakebot.records.endpoints import Gateway, Secret
from intakebot.records.photos import PhotoStore
from intakebot.turns import Services, TurnAnswer, Via, open_case
from tests.turns.doubles import NOW

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
PHONE = "+447700900123"
GATEWAY = Gateway("g", "https://gateway.example.com/send", (Secret(SECRET),), NOW, alphabet="gsm7")


@pytest.fixture
def guard() -> Guard:
    return Guard(lambda host, port: ["8.8.8.8"])


@pytest.fixture
def incoming(services: Services, photos: PhotoStore, guard: Guard) -> Incoming:
    return Incoming(services, photos, guard)


@pytest.fixture
def http() -> Iterator[responses.RequestsMock]:
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


def _message(guard: Guard, message_id: str, **body: object) -> InboundMessage:
    raw = json.dumps({"from": PHONE, **body}).encode()
    return SignedGateway(GATEWAY, guard).receive(headers_for([SECRET], message_id, NOW, raw), raw, NOW)


def _texts(services: Services, answer: TurnAnswer) -> list[str]:
    with services.store.reading() as work:
        talk = work.messages.since(answer.mapping["conversation_id"])
    return [message.text for message in talk if message.direction == "in"]


def test_a_first_message_opens_a_conversation_and_the_next_goes_on(
    services: Services, incoming: Incoming, guard: Guard
) -> None:
    first = incoming.take(_message(guard, "m1", text="my console does not read discs"), "sms")
    second = incoming.take(_message(guard, "m2", text="nobody opened it"), "sms")

    assert first.mapping["conversation_id"] == second.mapping["conversation_id"]
    assert _texts(services, second) == ["my console does not read discs", "nobody opened it"]


def test_a_repeated_delivery_has_one_effect_and_the_same_bytes(
    services: Services, incoming: Incoming, guard: Guard
) -> None:
    for message_id in ("m1", "m2"):
        message = _message(guard, message_id, text=f"text {message_id}")
        answers = {incoming.take(message, "sms").body for _ in range(3)}
        assert len(answers) == 1

    assert _texts(services, incoming.take(message, "sms")) == ["text m1", "text m2"]


def test_the_same_id_with_another_content_is_refused(incoming: Incoming, guard: Guard) -> None:
    incoming.take(_message(guard, "m1", text="one"), "sms")

    with pytest.raises(RequestMismatchError):
        incoming.take(_message(guard, "m1", text="two"), "sms")


def test_a_switched_off_gateway_takes_nothing(guard: Guard) -> None:
    raw = b'{"from": "x"}'
    with pytest.raises(SignatureError):
        SignedGateway(replace(GATEWAY, state="disabled"), guard).receive(
            headers_for([SECRET], "m", NOW, raw), raw, NOW
        )


@pytest.mark.parametrize(
    "body",
    [b"{", b"[]", b"{}", b'{"from": ""}', b'{"from": "x", "text": 1}', b'{"from": "x", "more": 1}', b'{"from":"x","from":"y"}',
     b'{"from": "x", "sent_at": "yesterday"}', b'{"from": "x", "sent_at": "2026-11-25T09:00:00"}'],
)  # fmt: skip
def test_a_signed_but_unreadable_message_is_bad_input(guard: Guard, body: bytes) -> None:
    with pytest.raises(BadInputError):
        SignedGateway(GATEWAY, guard).receive(headers_for([SECRET], "m", NOW, body), body, NOW)


def _jpeg() -> bytes:
    buffer = io.BytesIO()
    Image.new("RGB", (20, 20), (0, 100, 0)).save(buffer, "JPEG")
    return buffer.getvalue()


def test_a_picture_by_link_is_fetched_once_and_stored(
    services: Services, incoming: Incoming, guard: Guard, http: responses.RequestsMock
) -> None:
    http.get("https://media.example.com/1", body=_jpeg())
    message = _message(guard, "m1", text="see the picture", media=[{"url": "https://media.example.com/1"}])

    for _ in range(3):
        answer = incoming.take(message, "sms")

    with services.store.reading() as work:
        stored = work.photos.all(answer.mapping["conversation_id"])
    assert (len(stored), len(http.calls)) == (1, 1)


def test_a_link_that_is_no_picture_is_said_kindly_and_the_text_is_kept(
    services: Services, incoming: Incoming, guard: Guard, http: responses.RequestsMock
) -> None:
    http.get("https://media.example.com/1", body=b"<svg onload=alert(1)>")
    answer = incoming.take(
        _message(guard, "m1", text="it skips", media=[{"url": "https://media.example.com/1"}]), "sms"
    )

    with services.store.reading() as work:
        said = [
            m.text for m in work.messages.since(answer.mapping["conversation_id"]) if m.direction == "out"
        ]
        assert work.photos.all(answer.mapping["conversation_id"]) == ()
    assert any("could not read that picture" in text for text in said)
    assert _texts(services, answer) == ["it skips"]


def test_a_talk_that_began_on_the_web_goes_on_by_gateway(
    services: Services, incoming: Incoming, guard: Guard
) -> None:
    web = open_case(services, via=Via("web"), locale="en", text="my console smells burnt")
    reference, code = issue_code(services, web.conversation_id)

    joined = incoming.take(_message(guard, "m1", text=f"{reference} {code}"), "sms")
    later = incoming.take(_message(guard, "m2", text="no liquid, nothing else"), "sms")

    assert joined.mapping["conversation_id"] == later.mapping["conversation_id"] == web.conversation_id
    with services.store.reading() as work:
        case = work.cases.get(web.conversation_id)
        sent = work.outbox.of_target("gateway:g")
    assert case.channel == "gateway:g"
    assert {item.address for item in sent} == {PHONE}


def test_a_wrong_code_moves_nothing(services: Services, incoming: Incoming, guard: Guard) -> None:
    web = open_case(services, via=Via("web"), locale="en")
    reference, code = issue_code(services, web.conversation_id)
    wrong = f"{(int(code) + 1) % 10**7:07d}"

    answer = incoming.take(_message(guard, "m1", text=f"{reference} {wrong}"), "sms")

    assert answer.mapping["conversation_id"] != web.conversation_id


def test_the_address_alone_never_opens_somebodys_talk(
    services: Services, incoming: Incoming, guard: Guard
) -> None:
    web = open_case(services, via=Via("web"), locale="en")
    reference, _ = issue_code(services, web.conversation_id)

    answer = incoming.take(_message(guard, "m1", text=reference), "sms")

    assert answer.mapping["conversation_id"] != web.conversation_id


def test_200_messages_a_day_from_one_address(services: Services, photos: PhotoStore, guard: Guard) -> None:
    incoming = Incoming(services, photos, guard)
    message = _message(guard, "m1", text="hello")
    for _ in range(200):
        incoming.take(message, "sms")

    with pytest.raises(RateLimitedError):
        incoming.take(message, "sms")
