"""A small mail server for customers' mail: the shop's own mail server hands it over by LMTP (or SMTP) on this machine.

It answers 250 only after the turn is on disk. Automatic mail is taken and dropped; what may work later gets 451, what
never will 554. It listens on the loopback address by default and takes mail for the shop's one address only.
Source: RFC 2033 (LMTP), RFC 5321 (reply codes).
"""

from __future__ import annotations

import asyncio
import logging
from datetime import datetime
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.lmtp import LMTP
from aiosmtpd.smtp import SMTP

from intakebot.channels.email_in import MAX_MAIL_BYTES, EmailInbound
from intakebot.channels.incoming import Incoming
from intakebot.errors import BadInputError, IntakebotError, RequestMismatchError
from intakebot.turns import Services

_log = logging.getLogger("intakebot.mail")


class MailHandler:
    """What aiosmtpd calls; each mail is one turn, taken in a thread of its own."""

    def __init__(
        self, services: Services, incoming: Incoming, address: str, trusted: tuple[str, ...] = ()
    ) -> None:
        self._services = services
        self._incoming = incoming
        self._address = address.lower()
        self._channel = EmailInbound(trusted)

    async def handle_RCPT(
        self, server: Any, session: Any, envelope: Any, address: str, options: list[str]
    ) -> str:
        if address.lower() != self._address:
            return "550 5.1.1 no such address here"
        envelope.rcpt_tos.append(address)
        return "250 2.1.5 OK"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        content, sender = bytes(envelope.content or b""), envelope.mail_from or ""
        return await asyncio.get_running_loop().run_in_executor(None, self.take, content, sender)

    def take(self, content: bytes, sender: str, now: datetime | None = None) -> str:
        """One mail; the reply for the mail server that handed it over."""
        try:
            message = self._channel.receive({"mail-from": sender}, content, now or self._services.now())
        except BadInputError as error:
            automatic = error.found == "automatic mail"
            return "250 2.0.0 taken, not read" if automatic else f"554 5.6.0 {error.where} cannot be used"
        try:
            self._incoming.take(message, "email")
        except RequestMismatchError:  # the same Message-ID with another content: the first one counted
            return "250 2.0.0 seen before"
        except BadInputError as error:
            return f"554 5.6.0 {error.where} cannot be used"
        except IntakebotError as error:
            _log.warning("mail put off: %s", type(error).__name__)
            return "451 4.3.0 please try again later"
        return "250 2.0.0 OK"


class MailServer(Controller):
    """Listens until `stop`. protocol: `lmtp` or `smtp`."""

    def __init__(self, handler: MailHandler, host: str, port: int, protocol: str = "lmtp") -> None:
        self._protocol = LMTP if protocol == "lmtp" else SMTP
        super().__init__(handler, hostname=host, port=port)

    def factory(self) -> Any:
        return self._protocol(self.handler, data_size_limit=MAX_MAIL_BYTES, enable_SMTPUTF8=True)
