"""An independent, slow reference: every order of distinct steps, every placing of tests, stop or go on after each test.

It shares no code with the solvers: it follows one bench session by hand, opening and closing levels as it goes, and
works out P(still broken) from the definition. Levels are opened when a step needs them and closed when a test or the end
forces it.
"""

from __future__ import annotations

import functools
import random
from collections.abc import Iterator
from itertools import combinations
from typing import Any


def cheapest(problem: dict[str, Any]) -> tuple[float, list[list[str]]]:
    """Least expected cost over all plans, and one plan that has it."""
    return min(plans(problem), key=lambda found: found[0])


def plans(problem: dict[str, Any]) -> Iterator[tuple[float, list[list[str]]]]:
    """(expected cost, groups) of every plan."""
    parents = {level["id"]: level["parent"] for level in problem["levels"]}
    level_of = {level["id"]: level for level in problem["levels"]}
    steps = {step["id"]: step for step in problem["steps"]}
    rest = 1.0 - sum(h["probability"] for h in problem["hypotheses"])
    rest = rest if rest > 1e-12 else 0.0

    @functools.cache
    def chain(level: str | None) -> list[str]:
        return [] if level is None else [level, *chain(parents[level])]

    @functools.cache
    def broken(done: frozenset[str]) -> float:
        total = rest
        for hypothesis in problem["hypotheses"]:
            all_cured = 1.0
            for fault in hypothesis["faults"]:
                left = 1.0
                for step in done:
                    left *= 1.0 - steps[step]["fixes"].get(fault, 0.0)
                all_cured *= 1.0 - left
            total += hypothesis["probability"] * (1.0 - all_cured)
        return total if total > 1e-15 else 0.0

    @functools.cache
    def closing(opened: frozenset[str]) -> float:
        return sum(level_of[level]["close"] for level in opened) if problem["close_at_end"] else 0.0

    @functools.cache
    def testable(opened: frozenset[str]) -> frozenset[str]:
        return frozenset(
            level for level in opened if all(level_of[up]["test_possible"] for up in chain(level))
        )

    def go_on(
        tested: frozenset[str], opened: frozenset[str], spent: float, groups: list[list[str]]
    ) -> Iterator[tuple[float, list[list[str]]]]:
        """From just after a test. `spent` is the expected cost so far."""
        here = broken(tested)
        if here == 0.0:
            yield spent, groups
            return
        if problem["give_up_cost"] is not None:
            yield spent + here * (closing(opened) + problem["give_up_cost"]), groups
        elif len(tested) == len(steps):
            yield spent + here * closing(opened), groups
        yield from one_more(tested, tested, opened, spent, groups, [])

    def one_more(
        tested: frozenset[str],
        done: frozenset[str],
        opened: frozenset[str],
        spent: float,
        groups: list[list[str]],
        group: list[str],
    ) -> Iterator[tuple[float, list[list[str]]]]:
        here = broken(tested)
        for name, step in steps.items():
            if name in done or not set(step["after"]) <= done:
                continue
            now_open = opened | set(chain(step["level"]))
            paid = step["cost"] + sum(level_of[level]["open"] for level in now_open - opened)
            now_done, now_group = done | {name}, [*group, name]
            yield from one_more(tested, now_done, now_open, spent + here * paid, groups, now_group)
            may_stay = testable(frozenset(now_open))
            paid += sum(level_of[level]["close"] for level in now_open - may_stay) + problem["test_cost"]
            passed = here - broken(now_done)
            yield from go_on(
                now_done, may_stay, spent + here * paid + passed * closing(may_stay), [*groups, now_group]
            )

    yield from go_on(frozenset(), frozenset(), 0.0, [])


def random_problem(rng: random.Random, most_steps: int, least_steps: int = 1) -> dict[str, Any]:
    """A small random problem of any kind: forests of levels, imperfect repairs, several faults, `after`, no giving up."""
    faults = [f"f{index}" for index in range(rng.randint(1, 5))]
    sets = [set for size in (1, 2, 3) for set in combinations(faults, size)]
    chosen = rng.sample(sets, min(len(sets), rng.randint(1, 7)))
    weights = [rng.random() for _ in chosen]
    mass = rng.choice([1.0, 1.0, 0.9, 0.5]) / sum(weights)
    levels: list[dict[str, Any]] = []
    for index in range(rng.randint(0, 4)):
        levels.append(
            {
                "id": f"l{index}",
                "parent": rng.choice([None, *(level["id"] for level in levels)]),
                "open": rng.choice([0, rng.randint(0, 12)]),
                "close": rng.choice([0, rng.randint(0, 12)]),
                "test_possible": rng.random() < 0.6,
            }
        )
    steps: list[dict[str, Any]] = []
    for index in range(rng.randint(least_steps, most_steps)):
        steps.append(
            {
                "id": f"s{index}",
                "cost": rng.choice([0, 1, rng.randint(1, 20), round(20 * rng.random(), 2)]),
                "level": rng.choice([None, *(level["id"] for level in levels)]),
                "fixes": {
                    fault: rng.choice([1.0, 0.9, round(rng.random(), 2)])
                    for fault in faults
                    if rng.random() < 0.45
                },
                "after": [step["id"] for step in steps if rng.random() < 0.12],
            }
        )
    rng.shuffle(steps)
    rng.shuffle(levels)
    return {
        "hypotheses": [
            {"faults": list(each), "probability": mass * weight}
            for each, weight in zip(chosen, weights, strict=True)
        ],
        "steps": steps,
        "levels": levels,
        "test_cost": rng.choice([0, 1, 5, 15]),
        "give_up_cost": rng.choice([None, 0, 10, 40, 100]),
        "close_at_end": rng.random() < 0.7,
    }
