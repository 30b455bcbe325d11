"""Database engines set up so that an acknowledged commit survives a power cut.

SQLite facts behind the settings:
- WAL with synchronous=NORMAL may lose the last commits when the power goes; FULL does not.
- A deferred BEGIN that later writes fails at once when somebody else committed in between; BEGIN IMMEDIATE waits.
  So writers begin IMMEDIATE and readers have an engine of their own with a plain BEGIN.
- The busy handler is unfair under load; one lock in the process in front of the write transaction keeps the tail short.
- PRAGMAs other than journal_mode belong to a connection and are set on every new one.
Source: sqlite.org (pragma, wal, lang_transaction); SQLAlchemy documentation, pysqlite serializable isolation recipe.
"""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event, make_url
from sqlalchemy.engine import URL

from intakebot.errors import SettingsError

BUSY_TIMEOUT_MS = 10_000
_PRAGMAS = (
    "PRAGMA foreign_keys=ON",
    "PRAGMA synchronous=FULL",
    f"PRAGMA busy_timeout={BUSY_TIMEOUT_MS}",
    "PRAGMA secure_delete=ON",
)


class Engines:
    """One engine for writing, one for reading, and the lock in front of the writer.

    On PostgreSQL both are the same engine and the lock is never contended on purpose: rows are locked instead.
    """

    def __init__(self, url: str) -> None:
        parsed = _checked_url(url)
        self.url = parsed.render_as_string(hide_password=False)
        self.is_sqlite = parsed.get_backend_name() == "sqlite"
        self.writer_lock = threading.Lock()
        if self.is_sqlite:
            self.write = _sqlite_engine(parsed, "BEGIN IMMEDIATE")
            self.read = _sqlite_engine(parsed, "BEGIN")
        else:
            self.write = self.read = _postgres_engine(parsed)

    def dispose(self) -> None:
        self.write.dispose()
        self.read.dispose()


def _checked_url(url: str) -> URL:
    try:
        parsed = make_url(url)
    except Exception as error:
        raise SettingsError(
            "the database URL cannot be read; expected sqlite:///path/to/file.db or postgresql://..."
        ) from error
    backend = parsed.get_backend_name()
    if backend not in ("sqlite", "postgresql"):
        raise SettingsError(f"the database must be sqlite or postgresql, not {backend}")
    if backend == "sqlite":
        if not parsed.database or parsed.database == ":memory:":
            raise SettingsError(
                "the database must be a file (sqlite:///path/to/file.db): a memory database keeps nothing"
            )
        return parsed
    return parsed.set(drivername="postgresql+psycopg")


def _sqlite_engine(url: URL, begin: str) -> Engine:
    Path(str(url.database)).parent.mkdir(parents=True, exist_ok=True)
    engine = create_engine(
        url,
        connect_args={"check_same_thread": False, "timeout": BUSY_TIMEOUT_MS / 1000},
        pool_size=16,
        max_overflow=32,
    )

    @event.listens_for(engine, "connect")
    def _set_up(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # the driver must not begin on its own
        cursor = connection.cursor()
        for pragma in _PRAGMAS:
            cursor.execute(pragma)
        if cursor.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
            cursor.execute("PRAGMA journal_mode=WAL")
        cursor.close()

    @event.listens_for(engine, "begin")
    def _begin(connection: Any) -> None:
        connection.exec_driver_sql(begin)

    return engine


def _postgres_engine(url: URL) -> Engine:
    engine = create_engine(url, pool_size=8, max_overflow=16, pool_pre_ping=True)

    @event.listens_for(engine, "connect")
    def _set_up(connection: Any, _record: Any) -> None:
        with connection.cursor() as cursor:
            cursor.execute("SET synchronous_commit TO on")
            cursor.execute("SET timezone TO 'UTC'")
        connection.commit()

    return engine
