"""The API in a small Flask application of its own, over the doubles."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from intakebot.channels.guard import Guard
from intakebot.definitions import Definitions
from intakebot.records.access import RatePolicy
from intakebot.records.photos import PhotoStore
from intakebot.web.api import ApiServices, api_blueprint
from intakebot.web.api_limits import Limits
from tests.turns.doubles import Clock, fresh_store, make_services

PLENTY = Limits(
    RatePolicy("burst", 10**6, 60), RatePolicy("opening", 10**6, 60), RatePolicy("messages", 10**6, 86_400)
)


@pytest.fixture
def clock() -> Clock:
    return Clock()


def public_resolver(host: str, port: int) -> list[str]:
    """Every name leads to one public address; no network is asked. 203.0.113.0/24 would be refused as documentation."""
    return ["8.8.8.8"]


@pytest.fixture
def api(tmp_path: Path, definitions: Definitions, clock: Clock) -> Iterator[ApiServices]:
    store = fresh_store(tmp_path)
    services = make_services(store, definitions, clock)
    photos = PhotoStore(f"file://{tmp_path / 'photos'}", store, services.ids, clock)
    yield ApiServices(services, photos, "http://shop.example", PLENTY, guard=Guard(public_resolver))
    store.close()


@pytest.fixture
def client(api: ApiServices) -> FlaskClient:
    app = Flask("api")
    app.register_blueprint(api_blueprint(api))
    return app.test_client()
