"""The OpenAPI document says what the routes do: both ways equal, valid, and every caller rule is kept."""

from __future__ import annotations

import json
import re

import pytest
from flask import Flask
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator

from intakebot.channels.gateway import INBOUND
from intakebot.records.tokens import hash_secret
from intakebot.web.api import ApiServices, api_blueprint
from intakebot.web.api_openapi import document
from intakebot.web.api_operations import Operation
from intakebot.web.api_schemas import SCHEMAS, SCOPES
from intakebot.web.api_table import OPERATIONS
from tests.api.calls import bearer, opened, shop_key


def _each(*callers: str) -> pytest.MarkDecorator:
    """One test for each operation of these callers."""
    chosen = [operation for operation in OPERATIONS if operation.caller in callers]
    return pytest.mark.parametrize("operation", chosen, ids=lambda operation: operation.id)


def test_served_document_and_routes_are_equal_in_both_directions(
    api: ApiServices, client: FlaskClient
) -> None:
    app = Flask("routes")
    app.register_blueprint(api_blueprint(api))
    routes = {
        (re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", rule.rule), method.lower())
        for rule in app.url_map.iter_rules()
        if rule.endpoint.startswith("api.") and rule.endpoint != "api.elsewhere"
        for method in (rule.methods or set())
        - ({"HEAD"} if rule.methods == {"OPTIONS"} else {"HEAD", "OPTIONS"})
    }

    served = client.get("/api/v1/openapi.json").json

    assert {(path, method) for path, methods in served["paths"].items() for method in methods} == routes


def test_the_document_validates_against_the_openapi_schema_it_names() -> None:
    """Every schema in it is valid JSON Schema 2020-12 and every reference leads somewhere."""
    whole = document("https://shop.example")
    text = json.dumps(whole)
    for schema in SCHEMAS.values():
        Draft202012Validator.check_schema(schema)
    named = set(re.findall(r"#/components/schemas/(\w+)", text))

    assert named <= set(SCHEMAS)
    assert whole["openapi"].startswith("3.1")
    ids = [operation.id for operation in OPERATIONS]
    assert len(ids) == len(set(ids))
    for operation in OPERATIONS:
        assert set(operation.links) <= set(ids)


def test_requests_are_validated_by_the_schemas_that_are_printed() -> None:
    assert SCHEMAS["Inbound"] is INBOUND


def test_the_page_shows_every_operation(client: FlaskClient) -> None:
    answer = client.get("/api/v1/docs")

    assert answer.content_type.startswith("text/html")
    assert "<script" not in answer.text.lower()
    assert all(f"id='{operation.id}'" in answer.text for operation in OPERATIONS)


def _url(operation: Operation, case_id: str) -> str:
    path = re.sub(r"\{\w+\}", case_id, operation.path)
    return path if operation.root else "/api/v1" + path


def _call(client: FlaskClient, operation: Operation, case_id: str, headers: dict[str, str]) -> int:
    more = {"Idempotency-Key": "k" * 20, "If-Match": '"v1"'}
    if operation.body == "multipart":
        sent = {"data": {}, "content_type": "multipart/form-data"}
    else:
        sent = {"json": {}} if operation.body else {}
    answer = client.open(_url(operation, case_id), method=operation.method, headers=headers | more, **sent)
    return answer.status_code


@_each("anyone", "customer", "shop", "gateway")
def test_no_caller_without_a_credential_gets_further_than_the_door(
    client: FlaskClient, operation: Operation
) -> None:
    """Every route x no credential, generated from the table: a new route cannot be forgotten."""
    status = _call(client, operation, "c_x", {})

    if operation.caller == "anyone":
        assert status not in (401, 403)
    elif operation.caller == "gateway":
        assert status in (401, 404)
    else:
        assert status == 401


@_each("customer")
def test_a_customers_token_opens_only_its_own_conversation(client: FlaskClient, operation: Operation) -> None:
    _, token = opened(client)
    foreign_id, _ = opened(client)

    status = _call(client, operation, foreign_id, bearer(token))

    assert status in (404, 415, 422)  # 415 and 422: the body was refused before anything was looked up


@_each("shop")
def test_a_customers_token_is_no_shop_key(client: FlaskClient, operation: Operation) -> None:
    case_id, token = opened(client)

    assert _call(client, operation, case_id, bearer(token)) == 401


@_each("shop")
def test_a_key_with_every_other_scope_is_refused(
    api: ApiServices, client: FlaskClient, operation: Operation
) -> None:
    key = shop_key(api, *(scope for scope in SCOPES if scope != operation.scope))

    assert operation.scope in SCOPES
    assert _call(client, operation, "c_x", bearer(key)) == 403


@pytest.mark.parametrize("end", ["revoked", "expired", "wrong-secret", "unknown"])
def test_a_key_that_ended_or_was_never_is_401(api: ApiServices, client: FlaskClient, end: str) -> None:
    key = shop_key(api, "intakes:read")
    key_id = key.removeprefix("ik_").partition(".")[0]
    with api.turns.store.unit_of_work() as work:
        if end == "revoked":
            work.shop_keys.revoke(key_id, api.turns.now())
        if end == "expired":
            work.shop_keys.expire(key_id, api.turns.now())
        work.commit()
    given = {"wrong-secret": f"ik_{key_id}.other", "unknown": "ik_none.secret"}.get(end, key)

    assert client.get("/api/v1/intakes", headers=bearer(given)).status_code == 401


def test_the_use_of_a_key_is_noted(api: ApiServices, client: FlaskClient) -> None:
    key = shop_key(api, "intakes:read")

    client.get("/api/v1/intakes", headers=bearer(key))

    with api.turns.store.reading() as work:
        assert [each.last_used_at for each in work.shop_keys.all()] == [api.turns.now()]


def test_a_repeated_request_over_the_limit_is_429_with_headers(api: ApiServices) -> None:
    """draft-ietf-httpapi-ratelimit-headers-11; RFC 6585; Retry-After of RFC 9110."""
    from dataclasses import replace

    from intakebot.records.access import RatePolicy
    from intakebot.web.api_limits import Limits

    limited = replace(api, limits=Limits(burst=RatePolicy("burst", 3, 60)))
    app = Flask("limited")
    app.register_blueprint(api_blueprint(limited))
    client = app.test_client()

    answers = [client.get("/api/v1/problems/not-found") for _ in range(4)]

    assert [answer.status_code for answer in answers] == [200, 200, 200, 429]
    assert answers[0].headers["RateLimit-Policy"] == '"burst";q=3;w=60'
    assert (
        answers[0].headers["RateLimit"] == '"burst";r=2;t=20'
    )  # one of three missing: 60 / 3 = 20 s to be full
    assert answers[3].headers["Retry-After"] == "20"
    assert answers[3].json["type"] == "/api/v1/problems/quota-exceeded"


def test_only_hashes_of_keys_and_tokens_are_stored(api: ApiServices, client: FlaskClient) -> None:
    key = shop_key(api, "keys:manage", "intakes:read")
    made = client.post(
        "/api/v1/keys", json={"name": "till", "scopes": ["intakes:read"]}, headers=bearer(key)
    ).json["key"]
    _, token = opened(client)
    api.turns.store.checkpoint()

    content = (api.turns.store.data_dir / "records.db").read_bytes()

    secret = made.partition(".")[2]
    assert secret.encode() not in content
    assert token.encode() not in content
    assert hash_secret(secret).encode() in content
