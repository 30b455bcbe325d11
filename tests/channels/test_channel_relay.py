"""The relay: at least once, in order, on schedule; opt-out, erasure and quiet hours looked up right before sending."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
import requests
import responses
from standardwebhooks.webhooks import Webhook

from intakebot import receivers
from intakebot.channels.guard import Guard
from intakebot.channels.relay import Relay
from intakebot.channels.timing import SCHEDULE_S, next_try, nudge_time
from intakebot.conversation import MessageReceived
from intakebot.definitions import Definitions
from intakebot.errors import ConflictError
from intakebot.records.endpoints import Endpoint, Gateway, Secret
from intakebot.turns import Opened, Services, Via, open_case, take_turn
from tests.turns.doubles import NOW, Clock

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
HOOK = "https://hooks.example.com/events"
GATE = "https://gateway.example.com/send"
PHONE = "+447700900123"
"""Reserved for drama use. Source: Ofcom, telephone numbers for use in TV and radio drama programmes."""


@pytest.fixture
def http() -> Iterator[responses.RequestsMock]:
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


@pytest.fixture
def relay(services: Services) -> Relay:
    return Relay(services, Guard(lambda host, port: ["8.8.8.8"]), randomness=random.Random(1), workers=1)


@pytest.fixture
def shop(services: Services) -> Services:
    """Services with one endpoint for every event and one SMS gateway."""
    with services.store.unit_of_work() as work:
        work.endpoints.put(Endpoint("e", HOOK, "", (), (Secret(SECRET),), NOW))
        work.gateways.put(Gateway("g", GATE, (Secret(SECRET),), NOW, alphabet="gsm7"))
        work.commit()
    return services


def _open(services: Services, phone: str = PHONE) -> Opened:
    return open_case(services, via=Via("gateway:g", phone, "sms"), locale="en")


def _say(services: Services, opened: Opened, text: str, key: str = "m") -> None:
    take_turn(services, opened.conversation_id, MessageReceived(key, text))


def _drain(relay: Relay) -> int:
    total = 0
    while count := relay.run_once():
        total += count
    return total


def _bodies(http: responses.RequestsMock, url: str) -> list[dict]:  # type: ignore[type-arg]
    return [json.loads(call.request.body) for call in http.calls if call.request.url == url]


def test_replies_reach_the_gateway_signed_and_are_marked_done(
    shop: Services, relay: Relay, http: responses.RequestsMock
) -> None:
    http.post(GATE, status=200)
    http.post(HOOK, status=204)
    _open(shop)

    _drain(relay)

    [sent] = _bodies(http, GATE)
    assert (sent["type"], sent["to"]) == ("message.outbound", PHONE)
    assert all(text["text"] for text in sent["messages"])
    with shop.store.reading() as work:
        assert [item.state for item in work.outbox.of_target("gateway:g") if item.kind == "message"] == [
            "done"
        ]


def test_an_event_is_a_thin_cloud_event_that_the_reference_library_verifies(
    services: Services, relay: Relay, http: responses.RequestsMock, clock: Clock
) -> None:
    """CloudEvents 1.0.2, section 3.1 (required attributes) and the standardwebhooks package as receiver."""
    clock.now = datetime.now(UTC)
    with services.store.unit_of_work() as work:
        work.endpoints.put(Endpoint("e", HOOK, "", (), (Secret(SECRET),), NOW))
        work.commit()
    http.post(HOOK, status=200)
    opened = open_case(services, via=Via("api"), locale="en", text="my name is Ada Example")

    _drain(relay)

    request = http.calls[0].request
    event = Webhook(SECRET).verify(request.body, dict(request.headers))
    assert {"specversion", "id", "source", "type"} <= set(event)
    assert event["specversion"] == "1.0"
    assert all(event[name] for name in ("id", "source", "type"))
    assert (event["type"], event["subject"]) == ("intakebot.conversation.opened", opened.conversation_id)
    assert datetime.fromisoformat(event["time"]).tzinfo is not None  # RFC 3339, as CloudEvents asks
    assert request.headers["webhook-id"] == event["id"]
    assert request.headers["content-type"] == "application/cloudevents+json"
    assert "Ada" not in request.body.decode()
    assert len(request.body) < 20_000


def test_a_failure_is_tried_again_on_schedule_with_the_same_id_and_a_new_time(
    shop: Services, relay: Relay, http: responses.RequestsMock, clock: Clock
) -> None:
    http.post(GATE, status=500)
    http.post(HOOK, status=200)
    _open(shop)
    _drain(relay)
    clock.move(seconds=4)  # the second try is due after 5 s
    early = _drain(relay)
    clock.move(seconds=2)

    late = _drain(relay)

    tries = [call.request.headers for call in http.calls if call.request.url == GATE]
    assert (early, late, len(tries)) == (0, 1, 2)
    assert len({headers["webhook-id"] for headers in tries}) == 1
    assert len({headers["webhook-timestamp"] for headers in tries}) == 2


def test_the_schedule_is_that_of_the_specification() -> None:
    """Standard Webhooks 1.0: 0, 5 s, 5 min, 30 min, 2 h, 5 h, 10 h, 14 h, 20 h, 24 h; about 75.6 h in all."""
    assert sum(SCHEDULE_S) / 3600 == pytest.approx(75.6, abs=0.05)
    dice = random.Random(3)
    for tries in range(1, len(SCHEDULE_S)):
        due = next_try(tries, NOW, None, dice)
        assert due is not None
        wait_s = (due - NOW).total_seconds()
        assert SCHEDULE_S[tries] <= wait_s <= SCHEDULE_S[tries] * 1.1
    assert next_try(len(SCHEDULE_S), NOW, None, dice) is None


@pytest.mark.parametrize(
    ("header", "least"),
    [("120", 120), ("Wed, 25 Nov 2026 09:10:00 GMT", 600), ("soon", 5), ("-5", 5), ("999999999", 86_400)],
)
def test_retry_after_is_honoured(
    shop: Services, relay: Relay, http: responses.RequestsMock, header: str, least: int
) -> None:
    """RFC 9110, section 10.2.3: seconds or a date. NOW is 09:00, so 09:10 is 600 s away."""
    http.post(GATE, status=429, headers={"Retry-After": header})
    http.post(HOOK, status=200)
    _open(shop)

    _drain(relay)

    with shop.store.reading() as work:
        [item] = [each for each in work.outbox.of_target("gateway:g") if each.kind == "message"]
    wait_s = (item.due_at - NOW).total_seconds()
    assert least <= wait_s <= least + 1


def test_retry_after_counts_from_the_answer_not_from_the_start_of_the_request(
    shop: Services, relay: Relay, http: responses.RequestsMock, clock: Clock
) -> None:
    """RFC 9110, section 10.2.3: a delay in seconds after the response was received. This one takes 14 s to come."""

    def answer(request: object) -> tuple[int, dict[str, str], str]:
        clock.move(seconds=14)
        return 429, {"Retry-After": "600"}, ""

    http.add_callback(responses.POST, GATE, callback=answer)
    http.post(HOOK, status=200)
    _open(shop)

    _drain(relay)

    with shop.store.reading() as work:
        [item] = [each for each in work.outbox.of_target("gateway:g") if each.kind == "message"]
    assert 614 <= (item.due_at - NOW).total_seconds() <= 615


def test_after_the_last_try_it_is_shown_as_failed_and_can_be_replayed(
    shop: Services, relay: Relay, http: responses.RequestsMock, clock: Clock
) -> None:
    failing = http.post(HOOK, status=503)
    http.post(GATE, status=200)
    _open(shop)
    for _ in range(12):
        _drain(relay)
        clock.move(hours=27)
    with shop.store.reading() as work:
        [dead] = work.outbox.dead()
        tries = work.outbox.attempts_of(dead.id)
        failing_since = work.endpoints.get("e").failing_since
        state = work.endpoints.get("e").state
    http.remove(failing)
    http.post(HOOK, status=200)
    with pytest.raises(ConflictError):
        receivers.replay(shop, dead.id)

    receivers.switch_on(shop, "endpoint:e")
    _drain(relay)

    assert [each.number for each in tries] == list(range(1, 11))
    assert state == "disabled"
    assert failing_since == NOW
    with shop.store.reading() as work:
        assert (work.outbox.get(dead.id).state, work.endpoints.get("e").failing_since) == ("done", None)


def test_an_endpoint_that_works_now_and_then_is_not_switched_off(
    shop: Services, relay: Relay, http: responses.RequestsMock, clock: Clock
) -> None:
    """One event is given up, but another one went through meanwhile: the receiver is alive."""
    first = _open(shop)

    def answer(request: requests.PreparedRequest) -> tuple[int, dict[str, str], str]:
        return (503 if first.conversation_id in str(request.body) else 200), {}, ""

    http.add_callback(responses.POST, HOOK, answer)
    http.post(GATE, status=200)
    for number in range(12):
        _drain(relay)
        clock.move(hours=27)
        if number == 5:
            _open(shop, "+447700900124")

    with shop.store.reading() as work:
        states = {item.state for item in work.outbox.dead()}
        assert (states, work.endpoints.get("e").state) == ({"failed"}, "active")


def test_410_switches_the_endpoint_off_and_nothing_more_is_sent(
    shop: Services, relay: Relay, http: responses.RequestsMock
) -> None:
    http.post(HOOK, status=410)
    http.post(GATE, status=200)
    first = _open(shop)
    _drain(relay)

    _open(shop, "+447700900124")
    _say(shop, first, "a person please")
    _drain(relay)

    with shop.store.reading() as work:
        assert work.endpoints.get("e").state == "disabled"
    assert len(_bodies(http, HOOK)) == 1


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_a_redirect_is_a_failure_and_is_not_followed(
    shop: Services, relay: Relay, http: responses.RequestsMock, status: int
) -> None:
    http.post(HOOK, status=status, headers={"Location": "https://elsewhere.example.com/"})
    http.post(GATE, status=200)
    _open(shop)

    _drain(relay)

    assert "https://elsewhere.example.com/" not in {call.request.url for call in http.calls}
    with shop.store.reading() as work:
        [item] = work.outbox.of_target("endpoint:e")
    assert (item.state, item.attempt) == ("waiting", 1)


def test_order_is_kept_within_a_conversation_and_others_are_not_held_back(
    shop: Services, relay: Relay, http: responses.RequestsMock, clock: Clock
) -> None:
    http.post(HOOK, status=200)
    http.post(GATE, status=500)
    http.post(GATE, status=200)
    first = _open(shop)
    _drain(relay)  # fails once
    _say(shop, first, "second message")
    _open(shop, "+447700900124")
    _drain(relay)  # the other conversation goes through, the second message of the first waits
    clock.move(seconds=6)
    _drain(relay)

    to = [(body["to"], len(body["messages"])) for body in _bodies(http, GATE)]
    assert [address for address, _ in to] == [PHONE, "+447700900124", PHONE, PHONE]


def test_two_relays_never_hold_the_same_item(shop: Services) -> None:
    for number in range(6):
        _open(shop, f"+44770090012{number}")
    with shop.store.unit_of_work() as work:
        one = work.outbox.claim("one", NOW, 60, 5)
        work.commit()
    with shop.store.unit_of_work() as work:
        two = work.outbox.claim("two", NOW, 60, 50)
        work.commit()

    assert len(one) == 5
    assert not {item.id for item in one} & {item.id for item in two}


def test_a_lease_that_ran_out_is_taken_over_and_the_late_result_is_noted_but_does_not_count(
    shop: Services, clock: Clock
) -> None:
    from intakebot.records.outbox import Attempt

    _open(shop)
    with shop.store.unit_of_work() as work:
        lost = work.outbox.claim("one", NOW, 60, 1)[0]
        work.commit()
    clock.move(seconds=61)
    with shop.store.unit_of_work() as work:
        taken = [item for item in work.outbox.claim("two", clock(), 60, 9) if item.id == lost.id]
        held = work.outbox.sent(lost, Attempt(1, clock(), 200, "", 1))
        counts = work.outbox.sent(taken[0], Attempt(1, clock(), 200, "", 1))
        work.commit()

    assert (held, counts) == (False, True)


def test_after_opt_out_one_confirmation_and_then_nothing(
    shop: Services, relay: Relay, http: responses.RequestsMock
) -> None:
    http.post(GATE, status=200)
    http.post(HOOK, status=200)
    opened = _open(shop)
    _drain(relay)
    _say(shop, opened, "STOP", "m1")
    _drain(relay)
    before = len(_bodies(http, GATE))

    _say(shop, opened, "it still skips", "m2")
    _drain(relay)

    assert before == 2  # the opening and the one confirmation
    assert len(_bodies(http, GATE)) == 2
    with shop.store.reading() as work:
        assert work.opt_outs.has("gateway:g", PHONE)


def test_opt_out_between_writing_and_sending_is_seen(
    shop: Services, relay: Relay, http: responses.RequestsMock
) -> None:
    http.post(GATE, status=200)
    http.post(HOOK, status=200)
    _open(shop)
    with shop.store.unit_of_work() as work:
        work.opt_outs.add("gateway:g", PHONE, NOW)
        work.commit()

    _drain(relay)

    assert _bodies(http, GATE) == []


def test_two_reminders_then_silence(
    shop: Services, relay: Relay, http: responses.RequestsMock, clock: Clock
) -> None:
    http.post(GATE, status=200)
    http.post(HOOK, status=200)
    _open(shop)
    for _ in range(30 * 4):
        _drain(relay)
        clock.move(hours=6)

    texts = [body["messages"] for body in _bodies(http, GATE)]
    assert len(texts) == 3  # the opening, the next day, the fourth day
    assert "last reminder" in texts[2][0]["text"]


def test_an_answer_cancels_the_reminders_planned_before_it(
    shop: Services, relay: Relay, http: responses.RequestsMock, clock: Clock
) -> None:
    http.post(GATE, status=200)
    http.post(HOOK, status=200)
    opened = _open(shop)
    clock.move(hours=20)
    _say(shop, opened, "it is a console")
    _drain(relay)
    clock.move(hours=5)  # 25 h after the opening: its reminder would be due
    _drain(relay)

    assert len(_bodies(http, GATE)) == 2


def test_nudges_wait_for_working_hours(definitions: Definitions) -> None:
    """The demo shop is in London and works Monday to Friday. 2026-11-25 is a Wednesday, 28 a Saturday, 25 Dec a holiday."""

    def at(*when: int) -> datetime:
        return datetime(*when, tzinfo=UTC)  # type: ignore[arg-type]

    assert nudge_time(definitions, at(2026, 11, 25, 12)) == at(2026, 11, 25, 12)
    assert nudge_time(definitions, at(2026, 11, 25, 3)) == at(2026, 11, 25, 9)
    assert nudge_time(definitions, at(2026, 11, 25, 21)) == at(2026, 11, 26, 9)
    assert nudge_time(definitions, at(2026, 11, 27, 20, 30)).weekday() == 0
    assert nudge_time(definitions, at(2026, 12, 25, 12)).date() > at(2026, 12, 26).date()
    assert nudge_time(definitions, at(2026, 7, 1, 8)) == at(
        2026, 7, 1, 8
    )  # summer time: 9:00 in London is 8:00 UTC


def test_a_reminder_due_at_night_goes_out_in_the_morning_of_a_working_day(
    shop: Services, relay: Relay, http: responses.RequestsMock, clock: Clock
) -> None:
    """Asked on Thursday at 22:30 in London: the reminder is due on Friday at 22:30 and waits until Monday, 9:00."""
    http.post(GATE, status=200)
    http.post(HOOK, status=200)
    clock.now = datetime(2026, 11, 26, 22, 30, tzinfo=UTC)
    _open(shop)
    sent: list[datetime] = []
    for _ in range(4 * 24 * 2):
        before = len(_bodies(http, GATE))
        _drain(relay)
        sent += [clock.now] * (len(_bodies(http, GATE)) - before)
        clock.move(minutes=30)

    assert sent == [datetime(2026, 11, 26, 22, 30, tzinfo=UTC), datetime(2026, 11, 30, 9, 0, tzinfo=UTC)]


def test_an_opt_out_while_a_reminder_waits_for_the_morning_is_seen(
    shop: Services, relay: Relay, http: responses.RequestsMock, clock: Clock
) -> None:
    http.post(GATE, status=200)
    http.post(HOOK, status=200)
    clock.now = datetime(2026, 11, 26, 22, 30, tzinfo=UTC)
    _open(shop)
    _drain(relay)
    clock.move(hours=25)
    _drain(relay)  # put off until Monday
    with shop.store.unit_of_work() as work:
        work.opt_outs.add("gateway:g", PHONE, clock())
        work.commit()

    for _ in range(10):
        clock.move(hours=24)
        _drain(relay)

    assert len(_bodies(http, GATE)) == 1  # the opening only


def test_a_reply_to_a_customer_goes_at_any_hour(
    shop: Services, relay: Relay, http: responses.RequestsMock, clock: Clock
) -> None:
    http.post(GATE, status=200)
    http.post(HOOK, status=200)
    clock.now = datetime(2026, 11, 29, 3, 0, tzinfo=UTC)  # a Sunday night

    _open(shop)
    _drain(relay)

    assert len(_bodies(http, GATE)) == 1


def test_items_of_an_erased_case_are_gone_with_it(
    shop: Services, relay: Relay, http: responses.RequestsMock
) -> None:
    opened = _open(shop)
    with shop.store.unit_of_work() as work:
        work.cases.delete(opened.conversation_id)
        work.commit()

    assert _drain(relay) == 0
    assert len(http.calls) == 0


def test_an_endpoint_that_turned_inward_gets_nothing(shop: Services, http: responses.RequestsMock) -> None:
    """Names change: the address is judged again at every delivery."""
    inward = Relay(shop, Guard(lambda host, port: ["10.0.0.1"]), workers=1)
    _open(shop)

    inward.run_once()

    assert len(http.calls) == 0
    with shop.store.reading() as work:
        assert "address cannot be used" in work.outbox.of_target("endpoint:e")[0].last_error


def test_the_lease_is_longer_than_the_longest_send() -> None:
    from intakebot.channels.guard import CONNECT_S, TOTAL_S
    from intakebot.channels.relay import LEASE_S

    assert timedelta(seconds=LEASE_S) > timedelta(seconds=CONNECT_S + TOTAL_S)
