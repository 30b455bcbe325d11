"""Plays every talk of this folder through the real engine. How to read the files: README.md."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import pytest
import yaml

from intakebot.conversation import (
    EstimateDecided,
    FactsEntered,
    GivenBack,
    MessageReceived,
    PhaseMoved,
    PhotoAdded,
    StaffReplied,
    TakenOver,
)
from intakebot.definitions.values import value_to_json
from tests.conversation.doubles import SetAssessor, Talk

FOLDER = Path(__file__).parent
FILES = sorted(FOLDER.glob("*.yaml"))
DEEDS = (
    "customer", "taps", "taps_value", "form", "staff_form", "photo", "shop_takes_over", "shop_writes", "shop_gives_back", "case_moves", "decision",
)  # fmt: skip
CHECKS = (
    "says", "says_not", "silent", "asks", "heard", "knows", "knows_nothing", "floor", "phase", "effects", "holds",
)  # fmt: skip


def test_there_are_at_least_twelve_talks():
    assert len(FILES) >= 12


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_talk(definitions, path):
    told = yaml.safe_load(path.read_text(encoding="utf-8"))
    assessor = SetAssessor(
        asks=tuple(told.get("asks", ())),
        prices=told.get("price_when", {}),
        gate=told.get("gate", "go"),
        base=told.get("price", 140),
    )
    talk = Talk(
        definitions,
        assessor,
        channel=told.get("channel", "web"),
        locale=told.get("locale", "en"),
        links=told.get("links"),
    )
    assert told["talk"], path

    for number, step in enumerate(told["talk"], start=1):
        unknown = set(step) - set(DEEDS) - set(CHECKS) - {"after", "channel"}
        assert not unknown, f"{path.name} step {number}: {unknown}"
        _do(talk, step)
        for check in CHECKS:
            if check in step:
                assert _holds(talk, check, step[check]), (
                    f"{path.name} step {number}, {check}: wanted {step[check]!r}\nshop: {talk.texts}\n"
                    f"asked: {talk.turn.asked}, effects: {talk.effects}, floor: {talk.conversation.floor}, phase: {talk.conversation.phase}\n"
                    f"heard: {[(h.fact, h.value) for h in talk.turn.heard]}"
                )


def _do(talk, step):
    after = _wait(step.get("after", "1 minutes"))
    message_id = talk.id()
    events = {
        "customer": lambda said: MessageReceived(message_id, said, step.get("channel")),
        "form": lambda facts: FactsEntered(message_id, facts),
        "staff_form": lambda facts: FactsEntered(message_id, facts, by="staff"),
        "photo": lambda photo: PhotoAdded(message_id, photo),
        "shop_takes_over": lambda _: TakenOver(message_id),
        "shop_writes": lambda words: StaffReplied(message_id, words),
        "shop_gives_back": lambda _: GivenBack(message_id),
        "case_moves": lambda phase: PhaseMoved(message_id, phase),
        "decision": lambda outcome: EstimateDecided(message_id, outcome),
    }
    deed = next(name for name in DEEDS if name in step)
    if deed == "taps":
        talk.tap_label(step[deed])
    elif deed == "taps_value":
        talk.tap(step[deed])
    else:
        talk.send(events[deed](step[deed]), after)


def _wait(words):
    number, unit = re.fullmatch(r"(\d+) (minutes|hours|days)", words).groups()
    return timedelta(**{unit: int(number)})


def _holds(talk, check, wanted):
    conversation = talk.conversation
    facts = {fact: value_to_json(entry.value) for fact, entry in conversation.facts.items()}
    heard = {line.fact: value_to_json(line.value) for line in talk.turn.heard}
    return {
        "says": lambda: all(words in talk.said for words in wanted),
        "says_not": lambda: not any(words in talk.said for words in wanted),
        "silent": lambda: talk.texts == [],
        "asks": lambda: talk.turn.asked == (None if wanted == "nothing" else wanted),
        "heard": lambda: wanted.items() <= heard.items(),
        "knows": lambda: wanted.items() <= facts.items(),
        "knows_nothing": lambda: facts == {},
        "floor": lambda: conversation.floor == wanted,
        "phase": lambda: conversation.phase == wanted,
        "effects": lambda: talk.effects == wanted,
        "holds": lambda: list(conversation.holds) == wanted,
    }[check]()
