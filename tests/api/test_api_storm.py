"""A storm over the API: each signed message of a gateway delivered two to five times by many callers at once, some of them spoilt."""

from __future__ import annotations

import json
import random
import threading
from collections import Counter, defaultdict

import pytest
from flask import Flask

from intakebot.channels.signing import headers_for
from intakebot.records.endpoints import Gateway, Secret
from intakebot.turns import Via, open_case
from intakebot.web.api import ApiServices, api_blueprint
from tests.turns.doubles import NOW

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
PHONES = [f"+4477009001{number:02}" for number in range(20)]
"""Reserved for drama use. Source: Ofcom."""


def storm(api: ApiServices, messages: int, threads: int, seed: int) -> Counter[int]:
    """Statuses of all answers; asserts one effect for each message and equal bytes for all who got an answer."""
    with api.turns.store.unit_of_work() as work:
        work.gateways.put(Gateway("g", "https://gateway.example.com/send", (Secret(SECRET),), NOW))
        work.commit()
    open_case(
        api.turns, via=Via("api"), locale="en", text="my dvd player skips"
    )  # the reader is built once, not 16 times
    app = Flask("storm")
    app.register_blueprint(api_blueprint(api))
    dice = random.Random(seed)
    jobs = []
    for number in range(messages):
        body = json.dumps({"from": PHONES[number % 20], "text": f"text {number}"}).encode()
        jobs += [(number, body)] * dice.randint(2, 5)
        if number % 10 == 0:
            jobs.append((number, json.dumps({"from": PHONES[number % 20], "text": "spoilt"}).encode()))
    dice.shuffle(jobs)
    queue, lock = iter(jobs), threading.Lock()
    statuses: Counter[int] = Counter()
    bodies: dict[int, set[bytes]] = defaultdict(set)

    def call() -> None:
        client = app.test_client()
        while True:
            with lock:
                job = next(queue, None)
            if job is None:
                return
            number, body = job
            headers = headers_for([SECRET], f"msg_{number}", NOW, body)
            while True:
                answer = client.post(
                    "/api/v1/inbound/g", data=body, headers=headers | {"Content-Type": "application/json"}
                )
                if answer.status_code not in (
                    409,
                    503,
                ):  # the same message is being answered: the gateway tries again
                    break
            with lock:
                statuses[answer.status_code] += 1
                if answer.status_code == 200:
                    bodies[number].add(answer.data)

    callers = [threading.Thread(target=call) for _ in range(threads)]
    for caller in callers:
        caller.start()
    for caller in callers:
        caller.join()
    with api.turns.store.reading() as work:
        cases = [line.id for line in work.cases.page(limit=100).lines]
        said = Counter(
            message.text
            for case in cases
            for message in work.messages.since(case, limit=10**6)
            if message.direction == "in"
        )
    assert set(statuses) <= {200, 422}, statuses
    assert {len(found) for found in bodies.values()} == {1}
    assert len(bodies) == messages
    assert said.pop("my dvd player skips") == 1
    assert sum(said.values()) == messages
    assert all(count == 1 for text, count in said.items() if text != "spoilt")
    return statuses


def test_40_messages_by_16_callers_have_one_effect_each(api: ApiServices) -> None:
    statuses = storm(api, messages=40, threads=16, seed=1)

    assert statuses[422] >= 4  # one of two contents came second


@pytest.mark.soak
def test_2000_messages_by_16_callers_have_one_effect_each(
    api: ApiServices, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The daily limit of one address is out of the way: twenty addresses send 2,000 messages."""
    from intakebot.channels import incoming
    from intakebot.records.access import RatePolicy

    monkeypatch.setattr(incoming, "DAILY", RatePolicy("inbound", 10**6, 86_400))
    print(storm(api, messages=2000, threads=16, seed=2))
