"""The HTTP side of a language model's suggestions: what goes out, what trouble costs, when it is asked at all."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace

import pytest
import requests
import responses

from intakebot.conversation import MessageReceived
from intakebot.model_server import FAILURES, MAX_ANSWER_BYTES, PAUSE_S, ModelServer
from intakebot.turns import Request, Services, Via, open_case, take_turn
from intakebot.understanding.suggester import Inquiry, Offered, Suggestion

URL = "https://model.example.com/suggest"
INQUIRY = Inquiry("it sulks a lot", "en", (Offered("opened", "Opened before by", {"nobody": "nobody"}),))
TEXT = "the whirligig thing in my console has gone all shy and my nephew fiddled with it"
ANSWER = {"suggestions": [{"fact": "opened", "value": "friend", "quote": "my nephew fiddled with it"}]}


class Ticking:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def web() -> Iterator[responses.RequestsMock]:
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


def test_the_message_goes_out_in_a_field_of_its_own_with_the_key(web) -> None:
    web.post(URL, json=ANSWER)

    found = ModelServer(URL, "k-1").suggest(INQUIRY)

    sent = web.calls[0].request
    body = json.loads(sent.body)
    assert found == (Suggestion("opened", "friend", "my nephew fiddled with it"),)
    assert sent.headers["authorization"] == "Bearer k-1"
    assert body["message"] == "it sulks a lot"
    assert "sulks" not in body["instructions"]
    assert body["facts"] == [{"id": "opened", "label": "Opened before by", "values": {"nobody": "nobody"}}]


@pytest.mark.parametrize(
    "answer",
    [
        {"status": 500, "json": ANSWER},
        {"status": 302, "headers": {"location": "https://elsewhere.example.com"}},
        {"body": "not json"},
        {"body": '{"suggestions": [], "suggestions": []}'},
        {"body": b"[" * 5000},
        {"body": b" " * (MAX_ANSWER_BYTES + 1)},
        {"body": requests.ConnectionError()},
        {"body": requests.ReadTimeout()},
    ],
)
def test_trouble_costs_a_suggestion_and_nothing_else(web, answer) -> None:
    web.post(URL, **answer)

    assert ModelServer(URL).suggest(INQUIRY) == ()
    assert len(web.calls) == 1  # no redirect was followed


def test_a_slow_drip_is_cut_off(web) -> None:
    clock = Ticking()
    web.post(URL, body=b'{"suggestions": []' + b" " * 20000 + b"}")

    def ticking() -> float:
        clock.now += 2.0  # each look at the clock is two seconds later
        return clock.now

    server = ModelServer(URL, clock=ticking)
    assert server.suggest(INQUIRY) == ()
    assert server._failed == 1


def test_after_three_failures_the_model_is_left_alone_for_a_while(web) -> None:
    clock = Ticking()
    server = ModelServer(URL, clock=clock)
    web.post(URL, status=503)
    for _ in range(FAILURES + 2):
        server.suggest(INQUIRY)
    during = len(web.calls)
    clock.now = PAUSE_S + 1
    web.replace(responses.POST, URL, json=ANSWER)

    assert during == FAILURES
    assert len(server.suggest(INQUIRY)) == 1


class Counting:
    """A model in memory that always says the same."""

    def __init__(self) -> None:
        self.asked: list[Inquiry] = []

    def suggest(self, inquiry: Inquiry) -> tuple[Suggestion, ...]:
        self.asked.append(inquiry)
        return (Suggestion("rattles", "yes", "gone all shy"),)


@pytest.fixture
def model() -> Counting:
    return Counting()


@pytest.fixture
def assisted(services: Services, model: Counting) -> Services:
    return replace(services, suggester=model)


def proposals(services: Services, case_id: str) -> list[str]:
    with services.store.reading() as work:
        return [proposal["fact"] for proposal in work.cases.get(case_id).conversation["proposals"]]


def test_there_is_no_model_as_shipped(services) -> None:
    assert services.suggester is None


def test_an_opener_and_a_later_message_get_proposals_and_the_log_says_from_where(assisted, model) -> None:
    opened = open_case(assisted, via=Via("web"), locale="en", text=TEXT)
    later = open_case(assisted, via=Via("web"), locale="en")
    take_turn(assisted, later.conversation_id, MessageReceived("m2", TEXT, "web"))

    with assisted.store.reading() as work:
        log = [event for event in work.events.since(later.conversation_id) if event.kind == "proposed"]
    assert len(model.asked) == 2
    assert "rattles" in proposals(assisted, opened.conversation_id)
    assert "rattles" in proposals(assisted, later.conversation_id)
    assert [entry.body["source"] for entry in log] == ["suggestion"]


def test_a_repeated_request_and_a_message_that_was_read_do_not_ask_the_model(assisted, model) -> None:
    opened = open_case(assisted, via=Via("web"), locale="en")
    request = Request("scope", "key", "print")
    first = take_turn(assisted, opened.conversation_id, MessageReceived("m2", TEXT, "web"), request=request)
    again = take_turn(assisted, opened.conversation_id, MessageReceived("m2", TEXT, "web"), request=request)
    take_turn(assisted, opened.conversation_id, MessageReceived("m3", "my console rattles", "web"))

    assert len(model.asked) == 1
    assert (again.body, again.replayed) == (first.body, True)
