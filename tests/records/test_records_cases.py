"""Snapshots with versions, and lists by keyset."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from intakebot.errors import BadInputError, NotFoundError, StaleVersionError
from intakebot.records import Case, Store
from intakebot.records.cases import with_index

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


def _add(store: Store, *cases: Case) -> None:
    with store.unit_of_work() as work:
        for case in cases:
            work.cases.add(case, token_hash=f"hash-{case.id}")
        work.commit()


def _many(case: Case, count: int) -> list[Case]:
    return [
        replace(
            with_index(
                case, waits_for="box" if number % 3 == 0 else "bench", search_words=("ada", f"n{number}")
            ),
            id=f"c_{number:04}",
            reference=f"R{number:04}",
            updated_at=NOW + timedelta(seconds=number // 2),  # pairs share a time: the id breaks the tie
        )
        for number in range(count)
    ]


def test_a_stored_case_comes_back_equal(store: Store, a_case: Case) -> None:
    _add(store, a_case)

    with store.reading() as work:
        found = work.cases.get("c_1")

    assert found == replace(a_case, index=replace(a_case.index, search_words=()))


def test_work_without_commit_is_rolled_back(store: Store, a_case: Case) -> None:
    with store.unit_of_work() as work:
        work.cases.add(a_case, "hash")

    with store.reading() as work, pytest.raises(NotFoundError):
        work.cases.get("c_1")


def test_saving_over_a_newer_version_is_refused_and_changes_nothing(store: Store, a_case: Case) -> None:
    _add(store, a_case)
    with store.unit_of_work() as work:
        work.cases.save(replace(a_case, version=2, job={"who": "first"}), expected_version=1)
        work.commit()

    with store.unit_of_work() as work, pytest.raises(StaleVersionError) as refused:
        work.cases.save(replace(a_case, version=2, job={"who": "second"}), expected_version=1)

    with store.reading() as work:
        assert (refused.value.seen, refused.value.current, work.cases.get("c_1").job) == (
            1,
            2,
            {"who": "first"},
        )


def test_saving_an_erased_case_is_not_found(store: Store, a_case: Case) -> None:
    with store.unit_of_work() as work, pytest.raises(NotFoundError):
        work.cases.save(a_case, expected_version=1)


def test_a_foreign_token_finds_nothing(store: Store, a_case: Case) -> None:
    _add(store, a_case)

    with store.reading() as work:
        assert work.cases.get("c_1", "hash-c_1").id == "c_1"
        with pytest.raises(NotFoundError):
            work.cases.get("c_1", "hash-of-somebody-else")


@pytest.mark.parametrize("oldest_first", [False, True])
def test_pages_together_hold_every_case_once_in_order(store: Store, a_case: Case, oldest_first: bool) -> None:
    cases = _many(a_case, 25)
    _add(store, *cases)

    seen, after = [], None
    while True:
        with store.reading() as work:
            page = work.cases.page(after=after, limit=4, oldest_first=oldest_first)
        seen += [line.id for line in page.lines]
        after = page.after
        if after is None:
            break

    expected = [case.id for case in sorted(cases, key=lambda c: (c.updated_at, c.id))]
    assert seen == (expected if oldest_first else expected[::-1])


def test_a_case_changed_between_pages_is_not_shown_twice(store: Store, a_case: Case) -> None:
    _add(store, *_many(a_case, 10))
    with store.reading() as work:
        first = work.cases.page(limit=5)
    with store.unit_of_work() as work:
        changed = replace(work.cases.get("c_0000"), version=2, updated_at=NOW + timedelta(hours=1))
        work.cases.save(changed, expected_version=1)
        work.commit()

    with store.reading() as work:
        second = work.cases.page(limit=10, after=first.after)

    ids = [line.id for line in first.lines + second.lines]
    assert len(ids) == len(set(ids)) == 9  # the moved one is now before the first page


def test_filters_and_search_narrow_the_list(store: Store, a_case: Case) -> None:
    _add(store, *_many(a_case, 9))

    with store.reading() as work:
        boxes = {line.id for line in work.cases.page(waits_for="box").lines}
        found = [line.id for line in work.cases.page(search="AD n7").lines]
        by_reference = [line.id for line in work.cases.page(search="r0003").lines]

    assert boxes == {"c_0000", "c_0003", "c_0006"}
    assert (found, by_reference) == (["c_0007"], ["c_0003"])


def test_a_reference_typed_in_full_finds_that_case_alone_within_the_filter(
    store: Store, a_case: Case
) -> None:
    """R0003 waits for a box; another case has R0003 among its words, as a model name would be."""
    _add(store, *_many(a_case, 9))
    with store.unit_of_work() as work:
        other = work.cases.get("c_0007")
        work.cases.save_words(replace(other, index=replace(other.index, search_words=("r0003",))))
        work.commit()

    with store.reading() as work:
        found, part, elsewhere = (
            [line.id for line in work.cases.page(**asked).lines]
            for asked in ({"search": "r0003"}, {"search": "r000"}, {"search": "R0003", "waits_for": "bench"})
        )

    assert (found, len(part), elsewhere) == (["c_0003"], 9, [])


@pytest.mark.parametrize("cursor", ["", "x", "WzFd", "bm90IGpzb24", "é", "W" * 5000, "WyIyIiwgImEiLCAiYiJd"])
def test_a_foreign_cursor_is_bad_input(store: Store, cursor: str) -> None:
    with store.reading() as work, pytest.raises(BadInputError):
        work.cases.page(after=cursor)


def test_a_cursor_belongs_to_its_filter(store: Store, a_case: Case) -> None:
    _add(store, *_many(a_case, 9))

    with store.reading() as work:
        cursor = work.cases.page(waits_for="bench", limit=2).after
        with pytest.raises(BadInputError):
            work.cases.page(waits_for="box", after=cursor)


def test_counts_stop_at_the_cap(store: Store, a_case: Case) -> None:
    _add(store, *_many(a_case, 12))  # 4 wait for the box (0, 3, 6, 9), 8 for the bench

    with store.reading() as work:
        counts = work.cases.counts(cap=5)

    assert (counts["box"], counts["bench"], counts["nothing"]) == (4, 5, 0)


def test_deleting_a_case_takes_everything_that_hangs_on_it(store: Store, a_case: Case) -> None:
    from sqlalchemy import func, select

    from intakebot.records import Event, Message
    from intakebot.records.tables import metadata

    _add(store, a_case)
    with store.unit_of_work() as work:
        work.messages.add_all("c_1", [Message(1, "in", "web", NOW, "hello")])
        work.events.add_all("c_1", [Event(1, "message_in", "customer", NOW)])
        work.commit()

    with store.unit_of_work() as work:
        work.cases.delete("c_1")
        work.commit()

    with store.reading() as work:
        left = {
            table.name: work.connection.execute(select(func.count()).select_from(table)).scalar_one()
            for table in metadata.sorted_tables
        }
    assert {name: count for name, count in left.items() if count} == {}
