"""What finished jobs teach: fault shares moved by true causes, and how often steps worked. Proposes, changes nothing.

A lesson (see `closing.lesson`) holds the facts triage used, the steps with their results and the true causes; nothing
personal. Priors follow the Dirichlet rule of `triage.learning`; a step is judged only where its test tells about it
alone, on the causes it could have cured.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from intakebot.definitions.model import Family
from intakebot.triage.learning import StepTry, step_chance, with_learned_priors

STRENGTH = 20.0
"""The shipped numbers count as much as this many boxes (common practice; 10 to 30 is usual)."""


@dataclass(frozen=True)
class Learned:
    """One number that records would move. count: boxes it rests on."""

    what: str
    before: float
    after: float
    count: int


def learned_priors(
    family: Family, lessons: Sequence[Mapping[str, Any]], strength: float = STRENGTH
) -> tuple[Learned, ...]:
    """Fault priors that move, largest change first."""
    counts: dict[str, float] = {}
    for lesson in lessons:
        causes = [cause for cause in lesson["causes"] if cause in family.faults]
        for cause in causes:
            counts[cause] = counts.get(cause, 0.0) + 1.0 / len(causes)
    moved = with_learned_priors(family, counts, strength).faults
    found = [
        Learned(fault, family.faults[fault].prior, moved[fault].prior, round(counts.get(fault, 0.0)))
        for fault in family.faults
        if counts and moved[fault].prior != family.faults[fault].prior
    ]
    return tuple(sorted(found, key=lambda item: (-abs(item.after - item.before), item.what)))


def learned_steps(
    family: Family, lessons: Sequence[Mapping[str, Any]], strength: float = STRENGTH
) -> tuple[Learned, ...]:
    """Chances of steps to cure, from tests that followed a single step; `what` is `step: fault`."""
    tries: dict[tuple[str, str], list[StepTry]] = {}
    for lesson in lessons:
        since_test: list[str] = []
        for entry in lesson["steps"]:
            if entry["result"] == "could_not" or entry["step"] not in family.steps:
                continue
            since_test.append(entry["step"])
            if entry["result"] == "done":
                continue
            if len(since_test) == 1 and len(lesson["causes"]) == 1:
                step, cause = since_test[0], lesson["causes"][0]
                if cause in family.steps[step].fixes:
                    worked = entry["result"] == "test_passed"
                    tries.setdefault((step, cause), []).append(StepTry(1.0, worked))
            since_test = []
    found = []
    for (step, cause), each in sorted(tries.items()):
        before = family.steps[step].fixes[cause]
        found.append(Learned(f"{step}: {cause}", before, step_chance(before, strength, each), len(each)))
    return tuple(sorted(found, key=lambda item: (-abs(item.after - item.before), item.what)))


def report(family: Family, lessons: Sequence[Mapping[str, Any]]) -> str:
    """A plain text the owner reads before moving numbers in flows/ by hand, with `source: learned`."""
    lines = [f"{len(lessons)} finished jobs in {family.id}. The shipped numbers count as {STRENGTH:g} boxes."]
    for title, rows in (
        ("Faults: prior", learned_priors(family, lessons)),
        ("Steps: chance to cure", learned_steps(family, lessons)),
    ):
        if rows:
            lines += ["", f"{title:36} now    learned  boxes"]
            lines += [f"  {row.what:34} {row.before:.3f}  {row.after:.3f}    {row.count}" for row in rows]
    if len(lines) == 1:
        lines.append("Nothing to learn yet.")
    return "\n".join(lines)
