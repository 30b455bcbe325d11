"""Ten receivers that misbehave in ten ways, and a relay that dies in between: each event arrives, in order, at least once."""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace

import pytest
import requests

from intakebot.channels.guard import Fetched
from intakebot.channels.relay import Relay
from intakebot.records import Case, Store
from intakebot.records.endpoints import Endpoint, Secret
from intakebot.records.outbox import NewItem
from intakebot.records.tokens import RandomIds
from intakebot.turns import Services
from tests.turns.doubles import NOW, Clock

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
BEHAVIOURS = (
    "fine", "fails_often", "asks_to_wait", "redirects", "resets", "is_slow", "takes_then_dies", "takes_then_500", "goes_away",
    "is_down_for_hours",
)  # fmt: skip


class RelayDied(BaseException):
    """The relay's process ends at this very point: nothing after it runs, leases stay."""


class HostileWorld:
    """Stands where the guard stands; keeps what each receiver accepted, in order."""

    def __init__(self, clock: Clock, seed: int) -> None:
        self._clock, self._dice = clock, random.Random(seed)
        self.accepted: dict[str, list[str]] = defaultdict(list)
        self.after_gone = 0
        self._gone: set[str] = set()
        self.deaths = 0

    def post(self, url: str, body: bytes, headers: Mapping[str, str]) -> Fetched:
        name = url.rsplit("/", 1)[1]
        event = headers["webhook-id"]
        luck = self._dice.random()
        if name in self._gone:
            self.after_gone += 1
        if name == "goes_away" and len(self.accepted[name]) >= 20:
            self._gone.add(name)
            return Fetched(410, {}, b"")
        if luck < 0.6 or name == "fine":
            return self._answer(name, event, luck)
        if name == "fails_often":
            return Fetched(500, {}, b"")
        if name == "asks_to_wait":
            return Fetched(429, {"retry-after": "30"}, b"")
        if name == "redirects":
            return Fetched(302, {"location": "https://elsewhere.example.com/"}, b"")
        if name == "resets":
            raise requests.ConnectionError("reset by peer")
        if name == "is_slow":
            raise requests.Timeout("no answer in 15 s")
        if name == "takes_then_500":
            self.accepted[name].append(event)
            return Fetched(500, {}, b"")
        if name == "takes_then_dies":
            self.accepted[name].append(event)
            self.deaths += 1
            raise RelayDied
        return self._answer(name, event, luck)

    def _answer(self, name: str, event: str, luck: float) -> Fetched:
        if name == "is_down_for_hours" and self._clock.now.timestamp() - NOW.timestamp() < 3 * 3600:
            return Fetched(503, {}, b"")
        self.accepted[name].append(event)
        return Fetched(200 if luck < 0.3 else 204, {}, b"")


def _queue(store: Store, cases: int, each: int) -> dict[str, list[str]]:
    """Events for ten endpoints over several conversations; the ids by conversation, in order."""
    ids = RandomIds()
    template = Case("c", "R", 1, "disc_drive", "en", "api", "v", "card", NOW, NOW, {})
    by_case: dict[str, list[str]] = {}
    with store.unit_of_work() as work:
        for name in BEHAVIOURS:
            work.endpoints.put(
                Endpoint(name, f"https://hooks.example.com/{name}", "", (), (Secret(SECRET),), NOW)
            )
        for number in range(cases):
            case_id = f"c_{number}"
            work.cases.add(replace(template, id=case_id, reference=f"R{number}"), f"hash{number}")
            by_case[case_id] = [f"evt_{number}_{step}" for step in range(each)]
        for step in range(each):
            for case_id, events in by_case.items():
                items = [
                    NewItem(
                        ids.message_id("out"), "event", f"endpoint:{name}", case_id, {"id": events[step]}, NOW
                    )
                    for name in BEHAVIOURS
                ]
                work.outbox.add_all(items, NOW)
        work.commit()
    return by_case


def _run(services: Services, clock: Clock, cases: int, each: int, seed: int) -> HostileWorld:
    by_case = _queue(services.store, cases, each)
    world = HostileWorld(clock, seed)
    for _ in range(100_000):
        relay = Relay(services, world, randomness=random.Random(seed), workers=1)  # type: ignore[arg-type]
        try:
            if relay.run_once(64) > 0:
                continue
        except RelayDied:
            continue  # a new relay starts; the lost leases run out
        with services.store.reading() as work:
            due = work.outbox.next_due()
        if due is None:
            break
        clock.now = max(due, clock.now)
        clock.move(seconds=61)
    everything = {event for events in by_case.values() for event in events}
    for name in BEHAVIOURS:
        accepted = world.accepted[name]
        if name == "goes_away":
            continue
        assert set(accepted) == everything, f"{name} misses {len(everything - set(accepted))} events"
        first_seen = {event: place for place, event in reversed(list(enumerate(accepted)))}
        for events in by_case.values():
            places = [first_seen[event] for event in events]
            assert places == sorted(places), f"{name} got a conversation out of order"
    assert world.after_gone == 0
    with services.store.reading() as work:
        assert work.endpoints.get("goes_away").state == "disabled"
    return world


def test_every_event_arrives_in_order_at_least_once(services: Services, clock: Clock) -> None:
    world = _run(services, clock, cases=6, each=5, seed=1)

    assert world.deaths > 5


@pytest.mark.soak
def test_a_thousand_events_to_ten_hostile_receivers(services: Services, clock: Clock) -> None:
    world = _run(services, clock, cases=50, each=20, seed=2)
    print({name: len(accepted) for name, accepted in world.accepted.items()}, "relay deaths:", world.deaths)

    assert world.deaths > 200
