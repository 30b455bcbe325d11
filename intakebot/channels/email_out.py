"""E-mail to customers over SMTP: one mail a turn, in the same thread, marked as automatic.

Source: RFC 5322 (Message-ID, In-Reply-To, References), RFC 3834 (Auto-Submitted), RFC 2369 and 8058 (unsubscribe).
"""

from __future__ import annotations

import smtplib
import ssl
from dataclasses import dataclass
from datetime import datetime
from email.message import EmailMessage
from email.utils import format_datetime

from intakebot.channels.rendering import rendered
from intakebot.channels.seam import Abilities, OutboundMessage, Receipt

MAX_REFERENCES = 20


@dataclass(frozen=True)
class MailServer:
    """Where mail is handed over.

    security: `none` (only for a server on this machine), `starttls`, `tls`. sender: our address, as customers see it.
    """

    host: str
    port: int
    sender: str
    sender_name: str = ""
    security: str = "starttls"
    user: str = ""
    password: str = ""
    timeout_s: float = 20.0


class EmailSender:
    """Outbound e-mail. `subject` makes the subject of a new thread from a reference and a locale."""

    abilities = Abilities(choices=False, pictures=True, max_length=None, alphabet="unicode")

    def __init__(self, server: MailServer, subject: str = "Your repair request {reference}") -> None:
        self._server = server
        self._subject = subject

    def send(self, message: OutboundMessage, now: datetime) -> Receipt:
        """Hand one mail over. 4xx answers and trouble on the way may be tried again, 5xx may not."""
        try:
            mail = self.compose(message, now)
        except ValueError as error:  # an address or subject that cannot be a header
            return Receipt("refused", error=str(error)[:200])
        try:
            with self._connect() as connection:
                connection.send_message(mail, self._server.sender, [message.address])
            return Receipt("delivered", 250)
        except smtplib.SMTPRecipientsRefused as error:
            status, reason = next(iter(error.recipients.values()))
            return _receipt(status, reason)
        except smtplib.SMTPResponseException as error:
            return _receipt(error.smtp_code, error.smtp_error)
        except (smtplib.SMTPException, OSError) as error:
            return Receipt("retry", error=type(error).__name__)

    def compose(self, message: OutboundMessage, now: datetime) -> EmailMessage:
        """The mail, threaded behind the last one that came. Raises: ValueError for an unusable address."""
        mail = EmailMessage()
        name = self._server.sender_name
        mail["From"] = f'"{name}" <{self._server.sender}>' if name else self._server.sender
        mail["To"] = message.address
        mail["Subject"] = str(
            message.thread.get("subject") or self._subject.format(reference=message.reference)
        )
        mail["Date"] = format_datetime(now)
        mail["Message-ID"] = message_id_for(message.id, self._server.sender)
        references = [str(each) for each in message.thread.get("references", ())][-MAX_REFERENCES:]
        if references:
            mail["In-Reply-To"] = references[-1]
            mail["References"] = " ".join(references)
        mail["Auto-Submitted"] = "auto-replied" if references else "auto-generated"
        mail["List-Unsubscribe"] = f"<mailto:{self._server.sender}?subject=STOP>"
        mail.set_content("\n\n".join(rendered(message, self.abilities)) + "\n")
        return mail

    def _connect(self) -> smtplib.SMTP:
        server = self._server
        if server.security == "tls":
            context = ssl.create_default_context()
            connection: smtplib.SMTP = smtplib.SMTP_SSL(
                server.host, server.port, timeout=server.timeout_s, context=context
            )
        else:
            connection = smtplib.SMTP(server.host, server.port, timeout=server.timeout_s)
            if server.security == "starttls":
                connection.starttls(context=ssl.create_default_context())
        if server.user:
            connection.login(server.user, server.password)
        return connection


def message_id_for(item_id: str, sender: str) -> str:
    """The Message-ID of a delivery: the same over retries, so that a doubled mail shows as one."""
    return f"<{item_id}@{sender.rpartition('@')[2]}>"


def _receipt(status: int, reason: bytes | str) -> Receipt:
    text = reason.decode("utf-8", "replace") if isinstance(reason, bytes) else reason
    outcome = "retry" if 400 <= status < 500 else "refused"
    return Receipt(outcome, status, text[:200])  # type: ignore[arg-type]
