"""A message that overtook another one: what the customer said last counts, in whatever order it reaches us."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import permutations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from intakebot.conversation import ChoiceTaken, Conversation, FactsEntered, MessageReceived
from intakebot.definitions import Definitions
from intakebot.turns import Services, TurnAnswer, Via, open_case, take_turn
from tests.turns.doubles import NOW, Clock

SMS = Via("gateway:g", "+447700900123", "sms")
MINUTE = timedelta(minutes=1)


def say(services: Services, case: str, text: str, sent: datetime | None, key: str) -> TurnAnswer:
    return take_turn(services, case, MessageReceived(key, text, "sms", sent_at=sent), via=SMS)


def talk(services: Services, case: str) -> Conversation:
    with services.store.reading() as work:
        return Conversation.from_mapping(work.cases.get(case).conversation)


def values(services: Services, case: str) -> dict[str, object]:
    """What is held, without the story (the first words that reached us) and what only follows from other facts."""
    return {
        fact: entry.value
        for fact, entry in talk(services, case).facts.items()
        if entry.source != "derived" and fact != "story" and not fact.startswith("story")
    }


def log(services: Services, case: str, kind: str) -> list[dict[str, object]]:
    with services.store.reading() as work:
        return [dict(event.body) for event in work.events.since(case) if event.kind == kind]


def started(services: Services) -> str:
    return open_case(services, via=SMS, locale="en").conversation_id


def deliver(services: Services, clock: Clock, messages: list[tuple[str, datetime]]) -> str:
    """Messages in the order they arrive, each with the time it was sent, after all of them were."""
    clock.now = NOW
    case = started(services)
    clock.now = NOW + timedelta(hours=2)
    for number, (text, sent) in enumerate(messages):
        say(services, case, text, sent, f"m{number}")
        clock.move(minutes=3)
    return case


def test_a_correction_that_overtook_what_it_corrects_stands(services: Services, clock: Clock) -> None:
    case = started(services)
    clock.move(minutes=30)
    say(services, case, "Sorry, I meant it is a DVD player.", NOW + 20 * MINUTE, "b")
    clock.move(minutes=5)

    answer = say(services, case, "My CD player is broken.", NOW + 10 * MINUTE, "a")

    assert talk(services, case).facts["device_kind"].value == "dvd_player"
    [kept] = log(services, case, "fact_late")
    assert (kept["fact"], kept["value"], kept["kept"]) == (
        "device_kind",
        "cd_player",
        "dvd_player",
    )
    assert "Your message from 09:10 only reached me now." in answer.mapping["replies"][0]["text"]
    assert "DVD player" in answer.mapping["replies"][0]["text"]


def test_what_a_late_message_adds_is_taken(services: Services, clock: Clock) -> None:
    case = started(services)
    clock.move(minutes=30)
    say(services, case, "It is a DVD player.", NOW + 20 * MINUTE, "b")
    clock.move(minutes=5)

    say(services, case, "It makes a grinding noise.", NOW + 10 * MINUTE, "a")

    assert values(services, case)["device_kind"] == "dvd_player"
    assert values(services, case)["noise"] == "grinding"
    assert talk(services, case).facts["noise"].at == NOW + 10 * MINUTE


def test_a_late_yes_answers_nothing_and_the_open_question_is_asked_again(
    services: Services, clock: Clock
) -> None:
    case = started(services)
    clock.move(minutes=30)
    say(services, case, "My dvd player does not turn on.", NOW + 29 * MINUTE, "b")
    before, pending = values(services, case), talk(services, case).pending
    clock.move(minutes=5)

    answers = [say(services, case, text, NOW + MINUTE, text) for text in ("yes", "2", "skip", "no")]

    after = talk(services, case)
    assert pending is not None
    assert after.pending is not None
    assert (values(services, case), after.pending.question) == (before, pending.question)
    assert all("I cannot tell what it answers" in a.mapping["replies"][0]["text"] for a in answers)
    assert len(log(services, case, "late")) == 4


def test_a_late_yes_accepts_no_estimate(services: Services, clock: Clock) -> None:
    case = started(services)
    for number in range(30):
        conversation = talk(services, case)
        if conversation.phase == "estimated":
            break
        offered = [value for value, _ in conversation.pending.offered] if conversation.pending else []
        harmless = [value for value in offered if value.endswith((":none", ":all_right", ":nobody"))]
        event = (
            ChoiceTaken(f"c{number}", (harmless or offered)[0], "sms")
            if offered
            else MessageReceived(f"c{number}", "My console takes no discs")
        )
        take_turn(services, case, event, via=SMS)
        clock.move(minutes=1)
    clock.move(minutes=30)
    take_turn(services, case, MessageReceived("price", "accept", "sms"), via=SMS)
    asked = talk(services, case).pending
    clock.move(minutes=5)

    for number, (text, choice) in enumerate(
        (
            ("yes", None),
            ("1", None),
            ("accept", None),
            (None, "decision:accept"),
            (None, "confirm_accept:yes"),
        )
    ):
        sent = NOW + 2 * MINUTE
        event = (
            ChoiceTaken(f"l{number}", choice, "sms", sent)
            if choice
            else MessageReceived(f"l{number}", text or "", "sms", sent_at=sent)
        )
        take_turn(services, case, event, via=SMS)
    late = talk(services, case).phase
    for key in ("accept", "yes"):
        take_turn(services, case, MessageReceived(f"now-{key}", key, "sms", sent_at=clock.now), via=SMS)

    assert asked is not None
    assert asked.kind == "confirm_accept"
    assert (late, talk(services, case).phase) == ("estimated", "accepted")


def test_a_late_stop_still_stops(services: Services, clock: Clock) -> None:
    case = started(services)
    clock.move(minutes=30)
    say(services, case, "My dvd player does not turn on.", clock.now, "b")
    clock.move(minutes=5)

    say(services, case, "STOP", NOW + MINUTE, "a")

    with services.store.reading() as work:
        assert work.opt_outs.has("gateway:g", SMS.address)


def test_a_late_report_of_smoke_is_not_read_past(services: Services, clock: Clock) -> None:
    case = started(services)
    clock.move(minutes=30)
    say(services, case, "My dvd player does not turn on.", clock.now, "b")
    clock.move(minutes=5)

    answer = say(services, case, "Smoke came out of it and it smells burnt.", NOW + MINUTE, "a")

    assert "safety" in talk(services, case).holds
    assert any(reply["kind"] == "safety" for reply in answer.mapping["replies"])


def test_what_the_shop_or_the_form_entered_later_stays(services: Services, clock: Clock) -> None:
    case = started(services)
    clock.move(minutes=30)
    take_turn(services, case, FactsEntered("f", {"device_kind": "hifi_system", "age_years": 12}), via=SMS)
    clock.move(minutes=5)

    say(services, case, "It is a four year old CD player.", NOW + MINUTE, "a")

    assert values(services, case)["device_kind"] == "hifi_system"
    assert values(services, case)["age_years"] == 12


@pytest.mark.parametrize(
    "sent",
    [
        pytest.param(NOW + timedelta(days=3), id="in-the-future"),
        pytest.param(NOW - timedelta(days=300), id="ages-ago"),
        pytest.param(datetime(1, 1, 1, tzinfo=UTC), id="year-one"),
        pytest.param(datetime(9999, 12, 31, 23, 59, tzinfo=UTC), id="year-9999"),
        pytest.param(None, id="not-said"),
    ],
)
def test_an_impossible_time_counts_as_now(services: Services, clock: Clock, sent: datetime | None) -> None:
    case = started(services)
    say(services, case, "It is a CD player.", NOW, "a")
    clock.move(minutes=30)

    say(services, case, "Sorry, I meant it is a DVD player.", sent, "b")

    assert values(services, case)["device_kind"] == "dvd_player"
    assert talk(services, case).facts["device_kind"].at == clock.now


def test_messages_held_back_together_arrive_in_order_without_a_loss(services: Services, clock: Clock) -> None:
    """A gateway was down for two hours: both come long after they were sent, in order; the later one counts."""
    messages = [
        ("It is a CD player.", NOW + MINUTE),
        ("Sorry, I meant it is a DVD player.", NOW + 10 * MINUTE),
    ]

    case = deliver(services, clock, messages)

    assert values(services, case)["device_kind"] == "dvd_player"
    assert log(services, case, "fact_late") == []


SAID = (
    "It is a CD player.",
    "Sorry, I meant it is a DVD player.",
    "It makes a grinding noise.",
    "It does not grind.",
    "Actually it is a hifi system.",
    "It is 4 years old.",
    "Sorry, I meant it is 6 years old.",
    "Somebody opened it.",
    "A friend opened it.",
    "Nobody has opened it.",
    "A disc is stuck inside.",
    "Sorry, no disc is stuck inside.",
    "Discs skip.",
)


@pytest.mark.parametrize("count", [3])
def test_every_order_of_arrival_gives_the_facts_of_the_order_they_were_said(
    services: Services, clock: Clock, count: int
) -> None:
    stories = [SAID[:3], SAID[2:5], ("It is 4 years old.", *SAID[6:8]), SAID[7:10], SAID[10:13]]
    wrong = []
    for story in stories:
        said = [(text, NOW + 10 * MINUTE * n) for n, text in enumerate(story, start=1)]
        expected = values(services, deliver(services, clock, said))
        for order in permutations(said):
            found = values(services, deliver(services, clock, list(order)))
            if found != expected:
                wrong.append(([text for text, _ in order], found, expected))

    assert wrong == []


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_messages_in_any_order_give_the_same_facts(
    services: Services, clock: Clock, definitions: Definitions, data: st.DataObject
) -> None:
    story = data.draw(st.lists(st.sampled_from(SAID), min_size=2, max_size=4, unique=True))
    said = [(text, NOW + 10 * MINUTE * n) for n, text in enumerate(story, start=1)]
    order = data.draw(st.permutations(said))

    in_order, swapped = deliver(services, clock, said), deliver(services, clock, order)

    assert values(services, swapped) == values(services, in_order)
