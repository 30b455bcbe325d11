"""Bad input is answered with a problem (RFC 9457) or a friendly re-prompt; nothing is lost; never a 5xx."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

from tests.api.calls import bearer, opened


@pytest.mark.parametrize(
    "raw",
    [
        pytest.param(b"", id="empty"),
        pytest.param(b"{", id="cut-off"),
        pytest.param(b'{"text": "a", "text": "b"}', id="duplicate-key"),
        pytest.param(b'{"text": NaN}', id="nan"),
        pytest.param(b'{"text": Infinity}', id="infinity"),
        pytest.param(b'{"text": 1e999}', id="1e999"),
        pytest.param(b'{"text": ' + b"9" * 5000 + b"}", id="5000-digits"),
        pytest.param(b'{"text": ' + b"[" * 5000 + b"]" * 5000 + b"}", id="deep-nesting"),
        pytest.param(b'{"text": "\xff\xfe"}', id="not-utf-8"),
        pytest.param(b'{"text": "\\ud800"}', id="half-surrogate"),
        pytest.param(b"\x00\x01\x02", id="binary"),
        pytest.param(b'{"text": "a"} trailing', id="trailing"),
        pytest.param(b"{'text': 'a'}", id="single-quotes"),
    ],
)
def test_what_is_not_strict_json_is_400(client: FlaskClient, raw: bytes) -> None:
    case_id, token = opened(client)

    answer = client.post(
        f"/api/v1/conversations/{case_id}/messages",
        data=raw,
        content_type="application/json",
        headers=bearer(token),
    )

    assert (answer.status_code, answer.content_type) == (400, "application/problem+json")
    assert answer.json["type"] == "/api/v1/problems/malformed-request"
    assert client.get(f"/api/v1/conversations/{case_id}", headers=bearer(token)).json["version"] == 1


@pytest.mark.parametrize(
    "body",
    [
        pytest.param({}, id="nothing"),
        pytest.param({"text": 1}, id="number"),
        pytest.param({"text": "a", "choice": "b"}, id="both"),
        pytest.param({"text": "a", "more": 1}, id="unknown-key"),
        pytest.param([], id="list"),
        pytest.param("text", id="string"),
        pytest.param({"text": "x" * 4001}, id="4001-characters"),
    ],
)
def test_json_of_another_shape_is_422(client: FlaskClient, body: object) -> None:
    case_id, token = opened(client)

    answer = client.post(f"/api/v1/conversations/{case_id}/messages", json=body, headers=bearer(token))

    assert (answer.status_code, answer.content_type) == (422, "application/problem+json")
    assert answer.json["errors"]


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("", id="empty"),
        pytest.param("   \n\t", id="white"),
        pytest.param("\U0001f600\U0001f44d\U0001f525", id="emoji-only"),
        pytest.param("\u202etxet\u202c \u2067abc\u2069", id="right-to-left"),
        pytest.param("s\u200bk\u200bi\u200bp\u00ads", id="zero-width"),
        pytest.param("\u0000\u0001\u001b[31m", id="control-characters"),
        pytest.param("9" * 4000, id="4000-digits"),
        pytest.param("\ufdfa" * 1000, id="grows-18-fold"),
        pytest.param("مشغل الأقراص لا يعمل", id="arabic"),
        pytest.param("'; DROP TABLE conversations; --", id="sql"),
        pytest.param("{{7*7}} {0.__class__} %n", id="templates"),
    ],
)
def test_odd_text_is_answered_with_a_turn_and_kept_as_it_came(client: FlaskClient, text: str) -> None:
    case_id, token = opened(client)

    answer = client.post(
        f"/api/v1/conversations/{case_id}/messages", json={"text": text}, headers=bearer(token)
    )

    assert answer.status_code == 200
    assert answer.json["replies"]
    talk = client.get(f"/api/v1/conversations/{case_id}/messages", headers=bearer(token)).json["messages"]
    assert [m["text"] for m in talk if m["direction"] == "in"] == [text.replace("\u0000", "\ufffd")]


def test_an_unknown_choice_is_asked_again_kindly(client: FlaskClient) -> None:
    case_id, token = opened(client)

    answer = client.post(
        f"/api/v1/conversations/{case_id}/messages", json={"choice": "no_such:choice"}, headers=bearer(token)
    )

    assert (answer.status_code, bool(answer.json["replies"])) == (200, True)


def test_100_kilobytes_are_413(client: FlaskClient) -> None:
    case_id, token = opened(client)

    answer = client.post(
        f"/api/v1/conversations/{case_id}/messages", json={"text": "x" * 100_000}, headers=bearer(token)
    )

    assert (answer.status_code, answer.json["type"]) == (413, "/api/v1/problems/too-large")


def test_another_content_type_is_415(client: FlaskClient) -> None:
    case_id, token = opened(client)

    answer = client.post(
        f"/api/v1/conversations/{case_id}/messages",
        data="text=a",
        content_type="text/plain",
        headers=bearer(token),
    )

    assert (answer.status_code, answer.json["type"]) == (415, "/api/v1/problems/unsupported-media-type")


@pytest.mark.parametrize("path", ["/api/v1/nothing", "/api/v1/conversations/c_1/nothing", "/api/v1/"])
def test_an_unknown_address_is_a_404_problem(client: FlaskClient, path: str) -> None:
    answer = client.get(path)

    assert (answer.status_code, answer.content_type) == (404, "application/problem+json")


def test_a_wrong_method_is_a_405_problem_with_allow(client: FlaskClient) -> None:
    answer = client.put("/api/v1/conversations")

    assert (answer.status_code, answer.content_type) == (405, "application/problem+json")
    assert answer.headers["Allow"] == "POST"


@pytest.mark.parametrize("body", [{"locale": "xx"}, {"family": "no_such_family"}, {"channel": "UPPER CASE"}])
def test_opening_with_an_unknown_locale_family_or_channel_is_422(
    client: FlaskClient, body: dict[str, str]
) -> None:
    assert client.post("/api/v1/conversations", json=body).status_code == 422


@pytest.mark.parametrize(
    "query", ["after=-1", "after=x", "after=²", "limit=0", "limit=101", "after=" + "9" * 5000]
)
def test_an_unusable_query_is_422(client: FlaskClient, query: str) -> None:
    case_id, token = opened(client)

    answer = client.get(f"/api/v1/conversations/{case_id}/messages?{query}", headers=bearer(token))

    assert answer.status_code == 422


def test_every_problem_names_type_title_status_detail_and_instance(client: FlaskClient) -> None:
    """RFC 9457, section 3.1."""
    problem = client.get("/api/v1/conversations/c_1").json

    assert set(problem) == {"type", "title", "status", "detail", "instance"}
    assert client.get(problem["type"]).json["title"] == problem["title"]


def test_answers_are_counted_by_operation_and_status(client: FlaskClient) -> None:
    opened(client)
    client.get("/api/v1/conversations/c_1")

    text = client.get("/metrics").text

    assert 'intakebot_answers_total{operation="openConversation",status="201"} 1.0' in text
    assert 'intakebot_answers_total{operation="getConversation",status="401"} 1.0' in text
    assert "intakebot_outbox_overdue_seconds 0.0" in text
