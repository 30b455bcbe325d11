"""E-mail in and out against a real SMTP server (aiosmtpd) and a real SMTP client (smtplib)."""

from __future__ import annotations

import email.message
import smtplib
import socket
from collections.abc import Iterator
from datetime import UTC
from email import message_from_bytes, policy
from email.message import EmailMessage

import pytest
from aiosmtpd.controller import Controller

from intakebot.channels.email_in import EmailInbound, cut_quotes, html_text, is_automatic
from intakebot.channels.email_out import EmailSender, MailServer
from intakebot.channels.guard import Guard
from intakebot.channels.incoming import Incoming
from intakebot.channels.mail_server import MailHandler
from intakebot.channels.mail_server import MailServer as Listener
from intakebot.channels.relay import Relay
from intakebot.channels.seam import OutboundMessage
from intakebot.conversation import Reply
from intakebot.errors import BadInputError
from intakebot.records.photos import PhotoStore
from intakebot.turns import Services
from tests.turns.doubles import NOW

SHOP = "desk@shop.example.com"
pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning:aiosmtpd")


def free_port() -> int:
    """A port nobody listens on at this moment."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


class Mailbox:
    """The customers' mail server: keeps what arrives, answers what it is told to."""

    def __init__(self) -> None:
        self.mails: list[EmailMessage] = []
        self.answer = "250 OK"

    async def handle_DATA(self, server: object, session: object, envelope: object) -> str:
        if self.answer.startswith("250"):
            raw = bytes(envelope.content)  # type: ignore[attr-defined]
            self.mails.append(message_from_bytes(raw, policy=policy.default))  # type: ignore[arg-type]
        return self.answer


@pytest.fixture
def mailbox() -> Iterator[tuple[Mailbox, int]]:
    handler = Mailbox()
    port = free_port()
    controller = Controller(handler, hostname="127.0.0.1", port=port)
    controller.start()
    yield handler, port
    controller.stop()


def _sender(port: int) -> EmailSender:
    return EmailSender(MailServer("127.0.0.1", port, SHOP, "Lantern Desk", security="none", timeout_s=5))


def _mail(text: str, number: int, reply_to: EmailMessage | None = None, **headers: str) -> EmailMessage:
    mail = EmailMessage()
    mail["From"] = headers.pop("sender", "Ada Example <ada@example.com>")
    mail["To"] = SHOP
    mail["Subject"] = "My console"
    mail["Message-ID"] = f"<ada-{number}@example.com>"
    if reply_to is not None:
        mail["In-Reply-To"] = str(reply_to["Message-ID"])
        mail["References"] = f"{reply_to.get('References', '')} {reply_to['Message-ID']}".strip()
    for name, value in headers.items():
        mail[name.replace("_", "-")] = value
    mail.set_content(text)
    return mail


def test_a_real_smtp_conversation_from_first_mail_to_estimate(
    services: Services, photos: PhotoStore, mailbox: tuple[Mailbox, int]
) -> None:
    """Customer -> LMTP -> turn -> outbox -> SMTP -> customer, threaded, quoted text cut, until the estimate is there."""
    box, port = mailbox
    guard = Guard(lambda host, port: ["8.8.8.8"])
    lmtp = free_port()
    listener = Listener(MailHandler(services, Incoming(services, photos, guard), SHOP), "127.0.0.1", lmtp)
    listener.start()
    relay = Relay(services, guard, _sender(port), workers=1)
    text, reply = "My slot console does not read blu-ray discs, dvds play. Nobody opened it.", None
    try:
        for number in range(1, 14):
            quoted = (
                ""
                if reply is None
                else "\n\nOn Wed, the shop wrote:\n> " + reply.get_content().replace("\n", "\n> ")
            )
            with smtplib.LMTP("127.0.0.1", lmtp) as client:
                client.send_message(_mail(text + quoted, number, reply))
            relay.run_once()
            reply = box.mails[-1]
            if "At most 120 pounds" in reply.get_content():
                break
            text = "1" if "1 " in reply.get_content() else "not sure"
            text = "none of these" if "safety" in reply.get_content().lower() else text
    finally:
        listener.stop()

    assert "At most 120 pounds" in box.mails[-1].get_content()
    assert len(box.mails) == number
    assert reply is not None
    assert reply["In-Reply-To"] == f"<ada-{number}@example.com>"
    assert f"<ada-{number}@example.com>" in reply["References"]
    assert (reply["Auto-Submitted"], reply["To"], reply["Subject"]) == (
        "auto-replied",
        "ada@example.com",
        "Re: My console",
    )
    with services.store.reading() as work:
        [line] = work.cases.page().lines
        said = [m.text for m in work.messages.since(line.id) if m.direction == "in"]
    assert len(said) == number
    assert not any("wrote:" in each or ">" in each for each in said)


def test_a_mail_that_is_delivered_twice_is_one_turn(services: Services, photos: PhotoStore) -> None:
    incoming = Incoming(services, photos, Guard(lambda host, port: ["8.8.8.8"]))
    handler = MailHandler(services, incoming, SHOP)
    mail = bytes(_mail("it skips", 1))

    answers = [handler.take(mail, "ada@example.com") for _ in range(3)]

    with services.store.reading() as work:
        [line] = work.cases.page().lines
    assert {answer[:3] for answer in answers} == {"250"}
    assert line.version == 1


def test_mail_for_somebody_else_is_refused(services: Services, photos: PhotoStore) -> None:
    incoming = Incoming(services, photos, Guard(lambda host, port: ["8.8.8.8"]))
    port = free_port()
    listener = Listener(MailHandler(services, incoming, SHOP), "127.0.0.1", port, "smtp")
    listener.start()
    try:
        with smtplib.SMTP("127.0.0.1", port) as client, pytest.raises(smtplib.SMTPRecipientsRefused):
            client.sendmail("ada@example.com", ["other@example.com"], b"Subject: x\r\n\r\nhi")
    finally:
        listener.stop()


@pytest.mark.parametrize(
    "headers",
    [
        {"Auto-Submitted": "auto-replied"},
        {"Auto-Submitted": "auto-generated; owner=x"},
        {"Precedence": "bulk"},
        {"Precedence": "list"},
        {"List-Id": "<x.example.com>"},
        {"X-Auto-Response-Suppress": "All"},
        {"Return-Path": "<>"},
        {"Content-Type": "multipart/report; report-type=delivery-status; boundary=b"},
    ],
)
def test_automatic_mail_is_not_read_and_not_answered(
    services: Services, photos: PhotoStore, headers: dict[str, str]
) -> None:
    """RFC 3834, section 2; RFC 3462; RFC 2919."""
    mail = email.message.EmailMessage()
    mail["From"] = "ada@example.com"
    mail["Message-ID"] = "<1@example.com>"
    for name, value in headers.items():
        mail[name] = value
    handler = MailHandler(services, Incoming(services, photos, Guard()), SHOP)

    answer = handler.take(bytes(mail) + b"\r\nI am away until Monday\r\n", "ada@example.com")

    assert answer.startswith("250")
    with services.store.reading() as work:
        assert work.cases.page().lines == ()


def test_auto_submitted_no_and_a_bounce_address() -> None:
    """RFC 3834: `no` is a person's mail; an empty envelope sender must never be answered (RFC 5321, 4.5.5)."""
    person = _mail("hi", 1, Auto_Submitted="no")

    assert not is_automatic(person, "ada@example.com")
    assert is_automatic(person, "")


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        pytest.param(
            "Yes\n\nOn Tue, 24 Nov 2026 at 10:00, Desk <d@x.example> wrote:\n> Does it spin?",
            "Yes",
            id="english",
        ),
        pytest.param("Ja\n\nAm 24.11.26 um 10:00 schrieb Desk:\n> Dreht sie?", "Ja", id="german"),
        pytest.param("No\n\n-----Original Message-----\nFrom: Desk", "No", id="original-message"),
        pytest.param(
            "> Does it spin?\nYes, it does\n> And then?\nIt stops", "Yes, it does\nIt stops", id="inline"
        ),
        pytest.param("Hello\n-- \nAda\n+44 1632 960001", "Hello", id="signature"),
        pytest.param(
            "Yes\nOn Tue, 24 Nov 2026 at 10:00, a very long name of a desk\n<d@x.example> wrote:\n> q",
            "Yes",
            id="wrapped",
        ),
        pytest.param(
            "On power-on it clicks.\nThat is all.", "On power-on it clicks.\nThat is all.", id="no-quote"
        ),
        pytest.param("Am Anfang klickt es.", "Am Anfang klickt es.", id="no-quote-german"),
    ],
)
def test_quoted_text_is_cut_before_reading(text: str, kept: str) -> None:
    assert cut_quotes(text) == kept


def test_only_visible_text_of_html_is_read() -> None:
    html = "<html><head><style>p{}</style></head><body><p>It&nbsp;skips</p><blockquote>old</blockquote><script>x</script></body>"

    assert html_text(html) == "It skips"


@pytest.mark.parametrize(
    "sender", ["", "a@x.example, b@x.example", "undisclosed-recipients:;", "@", "no address"]
)
def test_mail_without_one_sender_is_refused(sender: str) -> None:
    raw = f"From: {sender}\r\nMessage-ID: <1@x.example>\r\n\r\nhi\r\n".encode()

    with pytest.raises(BadInputError):
        EmailInbound().receive({"mail-from": "a@x.example"}, raw, NOW)


def test_header_lines_cannot_be_smuggled_into_our_mail() -> None:
    """RFC 5322: no CR or LF inside a header."""
    sender = EmailSender(MailServer("127.0.0.1", 1, SHOP, security="none", timeout_s=1))
    message = OutboundMessage("out_1", "ada@example.com\r\nBcc: all@example.com", (Reply("x"),), "en")

    assert sender.send(message, NOW).outcome == "refused"
    folded = OutboundMessage(
        "out_1", "ada@example.com", (Reply("x"),), "en", {"subject": "a\r\nBcc: b@example.com"}
    )
    assert sender.send(folded, NOW).outcome == "refused"


@pytest.mark.parametrize(
    ("answer", "outcome"),
    [
        ("250 OK", "delivered"),
        ("451 later", "retry"),
        ("452 full", "retry"),
        ("550 unknown", "refused"),
        ("554 no", "refused"),
    ],
)
def test_smtp_answers_become_receipts(mailbox: tuple[Mailbox, int], answer: str, outcome: str) -> None:
    """RFC 5321, section 4.2.1: 4yz may be tried again, 5yz may not."""
    box, port = mailbox
    box.answer = answer

    receipt = _sender(port).send(OutboundMessage("out_1", "ada@example.com", (Reply("x"),), "en"), NOW)

    assert receipt.outcome == outcome


def test_a_mail_sent_twice_carries_the_same_message_id(mailbox: tuple[Mailbox, int]) -> None:
    box, port = mailbox
    message = OutboundMessage("out_1", "ada@example.com", (Reply("x"),), "en", reference="ABC-DEFG")

    for _ in range(2):
        _sender(port).send(message, NOW)

    assert [mail["Message-ID"] for mail in box.mails] == ["<out_1@shop.example.com>"] * 2
    assert box.mails[0]["Subject"] == "Your repair request ABC-DEFG"


def test_pictures_attached_are_found_by_type() -> None:
    mail = _mail("see picture", 1)
    mail.add_attachment(b"\xff\xd8\xff data", maintype="image", subtype="jpeg", filename="../../a.jpg")
    mail.add_attachment(b"%PDF", maintype="application", subtype="pdf", filename="a.pdf")

    message = EmailInbound().receive({"mail-from": "ada@example.com"}, bytes(mail), NOW)

    assert [(a.content_type, a.content) for a in message.attachments] == [
        ("image/jpeg", b"\xff\xd8\xff data")
    ]
    assert message.text == "see picture"


@pytest.mark.parametrize(
    ("headers", "expected"),
    [
        pytest.param("Date: Wed, 25 Nov 2026 08:00:00 +0000", "08:00", id="date-alone"),
        pytest.param(
            "Received: from b by c; Wed, 25 Nov 2026 08:59:58 +0000\nReceived: from a by b; Wed, 25 Nov 2026 08:50:00 +0000\n"
            "Date: Wed, 25 Nov 2026 05:50:00 +0000",
            "08:50",
            id="a-clock-three-hours-slow-is-corrected-by-the-first-server",
        ),
        pytest.param(
            "Received: from a by b; Wed, 25 Nov 2026 08:00:05 +0000\nDate: Wed, 25 Nov 2026 09:00:00 +0100",
            "08:00",
            id="zones-are-heeded",
        ),
        pytest.param("Received: from a by b; gibberish\nDate: yesterday", None, id="unreadable"),
        pytest.param("Date: Fri, 31 Dec 9999 23:59:59 -2359", None, id="past-the-end-of-time"),
    ],
)
def test_when_a_mail_was_sent(headers: str, expected: str | None) -> None:
    """RFC 5322, 3.6.1 (Date); RFC 5321, 4.4: the lowest Received line is the first server's, its time after the `;`."""
    raw = f"{headers}\nFrom: ada@example.com\nMessage-ID: <m@example.com>\n\nHello".encode()

    message = EmailInbound().receive({"mail-from": "ada@example.com"}, raw, NOW)

    sent = message.sent_at
    assert (None if sent is None else sent.astimezone(UTC).strftime("%H:%M")) == expected
