"""A long campaign of random events against the real understanding: no exception, snapshots and replays are equal."""

from __future__ import annotations

import json
import random
from collections import Counter
from datetime import timedelta

import pytest

from intakebot.conversation import (
    ChoiceTaken,
    Conversation,
    EstimateDecided,
    FactsEntered,
    GivenBack,
    MessageReceived,
    PhotoAdded,
    StaffReplied,
    TakenOver,
    advance,
    open_conversation,
)
from intakebot.errors import BadInputError
from tests.conversation.doubles import NOW, SetAssessor

WORDS = (
    "my console", "dvd player", "skips", "it grinds", "no discs are read", "CDs play", "a shop opened it", "actually", "not", "1 3",
    "10 years", "yes", "no", "2", "A C", "not sure", "none", "all", "1 and 3", "help", "back", "skip", "person", "go on", "pause", "wait",
    "auf deutsch bitte", "english please", "start again", "price", "smoke came out", "the disc is stuck", "I think", "accept", "später",
    "that's wrong", "nichts davon", "es klickt", "und", "it clicks and it rattles", "liquid got in", "stop", "start", "", "💿", "a" * 300,
)  # fmt: skip
STALE = (
    "noticed:none", "noticed:clicking+rattles", "noticed:clicking+nonsense", "noticed:", "noticed:+", "hazards:none", "hazards:opened",
    "hazards:not_sure", "hazards:none+opened", "age_years:old", "opened:shop", "recap:all_right", "change:opened", "set:opened:shop",
    "check:opened:yes", "decision:accept", "confirm_erase:yes", "nothing", ":", "noise:more9",
)  # fmt: skip
FORM = {"opened": ("shop", "nobody", None), "skips": ("yes", "no", "maybe"), "age_years": (5, -1, None),
        "noise": ("grinding", "none", 7), "smoke_or_smell": ("no", "no", "yes")}  # fmt: skip
EVENTS_A_TALK = 40


def campaign(definitions, events: int, seed: int) -> Counter[str]:
    """Random talks of forty events each; counts of what happened. Fails at the first broken rule."""
    rng = random.Random(seed)
    assessor = SetAssessor(
        asks=("noticed", "noise", "age_years", "error_message"), prices={"opened=shop": 220}
    )
    seen: Counter[str] = Counter()
    while seen["events"] < events:
        conversation = open_conversation(
            definitions, conversation_id="c", channel=rng.choice(("web", "sms", "email", "api")),
            locale=rng.choice(("en", "de")), now=NOW, assessor=assessor,
        ).conversation  # fmt: skip
        now, offered = NOW, []
        for number in range(EVENTS_A_TALK):
            now += timedelta(hours=rng.choice((0, 0, 0, 0, 30)), minutes=1)
            event = _event(rng, f"m{number}", offered)
            stored = json.dumps(conversation.to_mapping())
            assert Conversation.from_mapping(json.loads(stored)) == conversation
            try:
                turn = advance(definitions, conversation, event, now, assessor=assessor)
            except BadInputError:
                assert isinstance(event, FactsEntered)
                seen["refused forms"] += 1
                seen["events"] += 1
                continue
            again = advance(
                definitions, Conversation.from_mapping(json.loads(stored)), event, now, assessor=assessor
            )
            assert again == turn
            own_words = (
                turn.conversation.pending is not None and turn.conversation.pending.kind == "confirm_contact"
            )
            for reply in turn.replies:
                assert reply.text.count("?") <= 1 or reply.kind in ("recap", "staff") or own_words
            offered = [choice.value for reply in turn.replies for choice in reply.choices] or offered
            conversation = turn.conversation
            seen["events"] += 1
            seen[type(event).__name__] += 1
            seen["lists answered"] += sum(each.message_id == event.message_id for each in conversation.lists)
            seen["handed over"] += any(type(effect).__name__ == "HandOff" for effect in turn.effects)
            seen["estimates"] += any(type(effect).__name__ == "MakeEstimate" for effect in turn.effects)
    return seen


def _event(rng: random.Random, name: str, offered: list[str]):  # type: ignore[no-untyped-def]
    chance = rng.random()
    if chance < 0.42:
        text = " ".join(rng.choice(WORDS) for _ in range(rng.randint(1, 4)))
        if rng.random() < 0.15:
            text = "".join(
                chr(rng.choice((rng.randrange(32, 127), rng.randrange(1, 0xD7FF)))) for _ in range(30)
            )
        return MessageReceived(name, text, rng.choice((None, None, None, "sms", "web")))
    if chance < 0.72 and offered:
        return ChoiceTaken(name, _choice(rng, offered))
    if chance < 0.82:
        return ChoiceTaken(name, rng.choice(STALE))
    if chance < 0.92:
        facts = rng.sample(sorted(FORM), rng.randint(0, 3))
        return FactsEntered(
            name,
            {fact: rng.choice(FORM[fact]) for fact in facts},
            by=rng.choice(("customer", "staff")),
        )
    return rng.choice((TakenOver(name), StaffReplied(name, "Hello."), GivenBack(name), GivenBack(name),
                       PhotoAdded(name, "p1"), EstimateDecided(name, "accepted"), EstimateDecided(name, "declined")))  # fmt: skip


def _choice(rng: random.Random, offered: list[str]) -> str:
    value = rng.choice(offered)
    question, _, _ = value.partition(":")
    same = [other.partition(":")[2] for other in offered if other.startswith(f"{question}:")]
    if question in ("noticed", "hazards") and rng.random() < 0.6:
        return f"{question}:{'+'.join(rng.sample(same, rng.randint(1, len(same))))}"
    return value


def test_a_random_campaign_breaks_no_rule(definitions):
    seen = campaign(definitions, 1200, seed=7)

    assert seen["events"] >= 1200
    assert min(seen["lists answered"], seen["handed over"], seen["estimates"], seen["FactsEntered"]) > 0


@pytest.mark.soak
def test_a_long_random_campaign_breaks_no_rule(definitions):
    seen = campaign(definitions, 100_000, seed=20260302)

    print(dict(seen))
    assert seen["events"] >= 100_000
