"""Messages and answers by other hands, frozen by their hashes before they were scored, and scored once.

Their writers saw the list of facts, or the questions with their choices, and nothing else of the program. Nothing had been
fitted to them when they were scored. Stated facts, at certainty 0.5 and more; "sure" ones at 0.85 and more, which the talk
takes without asking:

| set | messages | scored first at | precision | recall | after one question | sure: precision | sure: recall |
|---|---|---|---|---|---|---|---|
| a | 330 | fa32ac7 | 0.788 | 0.617 | 0.660 | | |
| b | 330 | fa32ac7 | 0.834 | 0.708 | 0.736 | | |
| b, again | 330 | 4f22d3b | 0.879 | 0.703 | 0.772 | 0.929 | 0.553 |
| c | 300 | 4f22d3b | 0.832 | 0.645 | 0.720 | 0.909 | 0.489 |
| b, a third time | 330 | the one after 6848e72 | 0.893 | 0.701 | 0.820 | 0.928 | 0.510 |

Set c with the reader of the day's start (8f2ab0e): 0.785, 0.627, 0.674. The aim for stated facts, precision 0.95 and recall 0.90, is
not reached. Answers to a pending question: of 442 English ones 68 % are right, 6 % wrong, 26 % not read; of 142 German
ones 61, 6 and 33 % (second count; the first one, at fa32ac7: 67, 6, 27 and 59, 8, 33).

Set a has been open for development since: its even half (by the parity of sha256(id)) was read while phrases were written,
its odd half only counted. So was set c, once it was scored: its even half is read, its odd half counted. Set b and the answers
are still unread.

The floors below are a little under these, so that a step back is seen. Do not read set b and the answers to write
phrases: once somebody has, say so here and have new ones written.
"""

from __future__ import annotations

import hashlib
import importlib.util
import json
import sys
from collections import Counter
from collections.abc import Callable
from datetime import date
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from intakebot.definitions import Definitions
from intakebot.definitions.texts import Texts
from intakebot.understanding import expecting_for, understand

HERE = Path(__file__).parent
TODAY = date(2026, 11, 25)
OPENED = ("messages_unseen_a.jsonl", "messages_unseen_c.jsonl")
PINS = dict(
    reversed(line.split()) for line in (HERE / "unseen.sha256").read_text(encoding="utf-8").splitlines()
)


def _scorer() -> ModuleType:
    """The scorer of the opened sets, so that all sets are scored alike."""
    place = HERE / "test_understanding_frozen_messages.py"
    spec = importlib.util.spec_from_file_location("frozen_messages_scorer", place)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def lines(name: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in (HERE / name).read_text(encoding="utf-8").splitlines()]


@pytest.mark.parametrize("name", sorted(PINS))
def test_the_file_is_the_pinned_one(name: str) -> None:
    assert hashlib.sha256((HERE / name).read_bytes()).hexdigest() == PINS[name]


@pytest.mark.parametrize(
    ("name", "precision", "recall"),
    [
        ("messages_unseen_a.jsonl", 0.84, 0.60),
        ("messages_unseen_b.jsonl", 0.88, 0.69),
        ("messages_unseen_c.jsonl", 0.82, 0.61),
    ],
)
def test_stated_facts_of_unseen_messages(
    family: Any, hear: Callable[..., Any], name: str, precision: float, recall: float
) -> None:
    """Of an opened set only the half that was not read."""
    scorer = _scorer()
    covered = [
        fact.id
        for fact in family.facts.values()
        if fact.type in ("choice", "yes_no") and fact.id not in scorer.NOT_SCORED
    ]

    messages = lines(name)
    unread = [m for m in messages if scorer.in_odd_half(m)] if name in OPENED else messages
    scores = scorer.score(unread, hear, covered)

    assert len(messages) >= 300
    assert scores.precision >= precision
    assert scores.recall >= recall


def verdict(answer: dict[str, Any], definitions: Definitions, locale: str) -> str:
    """right, wrong or unread; `left alone` or `taken` for what answers nothing; `beside` for what fits no one choice.

    An answer counts as right when it picks the labelled choice, or states facts that all agree with it.
    """
    family = definitions.families["disc_drive"]
    expecting = expecting_for(family, answer["question"], Texts(definitions, "disc_drive", locale))
    sets = {option.id: dict(option.sets) for option in expecting.options}
    heard = understand(answer["text"], family, locale, expecting, TODAY)
    asked = family.questions[answer["question"]].fills
    said = {f.fact: f.value for f in heard.facts if f.fact in asked and f.certainty >= 0.5}
    picked = heard.choice or ("not_sure" if heard.reply in ("not_known", "declined") else None)
    label = answer["choice"]
    if label in ("none", "other") and label not in sets:
        return "beside" if label == "other" else "taken" if picked or said else "left alone"
    if picked == label:
        return "right"
    if picked is not None:
        return "wrong"
    if not said:
        return "unread"
    agrees = all(
        fact in sets.get(label, {}) and (sets[label][fact] == value or sets[label][fact] == "someone")
        for fact, value in said.items()
    )
    return "right" if agrees else "wrong"


@pytest.mark.parametrize(("locale", "right", "wrong"), [("en", 0.60, 0.09), ("de", 0.52, 0.11)])
def test_unseen_answers_to_a_pending_question(
    definitions: Definitions, locale: str, right: float, wrong: float
) -> None:
    counts: Counter[str] = Counter()
    for answer in lines(f"answers_unseen_{locale}.jsonl"):
        if answer["question"] in definitions.families["disc_drive"].questions:
            counts[verdict(answer, definitions, locale)] += 1
    answered = counts["right"] + counts["wrong"] + counts["unread"]

    assert counts["right"] / answered >= right
    assert counts["wrong"] / answered <= wrong
    assert counts["left alone"] > 4 * counts["taken"]
