"""A channel that keeps messages in a list: the reference for the contract, and the double in tests."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime

from intakebot.channels.rendering import rendered
from intakebot.channels.seam import Abilities, InboundMessage, OutboundMessage, Receipt
from intakebot.errors import BadInputError, SignatureError


class MemoryChannel:
    """Inbound and outbound in one. `password` plays the part of a signature."""

    def __init__(self, abilities: Abilities, password: str = "memory") -> None:
        self._abilities = abilities
        self._password = password
        self.sent: list[tuple[str, str, tuple[str, ...]]] = []
        self.receipts: list[Receipt] = []

    @property
    def abilities(self) -> Abilities:
        return self._abilities

    def receive(self, headers: Mapping[str, str], body: bytes, now: datetime) -> InboundMessage:
        if headers.get("password") != self._password:
            raise SignatureError("the password is wrong")
        try:
            raw = json.loads(body)
            return InboundMessage("memory", raw["from"], raw["id"], raw["text"], body)
        except (ValueError, KeyError, TypeError) as error:
            raise BadInputError("body", "something else", "{from, id, text}") from error

    def send(self, message: OutboundMessage, now: datetime) -> Receipt:
        """Keeps the message and gives the next planned receipt (delivered when none is planned)."""
        receipt = self.receipts.pop(0) if self.receipts else Receipt("delivered")
        if receipt.outcome == "delivered":
            self.sent.append((message.id, message.address, rendered(message, self._abilities)))
        return receipt
