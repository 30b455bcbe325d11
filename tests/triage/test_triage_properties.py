"""Laws that any right planner keeps, on random problems."""

from __future__ import annotations

import copy
import random
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from intakebot.triage import PlanningProblem, heuristic, plan
from intakebot.triage.arrays import arrays_of
from tests.triage.enumeration import random_problem

FEW = settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
seeds = st.integers(min_value=0, max_value=10**9)


def cost(mapping: dict[str, Any]) -> float:
    return plan(PlanningProblem.from_mapping(mapping)).expected_cost


def problem(seed: int, most: int = 7) -> dict[str, Any]:
    return random_problem(random.Random(seed), most, 2)


@FEW
@given(seeds)
def test_another_step_never_makes_the_plan_dearer_when_giving_up_is_allowed(seed):
    mapping = problem(seed)
    assume(mapping["give_up_cost"] is not None)
    fewer = copy.deepcopy(mapping)
    gone = fewer["steps"].pop()["id"]
    assume(not any(gone in step["after"] for step in fewer["steps"]))

    assert cost(mapping) <= cost(fewer) + 1e-9


@FEW
@given(seeds, st.floats(min_value=0, max_value=200))
def test_giving_up_as_an_option_never_makes_the_plan_dearer_beyond_its_end(seed, give_up):
    """Where nothing stays broken in the end, being allowed to give up can only help."""
    mapping = problem(seed)
    mapping["give_up_cost"] = None
    for step in mapping["steps"]:
        step["fixes"] = {fault: 1.0 for hypothesis in mapping["hypotheses"] for fault in hypothesis["faults"]}
    scale = sum(hypothesis["probability"] for hypothesis in mapping["hypotheses"])
    for hypothesis in mapping["hypotheses"]:
        hypothesis["probability"] /= scale

    assert cost({**mapping, "give_up_cost": give_up}) <= cost(mapping) + 1e-9


@FEW
@given(seeds, st.floats(min_value=0, max_value=50), st.integers(min_value=0, max_value=100))
def test_a_raised_cost_never_makes_the_plan_cheaper(seed, more, pick):
    mapping = problem(seed)
    dearer = copy.deepcopy(mapping)
    places: list[tuple[dict[str, Any], str]] = [(step, "cost") for step in dearer["steps"]]
    places += [(level, key) for level in dearer["levels"] for key in ("open", "close")]
    places += [(dearer, "test_cost")]
    places += [(dearer, "give_up_cost")] if dearer["give_up_cost"] is not None else []
    record, key = places[pick % len(places)]
    record[key] += more

    assert cost(dearer) >= cost(mapping) - 1e-9


@FEW
@given(seeds, st.floats(min_value=0.01, max_value=100))
def test_scaling_all_costs_scales_the_result(seed, times):
    mapping = problem(seed)
    scaled = copy.deepcopy(mapping)
    for step in scaled["steps"]:
        step["cost"] *= times
    for level in scaled["levels"]:
        level["open"] *= times
        level["close"] *= times
    scaled["test_cost"] *= times
    if scaled["give_up_cost"] is not None:
        scaled["give_up_cost"] *= times

    assert cost(scaled) == pytest.approx(times * cost(mapping), rel=1e-9, abs=1e-9)


@FEW
@given(seeds, seeds)
def test_order_of_the_input_changes_nothing(seed, shuffle):
    mapping = problem(seed)
    shuffled = copy.deepcopy(mapping)
    rng = random.Random(shuffle)
    for key in ("hypotheses", "steps", "levels"):
        rng.shuffle(shuffled[key])

    one, other = (plan(PlanningProblem.from_mapping(each)) for each in (mapping, shuffled))

    assert one.groups == other.groups
    assert one.expected_cost == pytest.approx(other.expected_cost, rel=1e-12, abs=1e-12)


@FEW
@given(seeds)
def test_renaming_changes_nothing_but_names(seed):
    mapping = problem(seed)
    renamed = copy.deepcopy(mapping)

    def name(old: str | None) -> str | None:
        return None if old is None else f"x{old[::-1]}"

    for hypothesis in renamed["hypotheses"]:
        hypothesis["faults"] = [name(fault) for fault in hypothesis["faults"]]
    for level in renamed["levels"]:
        level["id"], level["parent"] = name(level["id"]), name(level["parent"])
    for step in renamed["steps"]:
        step["id"], step["level"] = name(step["id"]), name(step["level"])
        step["after"] = [name(other) for other in step["after"]]
        step["fixes"] = {name(fault): chance for fault, chance in step["fixes"].items()}

    assert cost(renamed) == pytest.approx(cost(mapping), rel=1e-9, abs=1e-9)


@FEW
@given(
    st.lists(
        st.tuples(st.integers(min_value=1, max_value=50), st.integers(min_value=1, max_value=50)),
        min_size=2,
        max_size=7,
    )
)
def test_exclusive_faults_with_free_access_and_tests_are_tried_by_p_over_c(pairs):
    total = sum(weight for weight, _ in pairs)
    mapping = {
        "hypotheses": [
            {"faults": [f"f{n}"], "probability": weight / total} for n, (weight, _) in enumerate(pairs)
        ],
        "steps": [{"id": f"s{n}", "cost": c, "fixes": {f"f{n}": 1.0}} for n, (_, c) in enumerate(pairs)],
    }

    found = plan(PlanningProblem.from_mapping(mapping))

    ratios = [pairs[int(step[1:])][0] / pairs[int(step[1:])][1] for step in found.steps]
    assert all(one >= other - 1e-9 for one, other in pairwise(ratios))
    # Smith's value of that order, worked independently.
    left, smith = 1.0, 0.0
    for weight, each in sorted(pairs, key=lambda pair: -pair[0] / pair[1]):
        smith += left * each
        left -= weight / total
    assert found.expected_cost == pytest.approx(smith, rel=1e-9)


@FEW
@given(seeds)
def test_outcomes_sum_to_one_and_their_mean_is_the_expected_cost(seed):
    found = plan(PlanningProblem.from_mapping(problem(seed, 9)))

    assert sum(each.probability for each in found.outcomes) == pytest.approx(1.0, abs=1e-9)
    mean = sum(each.probability * each.cost for each in found.outcomes)
    assert mean == pytest.approx(found.expected_cost, rel=1e-9, abs=1e-9)
    assert all(each.probability > 0 for each in found.outcomes)
    assert [each.group for each in found.outcomes] == sorted(each.group for each in found.outcomes)


@FEW
@given(seeds)
def test_plan_respects_what_must_come_first_and_does_nothing_twice(seed):
    mapping = problem(seed, 9)
    found = plan(PlanningProblem.from_mapping(mapping))
    after = {step["id"]: step["after"] for step in mapping["steps"]}

    done: list[str] = []
    for step in found.steps:
        assert set(after[step]) <= set(done)
        assert step not in done
        done.append(step)


@pytest.mark.parametrize("seed", range(20))
def test_vanishing_double_faults_give_the_exclusive_answer(seed):
    mapping = problem(seed)
    mapping["hypotheses"] = [
        {"faults": ["f0"], "probability": 0.6},
        {"faults": ["f1"], "probability": 0.4},
    ]
    limit = cost(mapping)
    gaps = []
    for joint in (1e-2, 1e-4, 1e-6):
        with_both = copy.deepcopy(mapping)
        with_both["hypotheses"][0]["probability"] -= joint
        with_both["hypotheses"].append({"faults": ["f0", "f1"], "probability": joint})
        gaps.append(abs(cost(with_both) - limit))

    assert gaps[2] < 1e-3
    assert gaps[2] <= gaps[0] + 1e-9


@FEW
@given(seeds)
def test_heuristic_is_between_the_best_and_three_per_cent_above(seed):
    arrays = arrays_of(PlanningProblem.from_mapping(problem(seed, 10)))
    best = plan(PlanningProblem.from_mapping(problem(seed, 10))).expected_cost

    found = heuristic.solve(arrays).cost

    assert best - 1e-9 * (1 + best) <= found <= 1.03 * best + 1e-9


@FEW
@given(seeds)
def test_search_alone_without_the_exact_front_stays_within_three_per_cent(seed):
    """The local search by itself, so that the law above is not only the exact front on small problems."""
    arrays = arrays_of(PlanningProblem.from_mapping(problem(seed, 9)))
    assume(arrays.size > 0)
    best = plan(PlanningProblem.from_mapping(problem(seed, 9))).expected_cost
    search = heuristic._Search(arrays)

    found = search.groups(search.improved(search.first_order()))[1]

    assert best - 1e-9 * (1 + best) <= found <= 1.03 * best + 1e-9


def chain_problem(size: int) -> PlanningProblem:
    rng = random.Random(size)
    return PlanningProblem.from_mapping(
        {
            "hypotheses": [{"faults": [f"f{n}"], "probability": 0.9 / size} for n in range(size)],
            "steps": [
                {
                    "id": f"s{n:02}",
                    "cost": rng.randint(1, 30),
                    "level": rng.choice(["a", "b", "c"]),
                    "fixes": {f"f{n}": 0.8},
                }
                for n in range(size)
            ],
            "levels": [
                {"id": "a", "parent": None, "open": 0, "close": 0, "test_possible": True},
                {"id": "b", "parent": "a", "open": 6, "close": 6, "test_possible": True},
                {"id": "c", "parent": "b", "open": 9, "close": 8, "test_possible": False},
            ],
            "test_cost": 4,
            "give_up_cost": 200,
        }
    )


def test_fourteen_steps_are_planned_exactly_and_fifteen_by_search():
    assert plan(chain_problem(14)).exact
    assert not plan(chain_problem(15)).exact


def test_one_more_step_than_the_exact_limit_costs_no_more_than_the_limit():
    """15 steps by search against the exact plan of the same problem with one step fewer."""
    problem = chain_problem(15)
    fewer = PlanningProblem(
        problem.hypotheses, problem.steps[:-1], problem.levels, problem.test_cost, problem.give_up_cost
    )

    assert plan(problem).expected_cost <= plan(fewer).expected_cost + 1e-9
