"""Customers' messages written by another hand than the phrases, pinned by their hash.

They were scored once before anything was fitted to them: precision 0.737, recall 0.703. Since 2026-11-25 the set is open
for development: its even half (by the parity of sha256(id)) is read while phrases are written, and its odd half is only ever
counted. So the odd half tells how far the phrases carry beyond what was read, and the even half does not.

`messages_frozen.jsonl` has one object a line: {"id", "text", "facts": {fact: value}, "open": [fact]}. Every fact the message
states is listed; facts under `open` may be read or not, and are left out; facts of the device kind and text facts are
not scored.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

LEAST_CERTAINTY = 0.5


@dataclass(frozen=True)
class Scores:
    right: Counter[str]
    wrong: Counter[str]
    missed: Counter[str]
    asked: int  # missed facts that a proposal names: one yes/no question away
    messages: int

    @property
    def precision(self) -> float:
        stated = self.right.total() + self.wrong.total()
        return self.right.total() / stated if stated else 1.0

    @property
    def recall(self) -> float:
        wanted = self.right.total() + self.missed.total()
        return self.right.total() / wanted if wanted else 1.0

    @property
    def recall_after_questions(self) -> float:
        wanted = self.right.total() + self.missed.total()
        return (self.right.total() + self.asked) / wanted if wanted else 1.0


def read_messages(path: Path) -> list[dict[str, Any]]:
    """One JSON object a line: id, text, facts {fact: value}."""
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines() if line.strip()]


def in_odd_half(message: Mapping[str, Any]) -> bool:
    """True for the half that is only counted while phrases are written."""
    return int(hashlib.sha256(message["id"].encode()).hexdigest(), 16) % 2 == 1


def file_hash(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def score(
    messages: Iterable[Mapping[str, Any]], hear: Callable[[str], Any], covered: Iterable[str]
) -> Scores:
    """covered: ids of the facts that are scored; a value that differs counts as wrong and as missed."""
    right: Counter[str] = Counter()
    wrong: Counter[str] = Counter()
    missed: Counter[str] = Counter()
    asked = messages_seen = 0
    scored = set(covered)
    for message in messages:
        messages_seen += 1
        heard = hear(message["text"])
        got = {
            (f.fact, _plain(f.value))
            for f in heard.facts
            if f.value is not None and f.certainty >= LEAST_CERTAINTY
        }
        got = {pair for pair in got if pair[0] in scored}
        gold = {(fact, _plain(value)) for fact, value in message["facts"].items() if fact in scored}
        arguable = set(message.get("open", ()))
        got = {pair for pair in got if pair in gold or pair[0] not in arguable}
        right.update(fact for fact, _ in got & gold)
        wrong.update(fact for fact, _ in got - gold)
        missed.update(fact for fact, _ in gold - got)
        proposed = {(p.fact, _plain(p.value)) for p in heard.proposals}
        asked += len((gold - got) & proposed)
    return Scores(right, wrong, missed, asked, messages_seen)


def _plain(value: Any) -> Any:
    if isinstance(value, (list, tuple)):
        return tuple(value)
    return str(value)


HERE = Path(__file__).parent
MESSAGES = HERE / "messages_frozen.jsonl"
PIN = HERE / "messages_frozen.sha256"
NOT_SCORED = {
    "device_kind",
    "device_group",
    "loading",
    "when_fails",
    "story",
    "main_symptom",
    "loading_trouble",
    "slow_decline",
}


def heard(facts: dict[str, str], proposals: dict[str, str]) -> Any:
    def make(items: dict[str, str]) -> tuple[Any, ...]:
        return tuple(SimpleNamespace(fact=fact, value=value, certainty=0.9) for fact, value in items.items())

    return SimpleNamespace(facts=make(facts), proposals=make(proposals))


def test_the_scorer_counts_right_wrong_missed_and_one_question_away() -> None:
    messages = [
        {"id": "1", "text": "a", "facts": {"x": "yes", "y": "no"}},
        {"id": "2", "text": "b", "facts": {"x": "yes"}},
    ]
    said = {"a": heard({"x": "yes", "z": "yes"}, {"y": "no"}), "b": heard({"x": "no"}, {})}

    scores = score(messages, said.__getitem__, ["x", "y", "z"])

    # message a: x right, z wrong, y missed but proposed; message b: x wrong and missed
    assert (scores.right.total(), scores.wrong.total(), scores.missed.total(), scores.asked) == (1, 2, 2, 1)
    assert scores.precision == pytest.approx(1 / 3)
    assert scores.recall == pytest.approx(1 / 3)
    assert scores.recall_after_questions == pytest.approx(2 / 3)


@pytest.mark.skipif(not MESSAGES.exists(), reason="the messages have not been added yet")
class TestMessagesOfAnotherHand:
    def test_the_file_is_the_pinned_one(self) -> None:
        assert file_hash(MESSAGES) == PIN.read_text(encoding="utf-8").split()[0]

    def test_there_are_three_hundred_and_they_name_declared_facts(self, family: Any) -> None:
        messages = read_messages(MESSAGES)

        assert len(messages) >= 300
        assert len({message["id"] for message in messages}) == len(messages)
        assert {fact for message in messages for fact in message["facts"]} <= set(family.facts)

    @pytest.mark.parametrize(
        ("odd", "precision", "recall"),
        [
            # floors that catch a step back, a little under what was measured on 2026-11-25: 0.97 and 0.95 in the half
            # that was read, 0.88 and 0.80 in the other. The aim for the other, not reached, is 0.95 and 0.90.
            pytest.param(False, 0.95, 0.93, id="half-that-was-read"),
            pytest.param(True, 0.86, 0.78, id="half-that-was-only-counted"),
        ],
    )
    def test_stated_facts_are_mostly_right_and_mostly_found(
        self,
        family: Any,
        hear: Callable[..., Any],
        capsys: pytest.CaptureFixture[str],
        odd: bool,
        precision: float,
        recall: float,
    ) -> None:
        covered = [
            fact.id
            for fact in family.facts.values()
            if fact.type in ("choice", "yes_no") and fact.id not in NOT_SCORED
        ]

        scores = score([m for m in read_messages(MESSAGES) if in_odd_half(m) == odd], hear, covered)

        with capsys.disabled():
            print(
                f"\n{'odd' if odd else 'even'} half: {scores.messages} messages, precision {scores.precision:.3f}, "
                f"recall {scores.recall:.3f}, after questions {scores.recall_after_questions:.3f}"
            )
        assert scores.precision >= precision
        assert scores.recall >= recall
