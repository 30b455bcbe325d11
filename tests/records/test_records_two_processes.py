"""Two processes on one database: versions, not locks of one process, keep the turns of a case in one order."""

from __future__ import annotations

import threading
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import text

from intakebot.conversation import MessageReceived
from intakebot.definitions import Definitions
from intakebot.records import Case, Store, open_store
from intakebot.records.tokens import RandomIds
from intakebot.turns import CaseLocks, Request, Services, Via, open_case, take_turn
from tests.turns.doubles import NOW, make_services


def _process(url: str, folder: Path, definitions: Definitions) -> Services:
    """Services as another process would have them: own engine, own locks."""
    store = open_store(url, folder)
    return replace(make_services(store, definitions, lambda: NOW), ids=RandomIds(), locks=CaseLocks())


def test_turns_of_one_case_from_two_processes_all_count_once(
    database_url: str, store: Store, tmp_path: Path, definitions: Definitions
) -> None:
    one, two = (_process(database_url, tmp_path, definitions) for _ in range(2))
    case_id = open_case(one, via=Via("gateway:g", "+441632960001", "sms"), locale="en").conversation_id

    def talk(services: Services, name: str) -> None:
        for number in range(8):
            for key in (f"{name}-{number}", f"both-{number}"):
                message = MessageReceived(key, f"text {key}")
                take_turn(services, case_id, message, request=Request("s", key, "f"))

    threads = [threading.Thread(target=talk, args=pair) for pair in ((one, "one"), (two, "two"))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    with store.reading() as work:
        case = work.cases.get(case_id)
        messages = work.messages.since(case_id, limit=1000)
    said = Counter(m.text for m in messages if m.direction == "in")
    one.store.close()
    two.store.close()
    assert case.version == 1 + 8 * 3  # 8 of each alone, 8 sent by both and counted once
    assert set(said.values()) == {1}
    assert [m.seq for m in messages] == list(range(1, case.message_count + 1))


@pytest.mark.parametrize("filters", [{}, {"waits_for": "box"}, {"phase": "open"}, {"floor": "self"}])
def test_lists_walk_an_index_and_never_sort(tmp_path: Path, a_case: Case, filters: dict[str, str]) -> None:
    """EXPLAIN QUERY PLAN of SQLite: a sort would say TEMP B-TREE, a walk over everything SCAN without an index."""
    from sqlalchemy import event as sql_event

    from tests.turns.doubles import fresh_store

    store = fresh_store(tmp_path)
    seen: list[tuple[str, object]] = []
    sql_event.listen(
        store.engines.read, "before_cursor_execute", lambda *args: seen.append((args[2], args[3]))
    )
    with store.reading() as work:
        work.cases.page(**filters)  # type: ignore[arg-type]
        statement, parameters = seen[-1]
        plan = work.connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", parameters).all()
    store.close()

    steps = " ".join(str(row[-1]) for row in plan)
    assert "TEMP B-TREE" not in steps
    assert "USING INDEX ix_conversations" in steps


@pytest.mark.soak
def test_the_first_page_of_100000_cases_costs_what_that_of_100_costs(tmp_path: Path, a_case: Case) -> None:
    import statistics
    import time

    from tests.turns.doubles import fresh_store

    def page_ms(store: Store) -> float:
        times = []
        for _ in range(40):
            start = time.perf_counter()
            with store.reading() as work:
                work.cases.page(waits_for="box", limit=50)
            times.append((time.perf_counter() - start) * 1000)
        return statistics.median(times)

    small, large = tmp_path / "small", tmp_path / "large"
    stores = []
    for folder, count in ((small, 100), (large, 100_000)):
        folder.mkdir()
        store = fresh_store(folder)
        with store.unit_of_work() as work:
            for number in range(count):
                index = replace(a_case.index, waits_for="box" if number % 2 else "bench")
                case = replace(
                    a_case,
                    id=f"c{number}",
                    reference=f"R{number}",
                    index=index,
                    conversation={"x": "y" * 3000},
                )
                work.cases.add(case, f"h{number}")
            work.commit()
        stores.append(store)
    first = [page_ms(store) for store in stores]
    with stores[1].reading() as work:
        assert work.connection.execute(text("SELECT count(*) FROM conversations")).scalar() == 100_000
    print("first page, ms:", first)

    assert first[1] <= 1.5 * first[0] + 1
