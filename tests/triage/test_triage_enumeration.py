"""The exact planner against full enumeration of every order and every placing of tests."""

from __future__ import annotations

import random

import pytest

from intakebot.triage import PlanningProblem, expected_cost, heuristic, plan
from intakebot.triage.arrays import arrays_of
from tests.triage.enumeration import cheapest, plans, random_problem


def agree(seed: int, most_steps: int, least_steps: int = 1) -> None:
    mapping = random_problem(random.Random(seed), most_steps, least_steps)
    problem = PlanningProblem.from_mapping(mapping)
    best, groups = cheapest(mapping)

    found = plan(problem)

    slack = 1e-9 * (1 + best)
    assert found.expected_cost == pytest.approx(best, abs=slack), f"seed {seed}"
    assert expected_cost(problem, found.groups).expected_cost == pytest.approx(best, abs=slack), (
        f"seed {seed}"
    )
    assert expected_cost(problem, groups).expected_cost == pytest.approx(best, abs=slack), f"seed {seed}"
    assert sum(each.probability for each in found.outcomes) == pytest.approx(1.0, abs=1e-9)
    assert sum(each.probability * each.cost for each in found.outcomes) == pytest.approx(best, abs=slack)


@pytest.mark.parametrize("seed", range(200))
def test_exact_plan_equals_the_best_of_all_plans(seed):
    agree(seed, most_steps=5)


@pytest.mark.parametrize("seed", range(1000, 1012))
def test_exact_plan_equals_the_best_of_all_plans_of_six_steps(seed):
    agree(seed, most_steps=6, least_steps=6)


@pytest.mark.soak
def test_exact_plan_equals_the_best_of_all_plans_on_2000_problems():
    for seed in range(10_000, 12_000):
        agree(seed, most_steps=6)


def test_enumeration_visits_every_plan_of_five_free_steps():
    """The counts of leaves without `after` known for 5 steps: 3,166 (so the reference itself is complete)."""
    mapping = {
        "hypotheses": [{"faults": ["a"], "probability": 0.5}],
        "steps": [
            {"id": str(n), "cost": 1, "level": None, "fixes": {"a": 0.1}, "after": []} for n in range(5)
        ],
        "levels": [],
        "test_cost": 0,
        "give_up_cost": 1,
        "close_at_end": True,
    }

    # Stop or go on after each test: leaves = sum over k of 5!/(5-k)! * 2^(k-1) placings of tests with one at the end,
    # and the empty plan: 1 + 5 + 20*2 + 60*4 + 120*8 + 120*16 = 3,166.
    assert sum(1 for _ in plans(mapping)) == 3166


@pytest.mark.parametrize("seed", range(2000, 2060))
def test_heuristic_is_never_below_and_hardly_above_the_best(seed):
    mapping = random_problem(random.Random(seed), 5, 3)
    best, _ = cheapest(mapping)

    found = heuristic.solve(arrays_of(PlanningProblem.from_mapping(mapping)))

    assert best - 1e-9 * (1 + best) <= found.cost <= best * 1.03 + 1e-9
