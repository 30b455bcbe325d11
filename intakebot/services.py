"""What turns need from outside, in one frozen bundle made once by the command line or the app factory."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from intakebot.conversation import Assessor
from intakebot.definitions import Definitions
from intakebot.editions import Editions, open_editions
from intakebot.errors import RequestRunningError
from intakebot.records import Case, Store
from intakebot.records.tokens import Ids, RandomIds
from intakebot.turn_draft import Workshop
from intakebot.understanding.suggester import Suggester


class CaseLocks:
    """Turns of one case wait for each other here, so that work is rarely done twice. Correctness rests on versions."""

    def __init__(self, count: int = 256) -> None:
        self._locks = tuple(threading.Lock() for _ in range(count))

    def of(self, case_id: str) -> threading.Lock:
        return self._locks[hash(case_id) % len(self._locks)]


class RunningRequests:
    """The requests being answered in this process, to refuse the same one at the same time."""

    def __init__(self) -> None:
        self._running: set[tuple[str, str]] = set()
        self._lock = threading.Lock()

    @contextmanager
    def only(self, scope: str, key: str) -> Iterator[None]:
        """Raises: RequestRunningError while another thread is inside with the same scope and key."""
        with self._lock:
            if (scope, key) in self._running:
                raise RequestRunningError("this request is being answered at this moment")
            self._running.add((scope, key))
        try:
            yield
        finally:
            with self._lock:
                self._running.discard((scope, key))


def utc_now() -> datetime:
    return datetime.now(UTC)


def no_links(case: Case) -> Mapping[str, str]:
    """For callers without pages: nothing to link to."""
    return {}


@dataclass(frozen=True)
class Services:
    """What turns need from outside, built once by the command line or the app factory.

    Attributes:
        links: addresses of the customer's pages for a case (`form`, `estimate`, `packing`); put into texts, not stored.
        source: this installation's name in events (a URI).
        wake: called after a commit that left something to send.
        suggester: a language model that may propose facts; None, as shipped: there is none.
    """

    store: Store
    editions: Editions
    workshop: Workshop
    secret_key: bytes
    now: Callable[[], datetime] = utc_now
    ids: Ids = field(default_factory=RandomIds)
    links: Callable[[Case], Mapping[str, str]] = no_links
    source: str = "urn:intakebot"
    wake: Callable[[], None] = lambda: None
    suggester: Suggester | None = None
    locks: CaseLocks = field(default_factory=CaseLocks)
    running: RunningRequests = field(default_factory=RunningRequests)


def build_services(
    store: Store,
    definitions_root: Path,
    assessor_factory: Callable[[Definitions], Assessor],
    workshop: Workshop,
    secret_key: bytes,
    **others: Any,
) -> Services:
    """Services over a store and a folder of definitions. `others`: further attributes of `Services`.

    Raises: DefinitionError; nothing is started with a bad folder.
    """
    now: Callable[[], datetime] = others.get("now", utc_now)
    library = open_editions(store, definitions_root, assessor_factory, now())
    return Services(store=store, editions=library, workshop=workshop, secret_key=secret_key, **others)
