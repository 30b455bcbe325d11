"""Each message delivered two to five times by many threads at once: one effect each, equal bytes for all."""

from __future__ import annotations

import json
import random
import threading
from collections import Counter, defaultdict

import pytest
from sqlalchemy import func, select

from intakebot.conversation import MessageReceived
from intakebot.errors import RequestMismatchError
from intakebot.records.tables import idempotency, outbox
from intakebot.turns import Request, Services, Via, open_case, take_turn


def _storm(services: Services, messages: int, threads: int, seed: int) -> None:
    dice = random.Random(seed)
    open_case(
        services, via=Via("api"), locale="en", text="my dvd player skips"
    )  # builds the reader once, not 16 times
    cases = [
        open_case(services, via=Via("gateway:g", f"+4416329600{n:02}", "sms"), locale="en").conversation_id
        for n in range(20)
    ]
    deliveries = [
        (number, spoilt)
        for number in range(messages)
        for spoilt in [False] * dice.randint(2, 5) + [True] * (number % 10 == 0)
    ]
    dice.shuffle(deliveries)
    bodies: dict[int, set[str]] = defaultdict(set)
    refused: Counter[int] = Counter()
    trouble: list[BaseException] = []
    lock = threading.Lock()
    queue = iter(deliveries)

    def deliver() -> None:
        while True:
            with lock:
                job = next(queue, None)
            if job is None:
                return
            number, spoilt = job
            text = f"text {number}"
            request = Request("storm", f"key-{number}", "another content" if spoilt else text)
            try:
                answer = take_turn(
                    services, cases[number % 20], MessageReceived(f"m{number}", text), request=request
                )
                with lock:
                    bodies[number].add(answer.body)
            except RequestMismatchError:
                with lock:
                    refused[number] += 1
            except BaseException as error:
                with lock:
                    trouble.append(error)

    workers = [threading.Thread(target=deliver) for _ in range(threads)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()

    assert trouble == []
    assert all(
        refused[number] >= 1 for number in range(0, messages, 10)
    )  # one of two contents lost, whichever was second
    assert {len(found) for found in bodies.values()} == {1}
    with services.store.reading() as work:
        answers = (
            work.connection.execute(select(idempotency.c.body).where(idempotency.c.scope == "storm"))
            .scalars()
            .all()
        )
        texts = Counter(
            message.text for case_id in cases for message in work.messages.since(case_id, limit=10**6)
            if message.direction == "in"
        )  # fmt: skip
        versions = sum(work.cases.get(case_id).version - 1 for case_id in cases)
        sent = work.connection.execute(
            select(func.count()).select_from(outbox).where(outbox.c.kind == "message")
        ).scalar_one()
    with_replies = sum(
        1 for body in answers if json.loads(body)["replies"]
    )  # none while a person has the floor
    assert (len(answers), versions, sent) == (messages, messages, with_replies + 20)
    assert texts == Counter({f"text {number}": 1 for number in range(messages)})


def test_60_messages_by_16_threads_have_one_effect_each(services: Services) -> None:
    _storm(services, messages=60, threads=16, seed=1)


@pytest.mark.soak
def test_2000_messages_by_16_threads_have_one_effect_each(services: Services) -> None:
    _storm(services, messages=2000, threads=16, seed=2)
