"""The composition root: settings in; a migrated store, turn services and the web application out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING, cast

from intakebot.assess import Assessments
from intakebot.channels.email_out import EmailSender, MailServer
from intakebot.channels.guard import Guard
from intakebot.channels.incoming import Incoming
from intakebot.channels.mail_server import MailHandler
from intakebot.channels.mail_server import MailServer as MailListener
from intakebot.channels.relay import Relay
from intakebot.definitions.model import Definitions
from intakebot.editions import Editions
from intakebot.errors import DefinitionError
from intakebot.model_server import ModelServer
from intakebot.packing.bench_queue import Queue
from intakebot.quoting.profiles import profile_check
from intakebot.records import Case, Store, migrate, open_store
from intakebot.records.photos import PhotoStore
from intakebot.settings import Settings
from intakebot.turns import Services, build_services, utc_now
from intakebot.understanding.checking import phrase_problems
from intakebot.workshop import Workshop
from intakebot.workshop.bench_load import LOOK_BACK_DAYS, bench_queue

if TYPE_CHECKING:
    from flask import Flask


@dataclass(frozen=True)
class Shop:
    """A shop that is ready to serve: what every command and every page shares."""

    settings: Settings
    turns: Services
    photos: PhotoStore
    guard: Guard
    relay: Relay

    @property
    def store(self) -> Store:
        return self.turns.store


class _Late:
    """What is needed before it is there: the workshop asks the library, turns wake the relay."""

    editions: Editions | None = None
    relay: Relay | None = None

    def wake(self) -> None:
        if self.relay is not None:
            self.relay.wake()

    def assessor_of(self, definitions: Definitions) -> Assessments:
        assert self.editions is not None
        return cast("Assessments", self.editions.assessor(definitions))


def open_shop(settings: Settings) -> Shop:
    """Migrate the database, load the definitions, build the services.

    Raises: SettingsError, DefinitionError; nothing is started then.
    """
    migrate(settings.database_url)
    store = open_store(settings.database_url, settings.data_dir)
    late = _Late()
    base = settings.base_url

    def links(case: Case) -> dict[str, str]:
        """Addresses of the customer's pages, for channels where they are not a tap away."""
        if case.channel == "web":
            return {}
        talk = f"{base}/talk/{case.id}"
        return {"form": f"{talk}/form", "estimate": f"{talk}/estimate", "packing": f"{talk}/packing"}

    workshop = Workshop(late.assessor_of, utc_now, partial(queue_now, store, utc_now))
    turns = build_services(
        store, settings.definitions_root, Assessments, workshop, settings.secret_key,
        links=links, source=base, wake=late.wake,
        suggester=ModelServer(settings.model_url, settings.model_key) if settings.model_url else None,
    )  # fmt: skip
    problems = [*phrase_problems(turns.editions.current), *profile_check(turns.editions.current)]
    if problems:
        store.close()
        raise DefinitionError(problems)
    late.editions = turns.editions
    photos = PhotoStore(settings.photos_url, store, turns.ids, turns.now)
    guard = Guard()
    late.relay = Relay(turns, guard, _mail(settings, turns))
    return Shop(settings, turns, photos, guard, late.relay)


def _mail(settings: Settings, turns: Services) -> EmailSender | None:
    mail = settings.mail
    if mail is None:
        return None
    name = turns.editions.current.pricing.shop.name
    return EmailSender(
        MailServer(mail.host, mail.port, mail.sender, name, mail.security, mail.user, mail.password)
    )


def queue_now(store: Store, now: Callable[[], datetime], definitions: Definitions) -> Queue:
    """How busy the bench is, read from the records."""
    with store.reading() as work:
        lessons = work.outcomes.since(now() - timedelta(days=LOOK_BACK_DAYS))
        counts = work.cases.counts()
    return bench_queue(definitions.pricing.calendar, lessons, counts.get("bench", 0) + counts.get("box", 0))


def mail_server(shop: Shop) -> MailListener | None:
    """The listener for customers' mail; None when it is not switched on."""
    settings = shop.settings
    if settings.mail_listen is None:
        return None
    incoming = Incoming(shop.turns, shop.photos, shop.guard)
    handler = MailHandler(shop.turns, incoming, settings.mail_address, settings.mail_authserv)
    return MailListener(handler, *settings.mail_listen)


def make_app(shop: Shop) -> Flask:
    """The web application: pages and JSON API."""
    from intakebot.web.api import api_blueprint
    from intakebot.web.api_call import ApiServices
    from intakebot.web.api_limits import limiter_for
    from intakebot.web.app import create_app
    from intakebot.web.services import Services as PageServices

    settings = shop.settings
    limiter = limiter_for(shop.store)
    api = api_blueprint(
        ApiServices(
            turns=shop.turns,
            photos=shop.photos,
            base_url=settings.base_url,
            limiter=limiter,
            guard=shop.guard,
        )
    )
    return create_app(
        PageServices(
            turns=shop.turns,
            photos=shop.photos,
            base_url=settings.base_url,
            definitions_root=settings.definitions_root,
            sends_mail=settings.mail is not None,
            limiter=limiter,
            blueprints=(api,),
        )
    )
