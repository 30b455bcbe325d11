"""The store and its unit of work.

with store.unit_of_work() as work:      # writing: one transaction, rolled back unless committed
    case = work.cases.get(case_id)
    ...
    work.commit()

with store.reading() as work:           # reading: a consistent view, never waits for a writer
    ...
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, text
from sqlalchemy.exc import DBAPIError, IntegrityError

from intakebot.errors import StoreBusyError
from intakebot.records.access import Codes, OwnSettings, RateBuckets, ShopKeys, Users, WebSessions
from intakebot.records.answers import Answers
from intakebot.records.cases import Cases
from intakebot.records.endpoints import Endpoints, Gateways
from intakebot.records.engine import Engines
from intakebot.records.jobs import Authorisations, Outcomes, Photos, Quotes
from intakebot.records.log import Addresses, Events, Messages, OptOuts
from intakebot.records.migrate import is_current, migrate
from intakebot.records.outbox import Outbox
from intakebot.records.versions import DefinitionVersions

__all__ = ["Store", "UnitOfWork", "migrate", "open_store"]


class UnitOfWork:
    """One transaction and the repositories that work in it."""

    def __init__(self, connection: Connection) -> None:
        self.connection = connection
        self.cases = Cases(connection)
        self.messages = Messages(connection)
        self.events = Events(connection)
        self.addresses = Addresses(connection)
        self.opt_outs = OptOuts(connection)
        self.quotes = Quotes(connection)
        self.authorisations = Authorisations(connection)
        self.photos = Photos(connection)
        self.outcomes = Outcomes(connection)
        self.answers = Answers(connection)
        self.outbox = Outbox(connection)
        self.endpoints = Endpoints(connection)
        self.gateways = Gateways(connection)
        self.users = Users(connection)
        self.web_sessions = WebSessions(connection)
        self.codes = Codes(connection)
        self.shop_keys = ShopKeys(connection)
        self.rates = RateBuckets(connection)
        self.settings = OwnSettings(connection)
        self.definition_versions = DefinitionVersions(connection)

    def commit(self) -> None:
        """Make everything of this transaction durable. After it returns, a power cut loses nothing of it."""
        self.connection.commit()


class Store:
    """An open database and the folder for photos. Thread-safe; one per process."""

    def __init__(self, engines: Engines, data_dir: Path) -> None:
        self.engines = engines
        self.data_dir = data_dir
        self._forgetters: list[Callable[[str], None]] = []

    @contextmanager
    def unit_of_work(self) -> Iterator[UnitOfWork]:
        """A write transaction; rolled back unless `commit()` was reached.

        Raises: StoreBusyError when the database cannot take a write now.
        """
        lock: Any = self.engines.writer_lock if self.engines.is_sqlite else nullcontext()
        with lock, _translated(), self.engines.write.connect() as connection:
            yield UnitOfWork(connection)

    @contextmanager
    def reading(self) -> Iterator[UnitOfWork]:
        """A read transaction: one consistent view, nothing is ever committed."""
        with _translated(), self.engines.read.connect() as connection:
            yield UnitOfWork(connection)

    def is_ready(self) -> bool:
        """True when the database answers, is migrated, and is set to keep what it acknowledges."""
        try:
            with self.reading() as work:
                if self.engines.is_sqlite:
                    pragmas = {
                        name: work.connection.execute(text(f"PRAGMA {name}")).scalar()
                        for name in ("journal_mode", "synchronous", "foreign_keys")
                    }
                    durable = pragmas == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}
                else:
                    durable = work.connection.execute(text("SHOW synchronous_commit")).scalar() == "on"
                return durable and is_current(work.connection)
        except StoreBusyError:
            return False

    def when_erased(self, forget: Callable[[str], None]) -> None:
        """Have `forget(case_id)` called after a case was erased (the photo store does this for its files)."""
        self._forgetters.append(forget)

    def forget(self, case_id: str) -> None:
        """After the commit that erased a case: remove what is outside the tables, and the bytes in the log."""
        for forget in self._forgetters:
            forget(case_id)
        self.checkpoint()

    def checkpoint(self) -> None:
        """SQLite: fold the write-ahead log into the file and empty it, so that erased bytes are gone from it too."""
        if not self.engines.is_sqlite:
            return
        with self.engines.writer_lock, self.engines.read.connect() as connection:
            connection.connection.driver_connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")  # type: ignore[union-attr]

    def close(self) -> None:
        self.engines.dispose()


@contextmanager
def _translated() -> Iterator[None]:
    """Driver trouble that is nobody's mistake becomes StoreBusyError; a broken constraint stays what it is."""
    try:
        yield
    except IntegrityError:
        raise
    except DBAPIError as error:
        raise StoreBusyError("the database cannot do this now; nothing was stored") from error


def open_store(url: str, data_dir: Path) -> Store:
    """Open (not migrate) the database at `url`.

    Raises: SettingsError for an unusable URL.
    """
    return Store(Engines(url), data_dir)
