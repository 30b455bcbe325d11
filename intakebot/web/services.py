"""Everything the pages need from outside, in one frozen object made by the composition root (cli) or a test."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, cast

from flask import Blueprint

from intakebot.definitions.model import Definitions
from intakebot.records import Store
from intakebot.records.photos import PhotoStore
from intakebot.turns import Services as TurnServices
from intakebot.web.api_limits import Limiter, RateLimiter

if TYPE_CHECKING:
    from intakebot.workshop import Workshop


@dataclass(frozen=True)
class Services:
    """What `create_app` needs.

    Attributes:
        turns: the store, the definitions, the clock and the workshop, as turns want them.
        photos: the photo store.
        base_url: how people reach this shop, no trailing slash; `https://` turns on secure cookies and HSTS.
        definitions_root: the folder of flows/ and pricing/, to show what is wrong with files edited since the start.
        sends_mail: whether a mail server is set up for outgoing mail.
        limiter: how often somebody may open talks, write and try to sign in (the API's own, so that both count together).
        blueprints: more blueprints to serve, the JSON API (named `api`) among them.
    """

    turns: TurnServices
    photos: PhotoStore
    base_url: str = "http://127.0.0.1:8000"
    definitions_root: Path | None = None
    sends_mail: bool = False
    limiter: Limiter = field(default_factory=RateLimiter)
    blueprints: tuple[Blueprint, ...] = field(default=())

    @property
    def definitions(self) -> Definitions:
        """The definitions new talks are made with."""
        return self.turns.editions.current

    @property
    def secret_key(self) -> bytes:
        return self.turns.secret_key

    @property
    def workshop(self) -> Workshop:
        """The shop's side: more than turns need of it."""
        return cast("Workshop", self.turns.workshop)

    def new_id(self) -> str:
        """A fresh name for a message, so that the same form sent twice is one message."""
        return self.turns.ids.message_id("web")

    @property
    def store(self) -> Store:
        return self.turns.store

    def now(self) -> datetime:
        return self.turns.now()

    @property
    def is_secure(self) -> bool:
        """Whether people come over https."""
        return self.base_url.startswith("https://")
