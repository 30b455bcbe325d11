"""The customer's half of the API."""

from __future__ import annotations

import json

import pytest
from flask.testing import FlaskClient

from intakebot.web.api import ApiServices
from tests.api.calls import bearer, opened


def test_a_conversation_is_opened_with_its_token_shown_once(client: FlaskClient) -> None:
    answer = client.post("/api/v1/conversations", json={"locale": "en", "text": "it does not read discs"})

    assert answer.status_code == 201
    assert answer.headers["Location"].endswith(answer.json["conversation_id"])
    assert answer.headers["ETag"] == '"v1"'
    assert (answer.json["version"], answer.json["state"]["phase"], len(answer.json["token"])) == (
        1,
        "open",
        43,
    )
    assert answer.json["replies"][0]["kind"] == "opener"


def test_a_message_is_answered_with_what_was_heard(client: FlaskClient) -> None:
    case_id, token = opened(client)

    answer = client.post(
        f"/api/v1/conversations/{case_id}/messages",
        json={"text": "Blu-rays fail, it is a console"},
        headers=bearer(token),
    )

    assert answer.status_code == 200
    assert answer.json["version"] == 2
    assert "bluray_result" in {heard["fact"] for heard in answer.json["heard"]}


def test_the_talk_can_be_fetched_after_a_number_and_is_never_doubled(client: FlaskClient) -> None:
    case_id, token = opened(client)
    for text in ("one", "two", "three"):
        client.post(f"/api/v1/conversations/{case_id}/messages", json={"text": text}, headers=bearer(token))

    seen: list[int] = []
    url = f"/api/v1/conversations/{case_id}/messages?after=0&limit=2"
    while url:
        answer = client.get(url, headers=bearer(token))
        seen += [message["seq"] for message in answer.json["messages"]]
        link = answer.headers.get("Link", "")
        url = link.partition("<http://shop.example")[2].partition(">")[0]

    assert seen == list(range(1, len(seen) + 1))
    assert len(seen) >= 8  # 2 opening replies, 3 messages, at least one reply each


def test_nothing_new_is_answered_with_304(client: FlaskClient) -> None:
    case_id, token = opened(client)
    for path in ("", "/messages?after=1"):
        url = f"/api/v1/conversations/{case_id}{path}"
        tag = client.get(url, headers=bearer(token)).headers["ETag"]

        again = client.get(url, headers=bearer(token, If_None_Match=tag))

        assert (again.status_code, again.data) == (304, b"")


def test_a_repeated_key_gives_the_same_bytes_with_a_mark(client: FlaskClient) -> None:
    case_id, token = opened(client)
    url = f"/api/v1/conversations/{case_id}/messages"
    headers = bearer(token, Idempotency_Key='"a-key"')
    first = client.post(url, json={"text": "hello"}, headers=headers)

    second = client.post(url, json={"text": "hello"}, headers=headers)

    assert (second.status_code, second.data) == (first.status_code, first.data)
    assert "Idempotency-Replayed" not in first.headers
    assert second.headers["Idempotency-Replayed"] == "true"


def test_quoted_and_bare_keys_are_the_same_key(client: FlaskClient) -> None:
    case_id, token = opened(client)
    url = f"/api/v1/conversations/{case_id}/messages"
    client.post(url, json={"text": "hello"}, headers=bearer(token, Idempotency_Key='"k1"'))

    again = client.post(url, json={"text": "hello"}, headers=bearer(token, Idempotency_Key="k1"))

    assert again.headers["Idempotency-Replayed"] == "true"


def test_the_same_key_with_another_body_is_422(client: FlaskClient) -> None:
    """Source: draft-ietf-httpapi-idempotency-key-header-07, section 2.7."""
    case_id, token = opened(client)
    url = f"/api/v1/conversations/{case_id}/messages"
    client.post(url, json={"text": "hello"}, headers=bearer(token, Idempotency_Key="k"))

    other = client.post(url, json={"text": "bye"}, headers=bearer(token, Idempotency_Key="k"))

    assert (other.status_code, other.json["type"]) == (422, "/api/v1/problems/idempotency-key-reused")


def test_the_same_key_while_it_is_answered_is_409(client: FlaskClient, api: ApiServices) -> None:
    """Source: draft-ietf-httpapi-idempotency-key-header-07, section 2.7."""
    from intakebot.records.tokens import hash_secret

    case_id, token = opened(client)
    scope = hash_secret(f"token:{hash_secret(token)}|sendMessage|{case_id}")
    with api.turns.running.only(scope, "k"):
        answer = client.post(
            f"/api/v1/conversations/{case_id}/messages",
            json={"text": "x"},
            headers=bearer(token, Idempotency_Key="k"),
        )

    assert (answer.status_code, answer.json["type"]) == (409, "/api/v1/problems/request-running")


@pytest.mark.parametrize(
    "key",
    [
        pytest.param(None, id="missing"),
        pytest.param("", id="empty"),
        pytest.param("with space", id="space"),
        pytest.param('"open', id="half-quoted"),
        pytest.param("k" * 256, id="too-long"),
    ],
)
def test_a_required_key_that_is_missing_or_unusable_is_400(client: FlaskClient, key: str | None) -> None:
    case_id, token = opened(client)
    headers = bearer(token) if key is None else bearer(token, Idempotency_Key=key)

    answer = client.post(
        f"/api/v1/conversations/{case_id}/authorisation", json={"decision": "accept"}, headers=headers
    )

    assert (answer.status_code, answer.json["type"]) == (400, "/api/v1/problems/idempotency-key-missing")


def test_an_opening_may_be_repeated_with_an_unguessable_key(client: FlaskClient) -> None:
    headers = {"Idempotency-Key": "0f5b2c7e-1111-4222-8333-944445555666"}
    first = client.post("/api/v1/conversations", json={"locale": "en"}, headers=headers)
    again = client.post("/api/v1/conversations", json={"locale": "en"}, headers=headers)
    short = client.post("/api/v1/conversations", json={"locale": "en"}, headers={"Idempotency-Key": "1"})

    assert (again.data, again.headers["Idempotency-Replayed"]) == (first.data, "true")
    assert short.status_code == 400


def test_facts_of_the_one_page_form_are_one_turn(client: FlaskClient) -> None:
    case_id, token = opened(client)
    body = {"facts": {"device_kind": "console_slot", "age_years": 4}, "declined": ["dropped"]}

    answer = client.patch(f"/api/v1/conversations/{case_id}/facts", json=body, headers=bearer(token))
    seen = client.get(f"/api/v1/conversations/{case_id}", headers=bearer(token)).json

    assert answer.status_code == 200
    assert seen["form"]["facts"]["age_years"]["value"] == 4
    assert seen["form"]["facts"]["dropped"] == {"status": "declined"}


def test_an_unknown_fact_is_pointed_at(client: FlaskClient) -> None:
    case_id, token = opened(client)

    answer = client.patch(
        f"/api/v1/conversations/{case_id}/facts", json={"facts": {"no_such": 1}}, headers=bearer(token)
    )

    assert answer.status_code == 422
    assert answer.json["errors"][0]["pointer"] == "/facts/no_such"


def test_the_stored_form_fits_its_served_schema(client: FlaskClient) -> None:
    """The reference validator is jsonschema's Draft202012Validator."""
    from jsonschema import Draft202012Validator

    case_id, token = opened(client, text="my console smells burnt and has no power, nobody opened it")
    form = client.get(f"/api/v1/conversations/{case_id}", headers=bearer(token)).json["form"]

    schema = json.loads(client.get(f"/api/v1/schemas/intake-form/{form['form']}").data)

    Draft202012Validator.check_schema(schema)
    assert list(Draft202012Validator(schema).iter_errors(form)) == []
    assert form["facts"]


def test_erasing_leaves_nothing_to_find(client: FlaskClient) -> None:
    case_id, token = opened(client)

    gone = client.delete(f"/api/v1/conversations/{case_id}", headers=bearer(token))

    assert (gone.status_code, gone.data) == (204, b"")
    assert client.get(f"/api/v1/conversations/{case_id}", headers=bearer(token)).status_code == 404


def test_unknown_and_foreign_conversations_are_answered_alike(client: FlaskClient) -> None:
    _, token = opened(client)
    other_id, _ = opened(client)

    answers = [
        client.get(f"/api/v1/conversations/{which}", headers=bearer(token))
        for which in (other_id, "c_unknown")
    ]

    first, second = ({**a.json, "instance": None} for a in answers)
    assert (answers[0].status_code, first) == (404, second)


@pytest.mark.parametrize("header", ["", "Basic abc", "Bearer", "Bearer ", "Bearer " + "x" * 300])
def test_no_usable_token_is_401_with_a_challenge(client: FlaskClient, header: str) -> None:
    case_id, _ = opened(client)

    answer = client.get(f"/api/v1/conversations/{case_id}", headers={"Authorization": header})

    assert (answer.status_code, answer.headers["WWW-Authenticate"].split()[0]) == (401, "Bearer")
