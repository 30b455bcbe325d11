"""`intakebot serve`: migrate, load the demo shop once, print where everything is, serve until stopped."""

from __future__ import annotations

import logging
import signal
import socket
import sys
import threading
from collections.abc import Mapping
from types import FrameType
from typing import Any

from waitress.server import create_server

from intakebot.demonstration import play, stories
from intakebot.errors import IntakebotError, SettingsError
from intakebot.retention import keep_house
from intakebot.serving import Shop, mail_server, make_app, open_shop
from intakebot.settings import Settings, read_settings
from intakebot.triage import plan_pool
from intakebot.understanding import warm

RELAY_STOP_S = 10
HOUSEKEEPING_S = 3600
_log = logging.getLogger("intakebot.server")


def serve(environ: Mapping[str, str], *, demo: bool) -> int:
    """Serve pages and API in one process with many threads. Ctrl-C and SIGTERM stop it cleanly.

    Raises: SettingsError, DefinitionError before anything is served.
    """
    settings = read_settings(environ)
    _check_port(settings)
    shop = open_shop(settings)
    try:
        if demo:
            load_demo_cases(shop)
        app = make_app(shop)
        server: Any = create_server(
            app, host=settings.host, port=settings.port, threads=settings.threads, ident=None
        )
        _print_addresses(shop)
        relay = _start_relay(shop)
        stop = threading.Event()
        threading.Thread(target=warm_up, args=(shop,), name="warm-up", daemon=True).start()
        threading.Thread(
            target=keep_house_hourly, args=(shop, stop), name="housekeeping", daemon=True
        ).start()
        mail = mail_server(shop)
        if mail is not None:
            mail.start()
        _stop_on_signals()
        try:
            server.run()
        except (KeyboardInterrupt, SystemExit):
            pass
        finally:
            stop.set()
            server.close()
            if mail is not None:
                mail.stop()
            shop.relay.stop()
            relay.join(timeout=RELAY_STOP_S)
    finally:
        shop.store.close()
    print("Stopped.", flush=True)
    return 0


def run_relay(environ: Mapping[str, str]) -> int:
    """`intakebot relay`: send what waits in the outbox, until stopped."""
    shop = open_shop(read_settings(environ))
    stop = threading.Event()

    def leave(number: int, frame: FrameType | None) -> None:
        stop.set()

    signal.signal(signal.SIGINT, leave)
    signal.signal(signal.SIGTERM, leave)
    try:
        print("Sending what waits in the outbox. Ctrl-C stops.", flush=True)
        thread = _start_relay(shop)
        stop.wait()
        shop.relay.stop()
        thread.join(timeout=RELAY_STOP_S)
    finally:
        shop.store.close()
    return 0


def _check_port(settings: Settings) -> None:
    """A taken port is explained before the database is touched."""
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((settings.host, settings.port))
        except OSError as error:
            raise SettingsError(
                f"INTAKEBOT_PORT: {settings.host}:{settings.port} cannot be used ({error.strerror}); choose another port"
            ) from error


def load_demo_cases(shop: Shop) -> int:
    """Play the invented stories into an empty database, so that the shop's pages have something to show.

    Returns how many cases were made; 0 when the database holds cases already.
    """
    with shop.store.reading() as work:
        if work.cases.page(limit=1).lines:
            return 0
    for story in stories().values():
        play(shop.turns, story)
    return len(stories())


def warm_up(shop: Shop) -> None:
    """Build what the first message would otherwise wait for: readers of all languages, the pool of plans."""
    definitions = shop.turns.editions.current
    today = shop.turns.now().date()
    for family in definitions.families.values():
        for locale in family.phrases:
            _ = warm(family, locale).proposer
        plan_pool(family, definitions.pricing, definitions.pricing.rate_card_on(today), today)


def keep_house_hourly(shop: Shop, stop: threading.Event) -> None:
    """Erase what has been kept long enough, now and every hour, until stopped."""
    while True:
        try:
            keep_house(shop.turns)
        except IntakebotError as error:
            _log.warning("housekeeping put off: %s", type(error).__name__)
        if stop.wait(HOUSEKEEPING_S):
            return


def _print_addresses(shop: Shop) -> None:
    from intakebot.web.accounts import first_owner_link
    from intakebot.web.services import Services as PageServices

    base = shop.settings.base_url
    link = first_owner_link(PageServices(turns=shop.turns, photos=shop.photos, base_url=base))
    lines = [
        f"Customer page:  {base}/",
        f"Front desk:     {base}/desk",
        f"Bench:          {base}/bench",
        f"API:            {base}/api/v1/openapi.json",
        f"Data:           {shop.settings.data_dir}",
    ]
    if shop.settings.mail_listen is not None:
        lines.append(f"Mail (LMTP):    {':'.join(map(str, shop.settings.mail_listen))}")
    if link is not None:
        lines.append(f"First owner:    {link}   (one time, 24 hours)")
    print("\n".join([*lines, "Ctrl-C stops."]), flush=True)


def _start_relay(shop: Shop) -> threading.Thread:
    thread = threading.Thread(target=shop.relay.run, name="relay", daemon=True)
    thread.start()
    return thread


def _stop_on_signals() -> None:
    def leave(number: int, frame: FrameType | None) -> None:
        sys.exit(0)

    signal.signal(signal.SIGINT, leave)
    signal.signal(signal.SIGTERM, leave)
