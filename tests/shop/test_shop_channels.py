"""Whole talks through real servers: mail from the first mail to the estimate; a talk begun on the web, ended by gateway."""

from __future__ import annotations

import email
import smtplib
import socket
from collections.abc import Iterator
from email.message import EmailMessage
from email.policy import default as modern
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.handlers import Message

from intakebot.channels.email_out import EmailSender, MailServer
from intakebot.channels.incoming import Incoming
from intakebot.channels.mail_server import MailHandler
from intakebot.channels.mail_server import MailServer as MailListener
from intakebot.channels.relay import Relay
from intakebot.channels.seam import InboundMessage
from intakebot.conversation import FactsEntered, MessageReceived
from intakebot.demonstration import Played, next_words, stories
from intakebot.joining import issue_code
from intakebot.turns import Via, open_case, take_turn
from intakebot.workshop import Job

US, CUSTOMER = "desk@example.com", "nora.fennwick@example.com"


class Mailbox(Message):
    """The customer's mail server: keeps what is delivered."""

    def __init__(self) -> None:
        super().__init__()
        self.mails: list[EmailMessage] = []

    def prepare_message(self, session: Any, envelope: Any) -> EmailMessage:
        return email.message_from_bytes(envelope.content, policy=modern)  # type: ignore[return-value]

    def handle_message(self, message: Any) -> None:
        self.mails.append(message)


@pytest.fixture
def mailbox() -> Iterator[tuple[Mailbox, int]]:
    box = Mailbox()
    port = free_port()
    server = Controller(box, hostname="127.0.0.1", port=port)
    server.start()
    yield box, port
    server.stop()


@pytest.fixture
def listener(shop) -> Iterator[int]:
    port = free_port()
    handler = MailHandler(shop.turns, Incoming(shop.turns, shop.photos, shop.guard), US)
    server = MailListener(handler, "127.0.0.1", port)
    server.start()
    yield port
    server.stop()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def write(port: int, number: int, text: str, answers: EmailMessage | None) -> None:
    """A mail by the customer, quoting the one it answers as mail programs do."""
    mail = EmailMessage()
    mail["From"], mail["To"], mail["Message-ID"] = f"Nora <{CUSTOMER}>", US, f"<m{number}@example.com>"
    mail["Subject"] = "Re: " + answers["Subject"] if answers else "My player"
    if answers:
        mail["In-Reply-To"] = mail["References"] = answers["Message-ID"]
        text += "\n\nOn Wed, the shop wrote:\n" + "\n".join(
            "> " + line for line in answers.get_content().splitlines()
        )
    mail.set_content(text)
    with smtplib.LMTP("127.0.0.1", port) as connection:
        connection.send_message(mail)


def only_case(shop) -> Any:
    with shop.store.reading() as work:
        (line,) = work.cases.page().lines
        return work.cases.get(line.id)


def test_mail_goes_from_the_first_mail_to_the_estimate(shop, mailbox, listener):
    box, port = mailbox
    relay = Relay(
        shop.turns, shop.guard, EmailSender(MailServer("127.0.0.1", port, US, security="none")), workers=1
    )
    story = stories()["blue_laser"]

    write(listener, 0, story.opener, None)
    for number in range(1, 20):
        while relay.run_once():
            pass
        case = only_case(shop)
        words = next_words(shop.turns, Played(story, case.id, "", [], {}))
        if not isinstance(words, str):
            break
        write(listener, number, words, box.mails[-1])

    assert case.conversation["phase"] == "estimated"
    assert Job.of(case).estimate is not None
    texts = [mail.get_content() for mail in box.mails]
    assert "£" in texts[-1]
    assert all(mail["To"] == CUSTOMER and mail["Auto-Submitted"] for mail in box.mails)
    assert box.mails[-1]["In-Reply-To"] == f"<m{number - 1}@example.com>"


def test_talk_begun_on_the_web_ends_by_gateway_with_an_estimate(shop):
    story = stories()["blue_laser"]
    opened = open_case(shop.turns, via=Via("web"), locale="en", text=story.opener)
    played = Played(story, opened.conversation_id, "", [], {})
    first = next_words(shop.turns, played)
    take_turn(shop.turns, opened.conversation_id, MessageReceived("w1", str(first)), via=Via("web"))
    reference, code = issue_code(shop.turns, opened.conversation_id)
    incoming = Incoming(shop.turns, shop.photos, shop.guard)

    def text_message(number: int, text: str) -> Any:
        message = InboundMessage("gateway:texts", "+441632960001", f"g{number}", text, text.encode())
        return incoming.take(message, "sms").mapping

    said = text_message(0, f"{reference} {code}")
    for number in range(1, 20):
        words = next_words(shop.turns, played)
        if words is None or isinstance(words, FactsEntered):
            break
        said = text_message(number, words)

    assert said["conversation_id"] == opened.conversation_id
    assert said["state"]["phase"] == "estimated"
    with shop.store.reading() as work:
        channels = {
            message.channel
            for message in work.messages.since(opened.conversation_id)
            if message.direction == "in"
        }
    assert channels == {"web", "gateway:texts"}
    assert all(ord(character) < 0x2000 for reply in said["replies"] for character in reply["text"])
