"""Kill the relay's process at random moments, again and again, before ten receivers that misbehave in ten ways.

Three kinds of process: this one starts and kills; one is the receivers, a real HTTP server that remembers what it took;
one after the other is a relay, killed (SIGKILL) 20 to 250 ms after its first delivery. The last one may finish. Then:
every event was taken by every receiver at least once, in order for each conversation, no redirect was followed, no
`Retry-After` was cut short, and nothing came after a 410.

The waits between tries and the leases are shortened in the relay's process (a campaign cannot wait three days); everything
else is as shipped.

Run alone: python tests/channels/relay_kill_loop.py FOLDER EVENTS KILLS SEED [URL]
"""

from __future__ import annotations

import json
import os
import random
import signal
import socket
import struct
import sys
import threading
import time
import urllib.request
from collections import defaultdict
from dataclasses import replace
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from sqlalchemy import func, select, text, update

from intakebot.channels import relay as relay_module
from intakebot.channels import timing
from intakebot.channels.guard import Guard
from intakebot.channels.relay import Relay
from intakebot.definitions import load_definitions
from intakebot.records import Case, UnitOfWork, migrate, open_store
from intakebot.records.endpoints import Endpoint, Secret
from intakebot.records.outbox import Attempt, Item, NewItem
from intakebot.records.tables import attempts, outbox
from intakebot.records.tokens import RandomIds
from intakebot.turns import Services
from tests.forking import fork
from tests.turns.doubles import make_services

ROOT = Path(__file__).resolve().parents[2]
DEFINITIONS = load_definitions(ROOT)
SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
BEHAVIOURS = (
    "fine", "fails_often", "asks_to_wait", "redirects", "resets", "is_slow", "takes_then_resets", "takes_then_500", "goes_away",
    "is_down_at_first",
)  # fmt: skip
CASES = 10
TAKES_BEFORE_410 = 20
SLOW_S, TOTAL_S, DOWN_S = 0.4, 0.2, 2.0
LEASE_S = 0.5
SCHEDULE_S = (0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 0.8, 1.2, 2.0, *(2.0,) * 40)
LONGEST_S = 1500
GRACE_S = 0.3
"""For requests under way when an answer was noted."""


def now() -> datetime:
    return datetime.now(UTC)


# ---- the receivers -------------------------------------------------------------------------------------------------


class Receivers:
    """What every receiver took, in order; and what must not have happened."""

    def __init__(self, seed: int) -> None:
        self.dice, self.lock = random.Random(seed), threading.Lock()
        self.started = time.monotonic()
        self.taken: dict[str, list[str]] = defaultdict(list)
        self.gone: set[str] = set()
        self.asked_to_wait: dict[str, float] = {}
        self.too_early: list[tuple[str, float]] = []
        self.after_gone: list[float] = []
        self.followed = self.requests = 0

    def take(self, name: str, event: str) -> tuple[int, dict[str, str], str]:
        """(status, headers, what to do with the connection) for one delivery."""
        with self.lock:
            self.requests += 1
            luck = self.dice.random()
            if name in self.gone:
                self.after_gone.append(time.time())
            if name == "elsewhere":
                self.followed += 1
            if name == "asks_to_wait" and time.time() < self.asked_to_wait.get(event, 0.0) + 0.95:
                self.too_early.append(
                    (event, self.asked_to_wait[event])
                )  # asked for 1 s, less what the answer took
            if name == "goes_away" and len(self.taken[name]) >= TAKES_BEFORE_410:
                self.gone.add(name)
                return 410, {}, ""
            if name == "is_down_at_first" and time.monotonic() - self.started < DOWN_S:
                return 503, {}, ""
            if luck < 0.7 or name in ("fine", "goes_away", "is_down_at_first"):
                self.taken[name].append(event)
                return (200 if luck < 0.3 else 204), {}, ""
            if name == "fails_often":
                return 500, {}, ""
            if name == "asks_to_wait":
                self.asked_to_wait[event] = time.time()
                return 429, {"Retry-After": "1"}, ""
            if name == "redirects":
                return 302, {"Location": "/elsewhere"}, ""
            if name == "resets":
                return 0, {}, "reset"
            if name == "is_slow":
                return 200, {}, "slow"
            self.taken[name].append(event)
            return (0, {}, "reset") if name == "takes_then_resets" else (500, {}, "")


def serve_receivers(pipe: int, seed: int) -> None:
    """Serve until killed; the port is written to the pipe, and GET /report tells what came."""
    receivers = Receivers(seed)

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            self.rfile.read(int(self.headers.get("Content-Length", 0)))
            name = self.path.strip("/")
            status, headers, then = receivers.take(name, self.headers["webhook-id"])
            if then == "reset":
                linger = struct.pack("ii", 1, 0)
                self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger)
                self.connection.close()
                return
            if then == "slow":
                time.sleep(SLOW_S)
            self.send_response(status)
            for key, value in headers.items():
                self.send_header(key, value)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def do_GET(self) -> None:
            with receivers.lock:
                names = ("taken", "too_early", "after_gone", "followed", "requests")
                body = json.dumps({name: getattr(receivers, name) for name in names}).encode()
            self.send_response(200)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: Any) -> None:
            return

        def handle(self) -> None:
            try:
                super().handle()
            except (OSError, ValueError):  # the relay was killed, or we closed the connection ourselves
                self.close_connection = True

        def finish(self) -> None:
            try:
                super().finish()
            except (OSError, ValueError):
                return

    class Server(ThreadingHTTPServer):
        daemon_threads, request_queue_size = True, 128

        def handle_error(self, *_: Any) -> None:
            return

    server = Server(("127.0.0.1", 0), Handler)
    os.write(pipe, f"{server.server_address[1]}\n".encode())
    server.serve_forever()


# ---- the relay -----------------------------------------------------------------------------------------------------


class MarksFirst(Relay):
    """The planted bug: an item is marked as done, and sent then. A kill in between loses it."""

    def _handle(self, item: Item) -> None:
        at = now()
        with self._store.reading() as work:
            plan = self._plan(work, item, at)
        if plan.send is None:
            super()._handle(item)
            return
        with self._store.unit_of_work() as work:
            work.outbox.sent(item, Attempt(item.attempt + 1, at, None, "", 0))
            work.commit()
        receipt = plan.send(at)
        if receipt.outcome not in ("delivered", "gone"):
            with self._store.unit_of_work() as work:
                again = update(outbox).where(outbox.c.id == item.id).values(state="waiting", due_at=at)
                work.connection.execute(again)
                work.commit()


def services_over(url: str, folder: Path) -> Services:
    return replace(make_services(open_store(url, folder), DEFINITIONS, now), ids=RandomIds())


def run_relay(url: str, folder: Path, pipe: int, planted: bool) -> None:
    """Send for ever, with shorter waits; a byte goes to the pipe after each round that sent something."""
    timing.SCHEDULE_S = SCHEDULE_S  # type: ignore[assignment]
    relay_module.LEASE_S = LEASE_S  # type: ignore[assignment]
    services = services_over(url, folder)
    relay = (MarksFirst if planted else Relay)(
        services, Guard(allow_loopback=True, total_s=TOTAL_S), workers=8
    )
    while True:
        sent = relay.run_once(64)
        if sent:
            os.write(pipe, b".")
            continue
        with services.store.reading() as work:
            if work.outbox.next_due() is None:
                return
        time.sleep(0.02)


# ---- this process --------------------------------------------------------------------------------------------------


def queue(services: Services, port: int, events: int) -> dict[str, list[str]]:
    """Every event for every endpoint; the ids by conversation, in order."""
    ids, at = RandomIds(), now()
    template = Case("c", "R", 1, "disc_drive", "en", "api", "v", "card", at, at, {})
    by_case: dict[str, list[str]] = defaultdict(list)
    with services.store.unit_of_work() as work:
        for name in BEHAVIOURS:
            work.endpoints.put(
                Endpoint(name, f"http://127.0.0.1:{port}/{name}", "", (), (Secret(SECRET),), at)
            )
        for number in range(CASES):
            work.cases.add(replace(template, id=f"c_{number}", reference=f"R{number}"), f"hash{number}")
        for number in range(events):
            case, event = f"c_{number % CASES}", f"evt_{number}"
            by_case[case].append(event)
            items = [
                NewItem(ids.message_id("out"), "event", f"endpoint:{name}", case, {"id": event}, at)
                for name in BEHAVIOURS
            ]
            work.outbox.add_all(items, at)
        work.commit()
    return by_case


def run(
    folder: Path, events: int, kills: int, seed: int, url: str, *, planted: bool = False
) -> dict[str, int | float]:
    """The whole campaign; what was counted. Raises: AssertionError with what is wrong."""
    dice, started = random.Random(seed), time.monotonic()
    migrate(url)
    receivers, pipe = fork(lambda out: serve_receivers(out, seed))
    try:
        port = int(os.read(pipe, 16))
        setup = services_over(url, folder)
        by_case = queue(setup, port, events)
        setup.store.close()
        killed = 0
        while True:
            pid, reader = fork(lambda out: run_relay(url, folder, out, planted))
            if killed < kills and os.read(reader, 1):
                time.sleep(dice.uniform(0.02, 0.25))
                os.kill(pid, signal.SIGKILL)
                killed += 1
            while os.read(reader, 65536):
                assert time.monotonic() - started < LONGEST_S, "not done in time"
            os.close(reader)
            _, status = os.waitpid(pid, 0)
            if not os.WIFSIGNALED(status):
                break
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/report") as answer:
            report = json.load(answer)
    finally:
        os.kill(receivers, signal.SIGKILL)
        os.waitpid(receivers, 0)
        os.close(pipe)
    check_taken(report, by_case)
    store = open_store(url, folder)
    with store.reading() as work:
        check_notes(report, work)
        assert work.endpoints.get("goes_away").state == "disabled" or events <= TAKES_BEFORE_410
        tries = work.connection.execute(select(func.count()).select_from(attempts)).scalar_one()
        if store.engines.is_sqlite:
            assert work.connection.execute(text("PRAGMA integrity_check")).scalar() == "ok"
    store.close()
    doubled = sum(len(taken) - len(set(taken)) for taken in report["taken"].values())
    return {
        "events": events,
        "deliveries": sum(len(set(taken)) for taken in report["taken"].values()),
        "kills": killed,
        "requests": report["requests"],
        "noted_tries": tries,
        "requests_without_a_note": report["requests"] - tries,
        "taken_more_than_once": doubled,
        "seconds": round(time.monotonic() - started, 1),
    }


def check_taken(report: dict[str, Any], by_case: dict[str, list[str]]) -> None:
    """Every promise about sending, on what the receivers saw."""
    everything = {event for events in by_case.values() for event in events}
    missing = {
        name: count
        for name in BEHAVIOURS
        if name != "goes_away" and (count := len(everything - set(report["taken"].get(name, ()))))
    }
    assert not missing, f"{sum(missing.values())} misses: {missing}"
    for name in BEHAVIOURS:
        taken = report["taken"].get(name, [])
        assert set(taken) <= everything, f"{name} got what was never sent"
        first_seen = {event: place for place, event in reversed(list(enumerate(taken)))}
        for events in by_case.values():
            places = [first_seen[event] for event in events if event in first_seen]
            assert places == sorted(places), f"{name} got a conversation out of order"
    assert report["followed"] == 0, "a redirect was followed"


def check_notes(report: dict[str, Any], work: UnitOfWork) -> None:
    """What a relay had noted, every later one kept to. (An answer that a kill kept it from noting, it cannot know.)"""
    joined = select(attempts, outbox.c.body, outbox.c.target).join(
        outbox, outbox.c.id == attempts.c.outbox_id
    )
    noted = work.connection.execute(joined.where(attempts.c.status.in_((410, 429)))).all()
    spans = [
        (
            row.status,
            row.body["id"],
            row.at.timestamp() - GRACE_S,
            row.at.timestamp() + row.took_ms / 1000 + GRACE_S,
        )
        for row in noted
    ]
    for event, answered in report["too_early"]:
        known = [span for span in spans if span[:2] == (429, event) and span[2] <= answered <= span[3]]
        assert not known, "Retry-After was not heeded"
    gone_known = min((span[3] for span in spans if span[0] == 410), default=None)
    if gone_known is not None:
        late = [at for at in report["after_gone"] if at > gone_known]
        assert not late, f"{len(late)} requests were sent after a 410 was noted"


if __name__ == "__main__":
    place = Path(sys.argv[1])
    database = sys.argv[5] if len(sys.argv) > 5 else f"sqlite:///{place / 'relay.db'}"
    options = {"planted": "--planted" in sys.argv}
    database = f"sqlite:///{place / 'relay.db'}" if database == "--planted" else database
    print(json.dumps(run(place, int(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]), database, **options)))
