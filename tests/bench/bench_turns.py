"""What a turn costs against a bare endpoint with one commit of the same rows, measured in the same minute.

Four routes on one server (waitress), one database engine (SQLite, WAL, FULL), one disk:

- bare: JSON in, JSON out, no database;
- floor: what any turn must do: look up the key, read the case, write case, two messages, key, outbox row; raw driver;
- stored: the API's message route with the real conversation engine and a fixed assessor (no triage);
- full: the same with real triage, quoting and packing behind it.

Rounds are interleaved (bare, floor, stored, full, bare ...), the first one is dropped, and ratios are taken round by
round; only ratios mean anything on a shared machine. Aim: full at most 3 times the floor.
"""

from __future__ import annotations

import http.client
import json
import os
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
ROUNDS, REQUESTS = 8, 60
ROUTES = ("bare", "floor", "stored", "full")
WORDS = ("hm", "not sure", "no", "yes", "1", "it clicks when I load a disc", "back", "2", "it skips", "skip")


def serve(folder: Path) -> None:
    """Run the server until the parent closes our standard input; prints port, ids and tokens."""
    from dataclasses import replace

    from flask import Flask
    from waitress.server import create_server

    from intakebot.definitions import load_definitions
    from intakebot.editions import Editions
    from intakebot.records.photos import PhotoStore
    from intakebot.records.tokens import RandomIds
    from intakebot.turns import utc_now
    from intakebot.web.api import ApiServices, api_blueprint
    from tests.api.conftest import PLENTY
    from tests.turns.doubles import fresh_store, make_services

    definitions = load_definitions(ROOT)
    store = fresh_store(folder)
    services = replace(make_services(store, definitions, utc_now), ids=RandomIds())
    full = replace(services, editions=Editions(store, definitions, _real_assessor))
    app = Flask("bench")
    photos = PhotoStore(f"file://{folder / 'photos'}", store, services.ids, utc_now)
    for name, each in (("stored", services), ("full", full)):
        blueprint = api_blueprint(ApiServices(each, photos, "", PLENTY))
        blueprint.name = name
        app.register_blueprint(blueprint, url_prefix=f"/{name}")
    app.add_url_rule("/bare", view_func=_bare, methods=["POST"])
    app.add_url_rule("/floor", view_func=_floor(folder), methods=["POST"])
    server = create_server(app, host="127.0.0.1", port=0, threads=8)
    threading.Thread(target=server.run, daemon=True).start()
    print(json.dumps({"port": server.effective_port}), flush=True)
    sys.stdin.read()


def _real_assessor(definitions: Any) -> Any:
    from intakebot.assess import Assessments

    return Assessments(definitions)


def _bare() -> Any:
    from flask import jsonify, request

    return jsonify({"replies": [{"text": request.get_json()["text"]}]})


def _floor(folder: Path) -> Callable[[], Any]:
    """The rows of a turn, written with the raw driver in one durable commit."""
    from flask import jsonify, request

    path, lock, local = str(folder / "floor.db"), threading.Lock(), threading.local()
    snapshot = "x" * 3000
    first = sqlite3.connect(path, isolation_level=None)
    first.executescript(
        "PRAGMA journal_mode=WAL;"
        "CREATE TABLE cases(id TEXT PRIMARY KEY, version INT, snapshot TEXT) WITHOUT ROWID;"
        "CREATE TABLE messages(id TEXT, seq INT, body TEXT, PRIMARY KEY(id, seq)) WITHOUT ROWID;"
        "CREATE TABLE keys(scope TEXT, key TEXT, body TEXT, PRIMARY KEY(scope, key)) WITHOUT ROWID;"
        "CREATE TABLE outbox(seq INTEGER PRIMARY KEY, body TEXT);"
        "INSERT INTO cases VALUES('c', 1, '');"
    )
    first.close()

    def view() -> Any:
        if not hasattr(local, "db"):
            local.db = sqlite3.connect(path, isolation_level=None)
            local.db.execute("PRAGMA synchronous=FULL")
        db, sent = local.db, request.get_json()
        key = request.headers["Idempotency-Key"]
        body = json.dumps({"replies": [{"text": sent["text"]}]})
        with lock:
            db.execute("BEGIN IMMEDIATE")
            db.execute("SELECT body FROM keys WHERE scope='s' AND key=?", (key,)).fetchone()
            version = db.execute("SELECT version, snapshot FROM cases WHERE id='c'").fetchone()[0]
            db.execute(
                "UPDATE cases SET version=?, snapshot=? WHERE id='c' AND version=?",
                (version + 1, snapshot, version),
            )
            rows = [("c", version * 2, sent["text"]), ("c", version * 2 + 1, body)]
            db.executemany("INSERT INTO messages VALUES(?, ?, ?)", rows)
            db.execute("INSERT INTO keys VALUES('s', ?, ?)", (key, body))
            db.execute("INSERT INTO outbox(body) VALUES(?)", (body,))
            db.execute("COMMIT")
        return jsonify(json.loads(body))

    return view


class Client:
    """One keep-alive connection and one conversation on each of the API routes."""

    def __init__(self, port: int, name: str) -> None:
        self._connection = http.client.HTTPConnection("127.0.0.1", port)
        self._name, self._count = name, 0
        self._talks = {route: self._open(route) for route in ("stored", "full")}

    def _post(self, path: str, body: Any, headers: dict[str, str]) -> Any:
        self._connection.request(
            "POST", path, json.dumps(body), {"Content-Type": "application/json", **headers}
        )
        answer = self._connection.getresponse()
        content = answer.read()
        assert answer.status < 300, (answer.status, content[:300])
        return json.loads(content)

    def _open(self, route: str) -> tuple[str, str]:
        opened = self._post(f"/{route}/api/v1/conversations", {"locale": "en"}, {})
        return opened["conversation_id"], opened["token"]

    def request(self, route: str) -> float:
        """Milliseconds of one request."""
        self._count += 1
        headers = {"Idempotency-Key": f"{self._name}-{route}-{self._count}"}
        path = f"/{route}"
        if route in self._talks:
            if self._count % 12 == 0:
                self._talks[route] = self._open(route)
            case_id, token = self._talks[route]
            path = f"/{route}/api/v1/conversations/{case_id}/messages"
            headers["Authorization"] = f"Bearer {token}"
        start = time.perf_counter()
        self._post(path, {"text": WORDS[self._count % len(WORDS)]}, headers)
        return (time.perf_counter() - start) * 1000


def measure(port: int, clients: int) -> dict[str, list[list[float]]]:
    """Milliseconds by route and round."""
    people = [Client(port, f"c{clients}-{number}") for number in range(clients)]
    found: dict[str, list[list[float]]] = {route: [] for route in ROUTES}
    for number in range(ROUNDS + 1):
        for route in ROUTES:
            times: list[float] = []

            def work(person: Client, route: str = route, times: list[float] = times) -> None:
                times.extend(person.request(route) for _ in range(REQUESTS // clients))

            threads = [threading.Thread(target=work, args=(person,)) for person in people]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join()
            if number:  # the first round warms up
                found[route].append(times)
    return found


def quantile(values: Iterable[float], share: float) -> float:
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def report(found: dict[str, list[list[float]]], clients: int) -> None:
    print(f"{clients} client(s), {ROUNDS} rounds of {REQUESTS} requests, milliseconds")
    floor = [statistics.median(times) for times in found["floor"]]
    for route in ROUTES:
        every = [each for times in found[route] for each in times]
        ratios = sorted(
            statistics.median(times) / base for times, base in zip(found[route], floor, strict=True)
        )
        print(
            f"  {route:7} p50 {quantile(every, 0.5):7.2f}  p99 {quantile(every, 0.99):7.2f}  "
            f"against floor {statistics.median(ratios):5.2f} (from {ratios[0]:.2f} to {ratios[-1]:.2f})"
        )


def fsync_ms(folder: Path) -> float:
    """Median time of an append of 4 kB and fdatasync on this disk."""
    times = []
    with (folder / "sync").open("wb") as file:
        for _ in range(50):
            file.write(b"x" * 4096)
            file.flush()
            start = time.perf_counter()
            os.fdatasync(file.fileno())
            times.append((time.perf_counter() - start) * 1000)
    return statistics.median(times)


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        print(f"turn cost ({os.cpu_count()} CPUs; append + fdatasync {fsync_ms(folder):.2f} ms)")
        command = [sys.executable, __file__, "serve", name]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as server:
            assert server.stdout is not None
            assert server.stdin is not None
            port = json.loads(server.stdout.readline())["port"]
            for clients in (1, 8):
                report(measure(port, clients), clients)
            server.stdin.close()


if __name__ == "__main__":
    if sys.argv[1:2] == ["serve"]:
        serve(Path(sys.argv[2]))
    else:
        main()
