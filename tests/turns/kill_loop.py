"""Kill the writing process at random moments, again and again, and see what is left.

A child process takes turns on eight conversations in eight threads and reports each acknowledged turn through a pipe.
The parent kills it (SIGKILL) after 20 to 250 ms and starts the next, which first repeats what was in doubt. At the end:
every acknowledged turn is stored exactly once with the same answer, a turn is never half there, sequence numbers have
no gap, and the file is sound. This proves atomicity and idempotence, not durability against a power cut: a killed
process loses nothing the kernel already has (see power_cut.py).

Run alone: python tests/turns/kill_loop.py FOLDER KILLS SEED [URL]
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import signal
import sys
import threading
import time
import traceback
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from sqlalchemy import func, select, text

from intakebot.conversation import MessageReceived, open_conversation
from intakebot.definitions import load_definitions
from intakebot.records import Store, migrate, open_store
from intakebot.records.tables import idempotency, outbox
from intakebot.records.tokens import RandomIds
from intakebot.turns import Request, Services, Via, open_case, take_turn
from tests.forking import fork
from tests.turns.doubles import NOW, FixedAssessor, make_services

THREADS = 8
ROOT = Path(__file__).resolve().parents[2]
DEFINITIONS = load_definitions(ROOT)


def services_over(url: str, folder: Path) -> Services:
    from dataclasses import replace

    store = open_store(url, folder)
    return replace(make_services(store, DEFINITIONS, lambda: NOW), ids=RandomIds())


def open_all(url: str, folder: Path, pipe: int) -> None:
    services = services_over(url, folder)
    for number in range(THREADS):
        via = Via("gateway:g", f"+1555010{number}", "sms")
        opened = open_case(services, via=via, locale="en", request=Request("open", f"open-{number}", "f"))
        os.write(pipe, f"{opened.conversation_id}\n".encode())
    os.close(pipe)


def write_turns(url: str, folder: Path, pipe: int, cases: list[str], start: list[int]) -> None:
    """Take turns for ever, reporting each after it was acknowledged."""
    services = services_over(url, folder)

    def talk(number: int) -> None:
        try:
            talk_on(number)
        except BaseException:
            traceback.print_exc()
            os._exit(1)

    def talk_on(number: int) -> None:
        turn = start[number]
        while True:
            key = f"{number}-{turn}"
            message = MessageReceived(key, f"text {key}")
            answer = take_turn(services, cases[number], message, request=Request("kill", key, key))
            digest = hashlib.sha256(answer.body.encode()).hexdigest()
            os.write(pipe, f"{number} {turn} {digest}\n".encode())
            turn += 1

    for number in range(THREADS):
        threading.Thread(target=talk, args=(number,), daemon=True).start()
    time.sleep(60)


def run(folder: Path, kills: int, seed: int, url: str) -> dict[str, int]:
    """The whole loop; returns what was counted. Raises AssertionError with what is wrong."""
    randomness = random.Random(seed)
    migrate(url)
    _warm_up()
    cases = list(_child(lambda pipe: open_all(url, folder, pipe), None))
    assert len(cases) == THREADS, cases
    acknowledged: dict[str, str] = {}
    next_turn = [0] * THREADS
    replayed = 0
    for _ in range(kills):
        life_s = randomness.uniform(0.02, 0.25)
        for line in _child(lambda pipe: write_turns(url, folder, pipe, cases, list(next_turn)), life_s):
            number, turn, digest = line.split()
            acknowledged[f"{number}-{turn}"] = digest
            next_turn[int(number)] = int(turn) + 1
    store = open_store(url, folder)
    try:
        stored = check(store, cases, acknowledged)
        services = services_over(url, folder)
        for number in range(THREADS):  # what was in doubt can be repeated and ends up there once
            key = f"{number}-{next_turn[number]}"
            request = Request("kill", key, key)
            answer = take_turn(services, cases[number], MessageReceived(key, f"text {key}"), request=request)
            replayed += answer.replayed
            acknowledged[key] = hashlib.sha256(answer.body.encode()).hexdigest()
        check(store, cases, acknowledged)
        services.store.close()
    finally:
        store.close()
    return {
        "kills": kills,
        "acknowledged": len(acknowledged),
        "stored": stored,
        "in_doubt_but_stored": replayed,
    }


def _warm_up() -> None:
    """Build what the engine builds once, before forking, so that a child's short life is spent on turns."""
    open_conversation(
        DEFINITIONS,
        conversation_id="warm",
        channel="sms",
        locale="en",
        now=NOW,
        assessor=FixedAssessor(),
        text="hi",
    )


def _child(work, life_s: float | None) -> list[str]:  # type: ignore[no-untyped-def]
    """Fork, let the child work, kill it after `life_s` from its first report; the lines it reported."""
    pid, reader = fork(work)
    lines = b""
    if life_s is not None:
        lines = os.read(reader, 65536)
        assert lines, "the child ended before its first turn"
        time.sleep(life_s)
        os.kill(pid, signal.SIGKILL)
    while chunk := os.read(reader, 65536):
        lines += chunk
    os.close(reader)
    os.waitpid(pid, 0)
    complete = lines[: lines.rfind(b"\n") + 1]
    return complete.decode().splitlines()


def check(store: Store, cases: list[str], acknowledged: dict[str, str]) -> int:
    """Every promise, on what is stored now; the number of stored turns."""
    with store.reading() as work:
        if store.engines.is_sqlite:
            assert work.connection.execute(text("PRAGMA integrity_check")).scalar() == "ok"
        answers = {
            row.key: row.body
            for row in work.connection.execute(select(idempotency).where(idempotency.c.scope == "kill"))
        }
        for key, digest in acknowledged.items():
            assert key in answers, f"acknowledged turn {key} is lost"
            assert hashlib.sha256(answers[key].encode()).hexdigest() == digest, (
                f"{key} is answered differently"
            )
        for number, case_id in enumerate(cases):
            case = work.cases.get(case_id)
            messages = work.messages.since(case_id, limit=10**9)
            events = work.events.since(case_id, limit=10**9)
            turns = [key for key in answers if key.startswith(f"{number}-")]
            assert [m.seq for m in messages] == list(range(1, case.message_count + 1)), "gap in messages"
            assert [e.seq for e in events] == list(range(1, case.event_count + 1)), "gap in events"
            texts = Counter(m.text for m in messages if m.direction == "in")
            assert texts == Counter(f"text {key}" for key in turns), "a turn is there twice, or half"
            assert case.version == 1 + len(turns), "version does not count the turns"
            assert json.loads(answers[max(turns, key=_turn)])["version"] == case.version if turns else True
            sent = select(func.count()).select_from(outbox)
            sent = sent.where(outbox.c.conversation_id == case_id, outbox.c.kind == "message")
            said = [
                key for key in turns if json.loads(answers[key])["replies"]
            ]  # a silent turn sends nothing
            assert work.connection.execute(sent).scalar() == 1 + len(said), (
                "outbox rows do not match the turns"
            )
        return len(answers)


def _turn(key: str) -> int:
    return int(key.split("-")[1])


if __name__ == "__main__":
    place = Path(sys.argv[1])
    database = sys.argv[4] if len(sys.argv) > 4 else f"sqlite:///{place / 'kill.db'}"
    print(json.dumps(run(place, int(sys.argv[2]), int(sys.argv[3]), database)))
