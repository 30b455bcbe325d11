"""A second family is one folder under flows/ and no Python: the small cassette-deck family joins the shipped shop."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from intakebot.conversation import Conversation, MessageReceived
from intakebot.serving import open_shop
from intakebot.settings import read_settings
from intakebot.turns import Via, open_case, take_turn
from intakebot.workshop import Job

TAPE_DECK = Path(__file__).resolve().parent.parent / "broken" / "_good" / "flows" / "tape_deck"
VIA = Via("terminal", voice="terminal")


@pytest.fixture
def tape_shop(root: Path, tmp_path: Path):
    for name in ("flows", "pricing"):
        shutil.copytree(root / name, tmp_path / name)
    family = tmp_path / "flows" / "tape_deck"
    shutil.copytree(TAPE_DECK, family)
    shutil.copytree(family / "texts" / "en", family / "texts" / "de")
    shutil.copy(family / "phrases" / "en.yaml", family / "phrases" / "de.yaml")
    bench = family / "bench.yaml"
    for placeholder, shipped in (("drive_belt", "belt_kit"), ("spindle_motor", "spindle_unit")):
        bench.write_text(
            bench.read_text(encoding="utf-8").replace(f"[{placeholder}]", f"[{shipped}]"), encoding="utf-8"
        )
    shop = open_shop(
        read_settings({"INTAKEBOT_DATA_DIR": str(tmp_path / "data"), "INTAKEBOT_DEFINITIONS": str(tmp_path)})
    )
    yield shop
    shop.store.close()


def test_cassette_deck_gets_its_own_questions_plan_and_price(tape_shop):
    opened = open_case(
        tape_shop.turns,
        via=VIA,
        locale="en",
        family="tape_deck",
        text="my cassette deck sounds muffled, the tape turns",
    )
    replies = {"q_smoke": "no", "q_age": "20", "q_device": "cassette deck", "q_turns": "yes", "q_dull": "yes"}
    answer = opened.answer
    for number in range(20):
        with tape_shop.store.reading() as work:
            case = work.cases.get(opened.conversation_id)
        pending = case.conversation["pending"]
        if pending is None or case.conversation["phase"] != "open":
            break
        said = (
            "1"
            if pending["kind"] == "recap"
            else "yes"
            if pending["kind"] == "confirm"
            else replies[pending["question"]]
        )
        answer = take_turn(
            tape_shop.turns, opened.conversation_id, MessageReceived(f"m{number}", said), via=VIA
        )

    facts = Conversation.from_mapping(case.conversation).facts
    estimate = Job.of(case).estimate
    assert answer.mapping["state"]["phase"] == "estimated"
    assert {fact: facts[fact].value for fact in ("device_kind", "tape_turns", "sounds_dull")} == {
        "device_kind": "deck", "tape_turns": "yes", "sounds_dull": "yes"}  # fmt: skip
    assert estimate is not None
    assert estimate["authorised_steps"][0] == "clean_head"


def test_no_python_names_a_family_fact_or_fault(root: Path, definitions):
    """Family words live in flows/ only. Fault, step and symptom ids must not appear in the engine's source."""
    family = definitions.families["disc_drive"]
    ids = {*family.faults, *family.steps} - {"other", "liquid"}
    allowed = ("demonstration", "simulation", "simulate")
    found = [
        (path.name, identifier)
        for path in (root / "intakebot").rglob("*.py")
        if not any(part.startswith(allowed) for part in path.relative_to(root / "intakebot").parts)
        for identifier in ids
        if f'"{identifier}"' in path.read_text(encoding="utf-8")
    ]

    assert found == []


def test_phrase_that_cannot_be_parsed_stops_check_and_start(root: Path, tmp_path: Path, capsys, monkeypatch):
    from intakebot.cli import main

    for name in ("flows", "pricing"):
        shutil.copytree(root / name, tmp_path / name)
    phrases = tmp_path / "flows" / "disc_drive" / "phrases" / "en.yaml"
    text = phrases.read_text(encoding="utf-8")
    start = text.index("values:")
    phrases.write_text(text[:start] + text[start:].replace('": ["', '": ["a| b", "', 1), encoding="utf-8")
    monkeypatch.setenv("INTAKEBOT_DEFINITIONS", str(tmp_path))
    monkeypatch.setenv("INTAKEBOT_DATA_DIR", str(tmp_path / "data"))

    assert main(["check"]) == 1
    assert "'a| b', expected" in capsys.readouterr().out
    assert main(["learn"]) == 1
    assert "phrases/en.yaml" in capsys.readouterr().err
