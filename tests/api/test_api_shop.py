"""The shop's half of the API: lists, one intake, conditional changes, endpoints, keys, export and import."""

from __future__ import annotations

import io

import pytest
from flask.testing import FlaskClient
from PIL import Image

from intakebot.receivers import confirmation_key
from intakebot.web.api import ApiServices
from tests.api.calls import bearer, opened, shop_key


def test_intakes_are_listed_in_pages_by_cursor_links(api: ApiServices, client: FlaskClient) -> None:
    ids = {opened(client)[0] for _ in range(5)}
    key = shop_key(api, "intakes:read")

    seen: list[str] = []
    url = "/api/v1/intakes?limit=2"
    while url:
        answer = client.get(url, headers=bearer(key))
        seen += [line["conversation_id"] for line in answer.json["intakes"]]
        url = answer.headers.get("Link", "").partition("<http://shop.example")[2].partition(">")[0]

    assert len(seen) == 5
    assert set(seen) == ids


def test_one_intake_shows_form_talk_and_log(api: ApiServices, client: FlaskClient) -> None:
    case_id, _ = opened(client, text="Blu-rays fail on my console")
    key = shop_key(api, "intakes:read")

    answer = client.get(f"/api/v1/intakes/{case_id}", headers=bearer(key))

    assert answer.json["form"]["facts"]["bluray_result"]["value"] == "fails"
    assert (answer.json["quotes"], answer.json["authorisations"]) == ([], [])
    again = client.get(
        f"/api/v1/intakes/{case_id}", headers=bearer(key, If_None_Match=answer.headers["ETag"])
    )
    assert again.status_code == 304


@pytest.mark.parametrize(("given", "status"), [(None, 428), ('"v9"', 412), ("nonsense", 412)])
def test_a_change_by_staff_needs_the_version_they_saw(
    api: ApiServices, client: FlaskClient, given: str | None, status: int
) -> None:
    """RFC 6585 (428) and RFC 9110 (412)."""
    case_id, _ = opened(client)
    headers = bearer(shop_key(api, "intakes:write"))
    if given is not None:
        headers["If-Match"] = given

    answer = client.post(f"/api/v1/intakes/{case_id}/quotes", json={"reason": "longer"}, headers=headers)

    assert answer.status_code == status


def test_a_traceparent_is_carried_into_the_outbox(api: ApiServices, client: FlaskClient) -> None:
    """Source: W3C Trace Context, section 3.2.2 (the example value)."""
    trace = "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01"
    key = shop_key(api, "endpoints:manage")
    client.post(
        "/api/v1/endpoints",
        json={"url": "https://hooks.example.com/x", "handshake": "skipped"},
        headers=bearer(key),
    )

    client.post("/api/v1/conversations", json={"locale": "en"}, headers={"traceparent": trace})
    for broken in ("00-" + "0" * 32 + "-00f067aa0ba902b7-01", "ff-4bf9", "hello"):
        client.post("/api/v1/conversations", json={"locale": "en"}, headers={"traceparent": broken})

    with api.turns.store.unit_of_work() as work:
        found = [item.traceparent for item in work.outbox.claim("w", api.turns.now(), 60, 10)]
    assert found == [trace, "", "", ""]


def test_an_endpoint_is_added_rotated_tested_and_removed(api: ApiServices, client: FlaskClient) -> None:
    key = shop_key(api, "endpoints:manage")
    body = {"url": "https://hooks.example.com/x", "event_types": ["estimate.ready"]}
    made = client.post("/api/v1/endpoints", json=body, headers=bearer(key)).json
    url = f"/api/v1/endpoints/{made['id']}"

    rotated = client.post(f"{url}/rotate", headers=bearer(key)).json
    tested = client.post(f"{url}/test", headers=bearer(key))
    deliveries = client.get(f"{url}/deliveries", headers=bearer(key)).json["deliveries"]
    shown = client.get(url, headers=bearer(key)).json
    gone = client.delete(url, headers=bearer(key))

    assert made["secret"].startswith("whsec_")
    assert rotated["secret"] != made["secret"]
    assert "secret" not in shown
    assert (tested.status_code, deliveries[0]["id"]) == (202, tested.json["id"])
    assert [delivery["kind"] for delivery in deliveries] == ["test", "handshake"]
    assert (gone.status_code, client.get(url, headers=bearer(key)).status_code) == (204, 404)


def test_a_changed_url_is_asked_for_permission_and_a_changed_description_is_not(
    api: ApiServices, client: FlaskClient
) -> None:
    key = shop_key(api, "endpoints:manage")
    body = {"url": "https://hooks.example.com/x", "handshake": "skipped"}
    made = client.post("/api/v1/endpoints", json=body, headers=bearer(key)).json
    url = f"/api/v1/endpoints/{made['id']}"

    described = client.patch(url, json={"description": "stock"}, headers=bearer(key)).json
    required = client.patch(url, json={"handshake": "required"}, headers=bearer(key)).json
    moved = client.patch(url, json={"url": "https://hooks.example.com/y"}, headers=bearer(key)).json
    deliveries = client.get(f"{url}/deliveries", headers=bearer(key)).json["deliveries"]

    assert (described["state"], described["description"]) == ("active", "stock")
    assert (required["state"], moved["state"], moved["url"]) == (
        "unconfirmed",
        "unconfirmed",
        "https://hooks.example.com/y",
    )
    assert [delivery["kind"] for delivery in deliveries] == ["handshake", "handshake"]


@pytest.mark.parametrize("method", ["GET", "POST"])
def test_a_receiver_says_yes_by_opening_its_callback(
    api: ApiServices, client: FlaskClient, method: str
) -> None:
    """Source: HTTP 1.1 Web Hooks for Event Delivery 1.0.2, section 4.1.3 (GET or POST, rate as a header)."""
    key = shop_key(api, "endpoints:manage")
    made = client.post(
        "/api/v1/endpoints", json={"url": "https://hooks.example.com/x"}, headers=bearer(key)
    ).json
    with api.turns.store.reading() as work:
        secret = confirmation_key(api.turns.secret_key, work.endpoints.get(made["id"]))
    path = f"/api/v1/endpoints/{made['id']}/confirmation"

    guessed = client.open(f"{path}?key={'A' * 43}", method=method)
    unknown = client.open(f"/api/v1/endpoints/none/confirmation?key={secret}", method=method)
    unread = client.open(f"{path}?key={secret}", method=method, headers={"WebHook-Allowed-Rate": "0"})
    agreed = client.open(f"{path}?key={secret}", method=method, headers={"WebHook-Allowed-Rate": "30"})

    shown = client.get(f"/api/v1/endpoints/{made['id']}", headers=bearer(key)).json
    assert made["state"] == "unconfirmed"
    assert [a.status_code for a in (guessed, unknown, unread, agreed)] == [404, 404, 422, 200]
    assert (shown["state"], shown["allowed_rate"]) == ("active", 30)


def test_our_inbound_route_answers_the_handshake_of_a_gateway(api: ApiServices, client: FlaskClient) -> None:
    """Source: HTTP 1.1 Web Hooks for Event Delivery 1.0.2, section 4.2."""
    key = shop_key(api, "gateways:manage")
    body = {"id": "sms", "url": "https://gateway.example.com/send"}
    client.post("/api/v1/gateways", json=body, headers=bearer(key))
    asked = {"WebHook-Request-Origin": "eventemitter.example.com", "WebHook-Request-Rate": "500"}

    answer = client.options("/api/v1/inbound/sms", headers=asked)
    plain = client.options("/api/v1/inbound/sms")
    unusable = client.options("/api/v1/inbound/sms", headers={"WebHook-Request-Origin": "no host at all!"})
    unknown = client.options("/api/v1/inbound/other", headers=asked)

    assert (answer.status_code, answer.headers["Allow"]) == (204, "OPTIONS, POST")
    assert answer.headers["WebHook-Allowed-Origin"] == "eventemitter.example.com"
    assert int(answer.headers["WebHook-Allowed-Rate"]) > 0
    assert all("WebHook-Allowed-Origin" not in other.headers for other in (plain, unusable, unknown))
    assert unknown.status_code == 404


@pytest.mark.parametrize("url", ["http://hooks.example.com/", "https://u:p@hooks.example.com/", "nonsense"])
def test_an_endpoint_must_be_a_public_https_address(api: ApiServices, client: FlaskClient, url: str) -> None:
    key = shop_key(api, "endpoints:manage")

    assert client.post("/api/v1/endpoints", json={"url": url}, headers=bearer(key)).status_code == 422


def test_a_key_cannot_make_one_with_more_scopes(api: ApiServices, client: FlaskClient) -> None:
    key = shop_key(api, "keys:manage")

    answer = client.post("/api/v1/keys", json={"name": "x", "scopes": ["data:manage"]}, headers=bearer(key))

    assert answer.status_code == 422


def test_a_rotated_key_goes_on_for_a_day(api: ApiServices, client: FlaskClient, clock: object) -> None:
    manager = shop_key(api, "keys:manage", "intakes:read")
    body = {"name": "till", "scopes": ["intakes:read"]}
    old = client.post("/api/v1/keys", json=body, headers=bearer(manager)).json
    new = client.post(f"/api/v1/keys/{old['id']}/rotate", headers=bearer(manager)).json

    both = [client.get("/api/v1/intakes", headers=bearer(each["key"])).status_code for each in (old, new)]
    clock.move(hours=25)  # type: ignore[attr-defined]
    later = [client.get("/api/v1/intakes", headers=bearer(each["key"])).status_code for each in (old, new)]

    assert (both, later) == ([200, 200], [401, 200])


def _picture() -> bytes:
    buffer = io.BytesIO()
    Image.new("RGB", (40, 30), (200, 10, 10)).save(buffer, "PNG")
    return buffer.getvalue()


def test_an_intake_goes_out_and_in_again_equal(api: ApiServices, client: FlaskClient) -> None:
    case_id, token = opened(client, text="Blu-rays fail on my console")
    client.post(
        f"/api/v1/conversations/{case_id}/photos",
        data={"photo": (io.BytesIO(_picture()), "a.png")},
        headers=bearer(token),
    )
    key = shop_key(api, "data:manage")
    file = client.get(f"/api/v1/intakes/{case_id}/export", headers=bearer(key)).json

    clash = client.post("/api/v1/intakes", json=file, headers=bearer(key))
    client.delete(f"/api/v1/intakes/{case_id}", headers=bearer(key))
    back = client.post("/api/v1/intakes", json=file, headers=bearer(key))
    again = client.get(f"/api/v1/intakes/{case_id}/export", headers=bearer(key)).json

    assert (clash.status_code, back.status_code) == (409, 201)
    assert len(file["photos"]) == 1
    assert again == file


@pytest.mark.parametrize(
    "spoil",
    [
        pytest.param(lambda f: f["case"].pop("version"), id="missing-field"),
        pytest.param(lambda f: f["case"].update(version="1"), id="wrong-type"),
        pytest.param(lambda f: f["case"].update(opened_at="yesterday"), id="no-time"),
        pytest.param(lambda f: f["case"].update(definitions_version="other"), id="unknown-definitions"),
        pytest.param(lambda f: f.update(messages={}), id="messages-no-list"),
        pytest.param(lambda f: f["case"].update(more=1), id="unknown-field"),
        pytest.param(lambda f: f["case"].update(id="../../etc"), id="path-in-id"),
    ],
)
def test_a_spoilt_file_is_refused_and_stores_nothing(
    api: ApiServices, client: FlaskClient, spoil: object
) -> None:
    case_id, _ = opened(client)
    key = shop_key(api, "data:manage", "intakes:read")
    file = client.get(f"/api/v1/intakes/{case_id}/export", headers=bearer(key)).json
    client.delete(f"/api/v1/intakes/{case_id}", headers=bearer(key))
    spoil(file)  # type: ignore[operator]

    answer = client.post("/api/v1/intakes", json=file, headers=bearer(key))

    assert answer.status_code in (409, 422)
    if answer.status_code == 422:
        assert client.get("/api/v1/intakes", headers=bearer(key)).json["intakes"] == []


def test_customers_get_their_data_without_the_shops_own(client: FlaskClient) -> None:
    case_id, token = opened(client, text="it skips")

    file = client.get(f"/api/v1/conversations/{case_id}/export", headers=bearer(token)).json

    assert [m["text"] for m in file["messages"] if m["direction"] == "in"] == ["it skips"]
    assert (file["case"]["job"], file["events"]) == ({}, [])


def test_a_talk_goes_on_elsewhere_by_a_one_time_code(api: ApiServices, client: FlaskClient) -> None:
    case_id, token = opened(client)
    issued = client.post(f"/api/v1/conversations/{case_id}/join-code", headers=bearer(token)).json
    body = {"reference": issued["reference"].lower(), "code": issued["code"]}

    joined = client.post("/api/v1/join", json=body)
    again = client.post("/api/v1/join", json=body)

    assert (joined.status_code, joined.json["conversation_id"]) == (200, case_id)
    assert (
        client.get(f"/api/v1/conversations/{case_id}", headers=bearer(joined.json["token"])).status_code
        == 200
    )
    assert again.status_code == 404  # used up


def test_codes_cannot_be_guessed(api: ApiServices, client: FlaskClient) -> None:
    case_id, token = opened(client)
    issued = client.post(f"/api/v1/conversations/{case_id}/join-code", headers=bearer(token)).json
    wrong = f"{(int(issued['code']) + 1) % 10**7:07d}"

    statuses = [
        client.post("/api/v1/join", json={"reference": issued["reference"], "code": wrong}).status_code
        for _ in range(6)
    ]

    assert statuses == [404] * 5 + [429]
