"""Customers' messages written by other hands than the phrases, pinned by their hashes.

Two sets. Each was scored once before anything was fitted to it: `messages_frozen.jsonl` with precision 0.737 and recall
0.703; `messages_blind.jsonl`, at commit 3b338cd, with precision 0.842 and recall 0.706. Both have been open for
development since 2026-11-25: the even half of each (by the parity of sha256(id)) is read while phrases are written, the
odd half is only ever counted. So the odd halves tell how far the phrases carry beyond what was read, and the even halves do
not. The aim for unseen messages, precision 0.95 and recall 0.90, is not reached.

A file has one object a line: {"id", "text", "facts": {fact: value}, "open": [fact]}. Every fact the message states is
listed; facts under `open` may be read or not, and are left out; facts of the device kind and text facts are not scored.
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
SETS = ("frozen", "blind")
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


def messages_of(name: str) -> Path:
    return HERE / f"messages_{name}.jsonl"


class TestMessagesOfOtherHands:
    @pytest.mark.parametrize("name", SETS)
    def test_the_file_is_the_pinned_one(self, name: str) -> None:
        pin = (HERE / f"messages_{name}.sha256").read_text(encoding="utf-8").split()[0]

        assert file_hash(messages_of(name)) == pin

    @pytest.mark.parametrize("name", SETS)
    def test_there_are_three_hundred_and_they_name_declared_facts(self, family: Any, name: str) -> None:
        messages = read_messages(messages_of(name))

        assert len(messages) >= 300
        assert len({message["id"] for message in messages}) == len(messages)
        assert {fact for message in messages for fact in message["facts"]} <= set(family.facts)

    @pytest.mark.parametrize(
        ("name", "odd", "precision", "recall"),
        [
            # floors that catch a step back, a little under what was measured on 2026-11-25: 0.97 and 0.96, 0.88 and 0.84
            # in the halves of the first set, 0.95 and 0.94, 0.81 and 0.73 in those of the second
            pytest.param("frozen", False, 0.95, 0.94, id="first-set-half-that-was-read"),
            pytest.param("frozen", True, 0.86, 0.81, id="first-set-half-that-was-only-counted"),
            pytest.param("blind", False, 0.93, 0.91, id="second-set-half-that-was-read"),
            pytest.param("blind", True, 0.78, 0.70, id="second-set-half-that-was-only-counted"),
        ],
    )
    def test_stated_facts_are_mostly_right_and_mostly_found(
        self,
        family: Any,
        hear: Callable[..., Any],
        capsys: pytest.CaptureFixture[str],
        name: str,
        odd: bool,
        precision: float,
        recall: float,
    ) -> None:
        covered = [
            fact.id
            for fact in family.facts.values()
            if fact.type in ("choice", "yes_no") and fact.id not in NOT_SCORED
        ]

        scores = score([m for m in read_messages(messages_of(name)) if in_odd_half(m) == odd], hear, covered)

        with capsys.disabled():
            print(
                f"\n{name}, {'odd' if odd else 'even'} half: {scores.messages} messages, precision {scores.precision:.3f}, "
                f"recall {scores.recall:.3f}, after questions {scores.recall_after_questions:.3f}"
            )
        assert scores.precision >= precision
        assert scores.recall >= recall
