"""A real Chromium and the whole shop behind it, served by waitress in a thread on a free port."""

from __future__ import annotations

import os
import shutil
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from intakebot.definitions import Definitions
from tests.serving import serving
from tests.web.shop import Shop, open_shop

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def free_port() -> int:
    """A port nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def serve(shop: Shop, port: int) -> Iterator[None]:
    """Serve the shop until the generator is closed."""
    with serving(shop.app, port):
        yield


@pytest.fixture(scope="session")
def chromium():  # type: ignore[no-untyped-def]
    """The browser; a visible skip where there is none, a failure in CI."""
    from playwright.sync_api import sync_playwright

    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        if os.environ.get("CI") == "true":
            pytest.fail("no Chromium in CI")
        pytest.skip("no Chromium here")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture
def live(tmp_path: Path, definitions: Definitions) -> Iterator[Shop]:
    """A fresh shop, reachable at `live.services.base_url`."""
    port = free_port()
    shop = open_shop(tmp_path, definitions, base_url=f"http://127.0.0.1:{port}")
    running = serve(shop, port)
    next(running)
    yield shop
    running.close()
    shop.close()
