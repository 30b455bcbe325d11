"""Bring a database to the newest schema with Alembic."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection

from intakebot.records.engine import Engines

_SCRIPTS = Path(__file__).with_name("migrations")


def alembic_config(connection: Connection | None = None) -> Config:
    """Alembic's configuration without a file; the connection to use is handed over in it."""
    config = Config()
    config.set_main_option("script_location", str(_SCRIPTS))
    config.attributes["connection"] = connection
    return config


def migrate(url: str, revision: str = "head") -> None:
    """Upgrade (or, given an older revision, leave to `downgrade`) the database; does nothing when it is up to date.

    Raises: SettingsError for an unusable URL.
    """
    with _migrating(url) as connection:
        if revision != "head" or not is_current(connection):
            command.upgrade(alembic_config(connection), revision)


def downgrade(url: str, revision: str) -> None:
    """Go back to an older revision (`base` empties the database)."""
    with _migrating(url) as connection:
        command.downgrade(alembic_config(connection), revision)


@contextmanager
def _migrating(url: str) -> Iterator[Connection]:
    """One transaction for the whole migration. On SQLite foreign keys are off meanwhile: a table is rebuilt by copying
    it and dropping the old one, and a drop with foreign keys on would delete what hangs on its rows."""
    engines = Engines(url)
    try:
        with engines.writer_lock, engines.write.connect() as connection:
            if engines.is_sqlite:
                raw = connection.connection.driver_connection
                raw.execute("PRAGMA foreign_keys=OFF")  # type: ignore[union-attr]
            yield connection
            connection.commit()
    finally:
        engines.dispose()


def is_current(connection: Connection) -> bool:
    """True when the database is at the newest revision."""
    newest = ScriptDirectory(str(_SCRIPTS)).get_current_head()
    return newest is not None and MigrationContext.configure(connection).get_current_revision() == newest
