"""Durability settings, migrations, and what the first commit of a writer does to another."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import text

from intakebot.errors import SettingsError
from intakebot.records import Case, Store, migrate, open_store
from intakebot.records.migrate import downgrade
from intakebot.records.tables import metadata


def test_sqlite_is_set_to_keep_what_it_acknowledges(tmp_path: Path) -> None:
    """synchronous=2 is FULL. Source: sqlite.org/pragma.html."""
    url = f"sqlite:///{tmp_path / 'a.db'}"
    migrate(url)
    store = open_store(url, tmp_path)

    with store.unit_of_work() as work:
        pragmas = [
            work.connection.execute(text(f"PRAGMA {name}")).scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys", "secure_delete")
        ]

    store.close()
    assert pragmas == ["wal", 2, 1, 1]


def test_a_migrated_store_is_ready_and_an_empty_one_is_not(database_url: str, tmp_path: Path) -> None:
    store = open_store(database_url, tmp_path)
    before = store.is_ready()
    migrate(database_url)
    after = store.is_ready()
    store.close()

    assert (before, after) == (False, True)


def test_migrations_and_tables_describe_the_same_schema(store: Store) -> None:
    with store.reading() as work:
        assert compare_metadata(MigrationContext.configure(work.connection), metadata) == []


def test_migrations_go_down_and_up_again(database_url: str, tmp_path: Path) -> None:
    migrate(database_url)
    downgrade(database_url, "base")
    store = open_store(database_url, tmp_path)
    empty = store.is_ready()
    migrate(database_url)
    again = store.is_ready()
    store.close()

    assert (empty, again) == (False, True)


def test_migrating_twice_changes_nothing(database_url: str, store: Store, a_case: Case) -> None:
    with store.unit_of_work() as work:
        work.cases.add(a_case, "hash")
        work.commit()

    migrate(database_url)

    with store.reading() as work:
        assert work.cases.get("c_1").reference == "ABC-DEFG"


@pytest.mark.parametrize(
    ("url", "reason"),
    [
        ("mysql://x/y", "sqlite or postgresql"),
        ("sqlite://", "must be a file"),
        ("sqlite:///:memory:", "must be a file"),
        ("no url at all", "cannot be read"),
    ],
)
def test_an_unusable_database_url_says_what_was_expected(url: str, reason: str, tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=reason):
        open_store(url, tmp_path)


def test_read_then_update_by_many_threads_loses_no_update(store: Store) -> None:
    """The classic lost update: 8 threads add 1 to one row 25 times each; 200 must be there."""
    from datetime import UTC, datetime

    now = datetime(2026, 11, 25, tzinfo=UTC)
    with store.unit_of_work() as work:
        work.settings.put("count", 0, now)
        work.commit()

    def add() -> None:
        for _ in range(25):
            with store.unit_of_work() as work:
                if not store.engines.is_sqlite:
                    work.connection.execute(
                        text("SELECT value FROM own_settings WHERE name='count' FOR UPDATE")
                    )
                work.settings.put("count", work.settings.get("count") + 1, now)
                work.commit()

    threads = [threading.Thread(target=add) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    with store.reading() as work:
        assert work.settings.get("count") == 200


def test_a_reader_never_waits_for_a_writer(store: Store, a_case: Case) -> None:
    with store.unit_of_work() as work:
        work.cases.add(a_case, "hash")
        with store.reading() as reader:
            seen = reader.cases.page().lines
        work.commit()

    assert seen == ()
