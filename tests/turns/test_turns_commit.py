"""A turn is one commit; the same request has one effect and one answer."""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import datetime

import pytest
from sqlalchemy import event as sql_event

from intakebot.conversation import ChoiceTaken, FactsEntered, MessageReceived, StaffReplied
from intakebot.definitions import Definitions
from intakebot.errors import (
    BadInputError,
    NotFoundError,
    QuoteStateError,
    RequestMismatchError,
    RequestRunningError,
    StaleVersionError,
)
from intakebot.records import Case
from intakebot.records.tokens import hash_secret
from intakebot.turns import (
    CaseChange,
    Opened,
    Request,
    Services,
    Via,
    change_case,
    decide,
    open_case,
    take_turn,
)
from tests.turns.doubles import NOW, Clock


def _open(services: Services, **more: object) -> Opened:
    return open_case(services, via=Via("api"), locale="en", **more)  # type: ignore[arg-type]


def _say(services: Services, case_id: str, text: str, key: str | None = None) -> dict[str, object]:
    request = Request("test", key, text) if key else None
    return take_turn(services, case_id, MessageReceived(key or "m", text), request=request).mapping


def _to_estimate(services: Services, case_id: str) -> None:
    """Talk until the estimate is there: no hazard, nothing to ask (the double finds no question worth it)."""
    facts = {
        "device_kind": "console_slot",
        "bluray_result": "fails",
        "dvd_result": "plays",
        "opened": "nobody",
    }
    take_turn(services, case_id, FactsEntered("f1", facts))
    for _ in range(12):
        with services.store.reading() as work:
            case = work.cases.get(case_id)
        if case.index.phase == "estimated":
            return
        pending = case.conversation["pending"]
        offered = [value for value, _ in pending["offered"]] if pending else []
        choice = next((v for v in offered if v.endswith((":none", ":all_right", ":yes", ":nobody"))), None)
        take_turn(services, case_id, ChoiceTaken("c", choice) if choice else MessageReceived("m", "not sure"))
    pytest.fail("no estimate after 12 turns")


def test_a_turn_stores_message_events_snapshot_and_replies_together(services: Services) -> None:
    opened = _open(services)

    answer = _say(services, opened.conversation_id, "my console has no picture")

    with services.store.reading() as work:
        case = work.cases.get(opened.conversation_id)
        messages = work.messages.since(case.id)
        events = work.events.since(case.id)
    assert (case.version, answer["version"]) == (2, 2)
    assert [m.seq for m in messages] == list(range(1, case.message_count + 1))
    assert [e.seq for e in events] == list(range(1, case.event_count + 1))
    assert [m.text for m in messages if m.direction == "in"] == ["my console has no picture"]
    replies = [r["text"] for r in answer["replies"]]  # type: ignore[attr-defined]
    assert [m.text for m in messages][-len(replies) :] == replies


def test_a_repeated_request_gets_the_same_bytes_and_has_no_second_effect(services: Services) -> None:
    opened = _open(services)
    request = Request("s", "key", "print")
    first = take_turn(services, opened.conversation_id, MessageReceived("m", "it skips"), request=request)

    second = take_turn(services, opened.conversation_id, MessageReceived("m", "it skips"), request=request)

    with services.store.reading() as work:
        case = work.cases.get(opened.conversation_id)
    assert (second.body, second.status, second.replayed, first.replayed) == (first.body, 200, True, False)
    assert case.version == 2


def test_the_same_key_with_another_content_is_refused(services: Services) -> None:
    opened = _open(services)
    take_turn(services, opened.conversation_id, MessageReceived("m", "a"), request=Request("s", "k", "one"))

    with pytest.raises(RequestMismatchError):
        take_turn(
            services, opened.conversation_id, MessageReceived("m", "b"), request=Request("s", "k", "two")
        )


def test_the_same_key_of_another_caller_is_another_request(services: Services) -> None:
    opened = _open(services)
    take_turn(services, opened.conversation_id, MessageReceived("m", "a"), request=Request("one", "k", "f"))

    other = take_turn(
        services, opened.conversation_id, MessageReceived("m", "a"), request=Request("two", "k", "f")
    )

    assert (other.replayed, other.mapping["version"]) == (False, 3)


def test_a_repeated_opening_gives_the_same_conversation_and_token(services: Services) -> None:
    request = Request("s", "a-long-enough-key", "f")
    first = _open(services, request=request, text="no power")

    second = _open(services, request=request, text="no power")

    assert (second.conversation_id, second.token, second.answer.body) == (
        first.conversation_id,
        first.token,
        first.answer.body,
    )


def test_only_the_hash_of_the_token_is_stored(services: Services) -> None:
    opened = _open(services)
    database = services.store.data_dir / "records.db"
    services.store.checkpoint()

    assert opened.token.encode() not in database.read_bytes()
    assert len(opened.token) == 43  # 256 bits in base64 without padding: ceil(256 / 6)
    with services.store.reading() as work:
        assert work.cases.id_of_token(hash_secret(opened.token)) == opened.conversation_id


def test_an_unknown_conversation_and_a_foreign_token_are_told_the_same(services: Services) -> None:
    opened, other = _open(services), _open(services)

    with pytest.raises(NotFoundError) as unknown:
        take_turn(services, "c_none", MessageReceived("m", "hi"), token_hash=hash_secret(opened.token))
    with pytest.raises(NotFoundError) as foreign:
        take_turn(
            services, other.conversation_id, MessageReceived("m", "hi"), token_hash=hash_secret(opened.token)
        )

    assert str(unknown.value) == str(foreign.value)


def test_bad_facts_are_refused_and_store_nothing(services: Services) -> None:
    opened = _open(services)

    with pytest.raises(BadInputError) as refused:
        take_turn(services, opened.conversation_id, FactsEntered("f", {"no_such_fact": "yes"}))

    with services.store.reading() as work:
        case = work.cases.get(opened.conversation_id)
    assert (refused.value.where, case.version) == ("facts.no_such_fact", 1)


def test_a_staff_edit_over_a_newer_version_is_refused(services: Services) -> None:
    opened = _open(services)
    _say(services, opened.conversation_id, "hello")

    with pytest.raises(StaleVersionError):
        take_turn(services, opened.conversation_id, StaffReplied("s", "hello"), actor="staff:1", if_version=1)


def test_a_decision_made_on_an_old_version_is_made_again(services: Services) -> None:
    """Somebody else commits between reading and writing: the change is applied to what they left."""
    opened = _open(services)
    seen: list[int] = []

    def change(definitions: Definitions, case: Case, now: datetime) -> CaseChange:
        seen.append(case.version)
        if len(seen) == 1:
            with services.store.unit_of_work() as work:
                work.cases.save(replace(case, version=2, job={"first": True}), expected_version=1)
                work.commit()
        return CaseChange(replace(case, job={**case.job, "second": True}))

    change_case(services, opened.conversation_id, change, actor="staff:1")

    with services.store.reading() as work:
        case = work.cases.get(opened.conversation_id)
    assert (seen, dict(case.job), case.version) == ([1, 2], {"first": True, "second": True}, 3)


def test_turns_of_one_case_from_many_threads_all_count_once(services: Services) -> None:
    opened = _open(services)

    def talk(number: int) -> None:
        for turn in range(5):
            _say(services, opened.conversation_id, f"message {number} {turn}", key=f"{number}-{turn}")

    threads = [threading.Thread(target=talk, args=(number,)) for number in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    with services.store.reading() as work:
        case = work.cases.get(opened.conversation_id)
        texts = [m.text for m in work.messages.since(case.id, limit=1000) if m.direction == "in"]
    assert case.version == 1 + 6 * 5
    assert sorted(texts) == sorted(f"message {number} {turn}" for number in range(6) for turn in range(5))


def test_an_estimate_is_decided_once_and_logged(services: Services) -> None:
    opened = _open(services)
    _to_estimate(services, opened.conversation_id)

    answer = decide(services, opened.conversation_id, "accept", by="customer", channel="api", quote_number=1)

    with services.store.reading() as work:
        log = work.authorisations.all(opened.conversation_id)
        quote = work.quotes.current(opened.conversation_id)
    assert answer.mapping["state"]["phase"] == "accepted"
    assert [(e.decision, e.quote_number, e.by, e.channel, e.at) for e in log] == [
        ("accept", 1, "customer", "api", NOW)
    ]
    assert quote.state == "accepted"
    with pytest.raises(QuoteStateError):
        decide(services, opened.conversation_id, "accept", by="customer", channel="api")


def test_deciding_another_quote_than_the_current_one_is_refused(services: Services) -> None:
    opened = _open(services)
    _to_estimate(services, opened.conversation_id)

    with pytest.raises(QuoteStateError, match="replaced"):
        decide(services, opened.conversation_id, "accept", by="customer", channel="api", quote_number=7)


def test_the_number_of_statements_does_not_grow_with_the_talk(services: Services) -> None:
    """Constant cost: at most 12 statements, the same at turn 5 and at turn 60."""
    opened = _open(services)
    counted: list[str] = []
    for engine in {services.store.engines.read, services.store.engines.write}:
        sql_event.listen(engine, "before_cursor_execute", lambda *args: counted.append(args[2]))

    counts = []
    for turn in range(60):
        counted.clear()
        _say(services, opened.conversation_id, "hm", key=f"k{turn}")
        counts.append(len(counted))

    assert counts[4] == counts[-1]
    assert max(counts) <= 12


def test_the_same_request_at_the_same_time_can_be_refused(services: Services) -> None:
    with services.running.only("s", "k"):
        with pytest.raises(RequestRunningError), services.running.only("s", "k"):
            pass
        with services.running.only("s", "another"):
            pass
    with services.running.only("s", "k"):
        pass


def test_the_clock_decides_times_not_order(services: Services, clock: Clock) -> None:
    """The clock goes back an hour between two turns: the order stays that of the sequence numbers."""
    opened = _open(services)
    _say(services, opened.conversation_id, "first")
    clock.move(hours=-1)
    _say(services, opened.conversation_id, "second")

    with services.store.reading() as work:
        texts = [m.text for m in work.messages.since(opened.conversation_id) if m.direction == "in"]
    assert texts == ["first", "second"]
