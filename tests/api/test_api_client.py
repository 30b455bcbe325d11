"""The typed client against a real server on a real socket, with the real triage, prices and packing behind it."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import requests
from flask import Flask
from PIL import Image

from intakebot.assess import Assessments
from intakebot.channels.guard import Guard
from intakebot.client import ApiError, Client, Talk
from intakebot.editions import Editions
from intakebot.records.photos import PhotoStore
from intakebot.turns import Services, utc_now
from intakebot.web.api import ApiServices, api_blueprint
from intakebot.web.api_schemas import SCOPES
from intakebot.workshop import Workshop
from tests.api.calls import shop_key
from tests.api.conftest import public_resolver
from tests.serving import serving
from tests.turns.doubles import fresh_store, make_services


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory, definitions) -> Iterator[tuple[str, ApiServices]]:  # type: ignore[no-untyped-def]
    folder: Path = tmp_path_factory.mktemp("client")
    store = fresh_store(folder)
    library = Editions(store, definitions, Assessments)
    workshop = Workshop(library.assessor, utc_now)  # type: ignore[arg-type]
    services: Services = replace(
        make_services(store, definitions, utc_now), editions=library, workshop=workshop
    )
    photos = PhotoStore(f"file://{folder / 'photos'}", store, services.ids, utc_now)
    api = ApiServices(services, photos, "", guard=Guard(public_resolver))
    app = Flask("server")
    app.register_blueprint(api_blueprint(api))
    with serving(app) as port:
        yield f"http://127.0.0.1:{port}", api
    store.close()


def _answer(talk: Talk) -> None:
    """Take the first sensible choice, or say what is asked for."""
    choices = [choice.value for reply in talk.last.replies for choice in reply.choices]
    good = [value for value in choices if value.endswith((":none", ":all_right", ":nobody"))]
    if good or choices:
        talk.choose((good or choices)[0])
    else:
        talk.say("not sure")


def test_a_customer_comes_from_first_words_to_a_packing_sheet_over_http(
    server: tuple[str, ApiServices],
) -> None:
    base_url, api = server
    with Client(base_url, shop_key(api, *SCOPES)) as client:
        talk = client.open(
            "en", "My slot-loading console plays DVDs but Blu-rays fail. Nobody has opened it."
        )
        picture = io.BytesIO()
        Image.new("RGB", (30, 30)).save(picture, "JPEG")
        for _ in range(40):
            if talk.last.phase == "estimated":
                break
            _answer(talk)

        estimate = talk.estimate()
        accepted = talk.decide("accept")
        packing = talk.packing()
        photo_id = talk.add_photo(picture.getvalue(), "front")
        intake = client.intake(talk.id)
        pretriage = client.pretriage(talk.id)
        listed = [line["conversation_id"] for line in client.intakes(phase="accepted")]

    assert estimate["maximum"]
    assert accepted.phase == "accepted"
    assert packing
    assert [photo["id"] for photo in intake["photos"]] == [photo_id]
    assert intake["authorisations"][0]["decision"] == "accept"
    assert pretriage
    assert listed == [talk.id]


def test_what_customers_see_holds_no_odds_and_no_inner_cost(server: tuple[str, ApiServices]) -> None:
    """The keys a customer may see are listed; fault odds, likelihoods and costs are not among them."""
    base_url, _ = server
    with Client(base_url) as client:
        talk = client.open("en", "my CD player skips")
        shown = str(talk.state()) + str(talk.last.raw)

    for word in (
        "posterior",
        "likelihood",
        "prior",
        "pickup_weak",
        "lens_dirty",
        "because",
        "saving",
        "evsi",
    ):
        assert word not in shown


def test_problems_come_as_errors_with_their_details(server: tuple[str, ApiServices]) -> None:
    base_url, _ = server
    with Client(base_url) as client:
        talk = client.open("en")
        with pytest.raises(ApiError) as no_estimate:
            talk.estimate()
        with pytest.raises(ApiError) as bad_fact:
            talk.fill({"no_such_fact": 1})

    assert (no_estimate.value.status, no_estimate.value.kind) == (404, "not-found")
    assert bad_fact.value.errors[0]["pointer"] == "/facts/no_such_fact"


def test_a_broken_connection_is_repeated_with_the_same_key_and_acts_once(
    server: tuple[str, ApiServices],
) -> None:
    """The answer of the first try is lost on the way; the second try gets it again."""
    base_url, _ = server

    class Losing(requests.Session):
        lose = False

        def request(self, *args: object, **kwargs: object) -> requests.Response:  # type: ignore[override]
            answer = super().request(*args, **kwargs)  # type: ignore[arg-type]
            if self.lose:
                self.lose = False
                raise requests.ConnectionError("lost on the way")
            return answer

    session = Losing()
    with Client(base_url, session=session) as client:
        talk = client.open("en")
        session.lose = True
        answer = talk.say("it clicks")
        talk_texts = [m["text"] for m in talk.state()["messages"] if m["direction"] == "in"]

    assert answer.version == 2
    assert talk_texts == ["it clicks"]


def test_an_endpoint_is_added_changed_and_tested_by_the_client(server: tuple[str, ApiServices]) -> None:
    base_url, api = server
    with Client(base_url, shop_key(api, *SCOPES)) as client:
        made = client.add_endpoint("https://hooks.example.com/x", ["estimate.ready"])
        skipped = client.change_endpoint(made["id"], handshake="skipped", description="Stock")
        tested = client.endpoint_action(made["id"], "test")
        seen = client.endpoint(made["id"])

    assert made["secret"].startswith("whsec_")
    assert (made["state"], skipped["state"], skipped["description"]) == ("unconfirmed", "active", "Stock")
    assert tested["id"].startswith("out_")
    assert (seen["event_types"], seen["allowed_rate"]) == (["estimate.ready"], None)
