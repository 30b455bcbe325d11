"""The registration handshake: nothing is sent to an endpoint before its receiver said yes, and then not too fast.

Source of every rule: HTTP 1.1 Web Hooks for Event Delivery 1.0.2 (CloudEvents), section 4.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta

import pytest
import responses

from intakebot import receivers
from intakebot.channels.guard import Guard
from intakebot.channels.handshake import WISHED_RATE, Permission, origin_of, permission_in
from intakebot.channels.relay import Relay, allowed
from intakebot.errors import RateLimitedError
from intakebot.records.access import RateState
from intakebot.records.endpoints import Endpoint, Secret
from intakebot.turns import Services, Via, open_case
from intakebot.web.api_limits import RateLimiter
from tests.turns.doubles import NOW, Clock

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
HOOK = "https://hooks.example.com/events"
OURS = "shop.example.com"
YES = {"WebHook-Allowed-Origin": OURS, "WebHook-Allowed-Rate": "100"}


@pytest.fixture
def http() -> Iterator[responses.RequestsMock]:
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


@pytest.fixture
def shop(services: Services) -> Services:
    """Services with an address of their own and one endpoint that must be asked first."""
    shop = replace(services, source=f"https://{OURS}")
    with shop.store.unit_of_work() as work:
        endpoint = Endpoint("e", HOOK, "", (), (Secret(SECRET),), NOW, handshake="required")
        receivers.add_endpoint(work, shop, endpoint)
        work.commit()
    return shop


@pytest.fixture
def relay(shop: Services) -> Relay:
    return Relay(shop, Guard(lambda host, port: ["8.8.8.8"]), randomness=random.Random(1), workers=1)


def _drain(relay: Relay) -> None:
    while relay.run_once():
        pass


def _endpoint(shop: Services) -> Endpoint:
    with shop.store.reading() as work:
        return work.endpoints.get("e")


def _calls(http: responses.RequestsMock, method: str) -> list[object]:
    return [call.request for call in http.calls if call.request.method == method]


@pytest.mark.parametrize(
    ("headers", "expected"),
    [
        ({"webhook-allowed-origin": OURS, "webhook-allowed-rate": "100"}, Permission(True, 100)),
        ({"webhook-allowed-origin": "*", "webhook-allowed-rate": "*"}, Permission(True, None)),
        ({"webhook-allowed-origin": OURS.upper()}, Permission(True, WISHED_RATE)),
        ({"webhook-allowed-origin": "other.example.com", "webhook-allowed-rate": "100"}, Permission(False)),
        ({"webhook-allowed-origin": OURS, "webhook-allowed-rate": "0"}, Permission(False)),
        ({"webhook-allowed-origin": OURS, "webhook-allowed-rate": "-5"}, Permission(False)),
        ({"webhook-allowed-origin": OURS, "webhook-allowed-rate": "1.5"}, Permission(False)),
        ({"webhook-allowed-rate": "100"}, Permission(False)),
        ({"allow": "POST, OPTIONS"}, Permission(False)),
    ],
)
def test_only_the_two_headers_count_as_a_yes(headers: dict[str, str], expected: Permission) -> None:
    """Section 4.2: our origin or `*`; a positive whole number or `*`; never a status code."""
    assert permission_in(headers, OURS) == expected


def test_the_question_names_us_a_rate_and_a_callback_on_the_exact_url(
    shop: Services, relay: Relay, http: responses.RequestsMock
) -> None:
    http.add(responses.OPTIONS, HOOK, status=200, headers=YES)

    _drain(relay)

    [asked] = _calls(http, "OPTIONS")
    assert asked.url == HOOK
    assert asked.headers["WebHook-Request-Origin"] == OURS == origin_of(shop.source)
    assert int(asked.headers["WebHook-Request-Rate"]) > 0
    assert asked.headers["WebHook-Request-Callback"].startswith(
        f"https://{OURS}/api/v1/endpoints/e/confirmation?key="
    )
    assert (_endpoint(shop).state, _endpoint(shop).allowed_rate) == ("active", 100)


def test_nothing_but_a_test_is_sent_before_the_yes_and_our_name_goes_with_everything_after(
    shop: Services, relay: Relay, http: responses.RequestsMock
) -> None:
    http.add(responses.OPTIONS, HOOK, status=405)
    http.post(HOOK, status=204)
    _drain(relay)
    open_case(shop, via=Via("api"), locale="en")
    receivers.queue_test(shop, "endpoint:e")
    _drain(relay)
    before, reason = len(_calls(http, "POST")), _endpoint(shop).reason
    key = receivers.confirmation_key(shop.secret_key, _endpoint(shop))

    receivers.confirm_by_callback(shop, "e", key, "100")
    open_case(shop, via=Via("api"), locale="en")
    _drain(relay)

    posted = _calls(http, "POST")
    assert (before, len(posted)) == (1, 2)
    assert reason == "the receiver did not allow us to send"
    assert [request.headers["WebHook-Request-Origin"] for request in posted] == [OURS, OURS]  # section 4.1.2
    assert b"conversation.opened" in posted[1].body


def test_a_receiver_that_cannot_be_reached_is_asked_again_on_the_schedule(
    shop: Services, relay: Relay, http: responses.RequestsMock, clock: Clock
) -> None:
    down = http.add(responses.OPTIONS, HOOK, status=503)
    _drain(relay)
    http.remove(down)
    http.add(responses.OPTIONS, HOOK, status=200, headers=YES)
    states = [_endpoint(shop).state]

    for seconds in (4, 2):  # the second try is due after 5 s, at most a tenth later
        clock.move(seconds=seconds)
        _drain(relay)
        states.append(_endpoint(shop).state)

    assert states == ["unconfirmed", "unconfirmed", "active"]


def test_a_yes_for_another_url_or_by_an_old_link_does_not_count(
    shop: Services, relay: Relay, http: responses.RequestsMock
) -> None:
    old = receivers.confirmation_key(shop.secret_key, _endpoint(shop))
    with shop.store.unit_of_work() as work:
        receivers.add_endpoint(work, shop, replace(_endpoint(shop), url=HOOK + "/new"))
        work.commit()

    with pytest.raises(receivers.NotFoundError):
        receivers.confirm_by_callback(shop, "e", old)

    assert _endpoint(shop).state == "unconfirmed"


def test_what_was_given_up_for_want_of_a_yes_is_sent_after_it(
    shop: Services, relay: Relay, http: responses.RequestsMock
) -> None:
    """The URL changes while an event waits: the event is not lost, and goes to the new address once that agreed."""
    with shop.store.unit_of_work() as work:
        work.endpoints.confirm("e", None)
        work.commit()
    open_case(shop, via=Via("api"), locale="en")
    with shop.store.unit_of_work() as work:
        receivers.add_endpoint(work, shop, replace(_endpoint(shop), url=HOOK + "/new"))
        work.commit()
    no = http.add(responses.OPTIONS, HOOK + "/new", status=200)
    http.post(HOOK + "/new", status=204)
    _drain(relay)
    before = len(_calls(http, "POST"))
    http.remove(no)
    http.add(responses.OPTIONS, HOOK + "/new", status=200, headers=YES)

    receivers.switch_on(shop, "endpoint:e")
    _drain(relay)

    assert (before, len(_calls(http, "POST"))) == (0, 1)


@pytest.mark.parametrize("rate", [1, 2, 3, 7, 60, 1000])
def test_no_minute_holds_more_than_the_allowed_rate(rate: int) -> None:
    """Asked five times a second for ten minutes: every window [t, t + 60 s) holds at most `rate`, and work gets done."""
    limiter, policy = RateLimiter(), allowed(rate)
    sent = []
    for step in range(0, 3000):
        now = NOW + timedelta(seconds=step / 5)
        try:
            state = limiter.take("x", policy, now)
        except RateLimitedError:
            continue
        assert isinstance(state, RateState)
        sent.append(now)

    fullest = max(
        sum(start <= each < start + timedelta(seconds=60) for each in sent[i : i + 400])
        for i, start in enumerate(sent)
    )
    assert fullest <= rate
    assert len(sent) >= min(rate, 250) * 10 // 2 - 1  # at least half of what was allowed


def test_events_keep_to_the_allowed_rate_and_all_arrive(
    shop: Services, relay: Relay, http: responses.RequestsMock, clock: Clock
) -> None:
    http.add(responses.OPTIONS, HOOK, status=200, headers=YES | {"WebHook-Allowed-Rate": "4"})
    times = []

    def take(request: object) -> tuple[int, dict[str, str], str]:
        times.append(clock.now)
        return 204, {}, ""

    http.add_callback(responses.POST, HOOK, take)
    _drain(relay)
    for _ in range(10):
        open_case(shop, via=Via("api"), locale="en")

    for _ in range(400):
        _drain(relay)
        clock.move(seconds=1)

    assert len(times) == 10
    assert max(sum(start <= each < start + timedelta(seconds=60) for each in times) for start in times) <= 4


def test_the_relay_wakes_for_what_is_due_soon(
    shop: Services, relay: Relay, http: responses.RequestsMock
) -> None:
    """Waiting for an allowed rate does not cost the whole idle time of five seconds."""
    http.add(responses.OPTIONS, HOOK, status=200, headers=YES | {"WebHook-Allowed-Rate": "60"})
    http.post(HOOK, status=204)
    _drain(relay)
    for _ in range(31):  # 30 go at once, the next when one has flowed in: 2 s (30 a minute)
        open_case(shop, via=Via("api"), locale="en")
    _drain(relay)

    assert len(_calls(http, "POST")) == 30
    assert 0.5 <= relay._idle_s() <= 2
