"""The public planner: exact up to `EXACT_STEPS` steps that can matter, the heuristic beyond."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from intakebot.errors import PlanningProblemError
from intakebot.triage import exact, heuristic
from intakebot.triage.access import access_of
from intakebot.triage.arrays import NOTHING_LEFT, Arrays, arrays_of, restricted
from intakebot.triage.plans import Plan, PlanOutcome
from intakebot.triage.problem import PlanningProblem

EXACT_STEPS = 14
QUICK_STEPS = 10


def plan(problem: PlanningProblem) -> Plan:
    """The plan of least expected cost (see `intakebot.triage.problem` for its exact meaning).

    Proved optimal up to 14 steps that can matter (`Plan.exact`); beyond that found by search. Within a group, steps
    stand from the outside inwards, those of one level by id, `after` respected.
    """
    return plan_and_second(problem).best


@dataclass(frozen=True)
class TwoPlans:
    """The best plan, and the best one that starts with another group (None when there is no other)."""

    best: Plan
    second: Plan | None


def plan_and_second(problem: PlanningProblem) -> TwoPlans:
    """Both plans, exact or by search as in `plan`."""
    return solved(arrays_of(problem))


def solved(arrays: Arrays, is_exact: bool = True) -> TwoPlans:
    """Both plans of a compiled problem. is_exact False: steps were left out beforehand, so no optimum is claimed."""
    solver = exact.solve if arrays.size <= EXACT_STEPS else heuristic.solve
    solution = solver(arrays, want_second=True)
    is_exact = is_exact and arrays.size <= EXACT_STEPS
    best = evaluate_groups(arrays, solution.groups, is_exact)
    if solution.second is None:
        return TwoPlans(best, None)
    return TwoPlans(best, evaluate_groups(arrays, solution.second.groups, is_exact))


def solved_quickly(arrays: Arrays, most: int = QUICK_STEPS) -> TwoPlans:
    """Plans within a turn: exact over the `most` steps (about) that repair most for their cost, the others left out.

    Steps are picked one after the other by density, as in the heuristic. The usual optimum stops long before them. Without
    giving up nothing may be left out, so that is planned in full.
    """
    if arrays.give_up is None or arrays.size <= most:
        return solved(arrays)
    return solved(restricted(arrays, heuristic.densest_steps(arrays, most)), is_exact=False)


def solved_thoroughly(arrays: Arrays) -> TwoPlans:
    """The better of `solved` and `solved_quickly`: for the bench, where a tenth of a second does not matter."""
    full, quick = solved(arrays), solved_quickly(arrays)
    return quick if quick.best.expected_cost < full.best.expected_cost - 1e-9 else full


def expected_cost(problem: PlanningProblem, groups: Sequence[Sequence[str]]) -> Plan:
    """The given plan with its cost and outcomes. Steps that cannot matter may be among them.

    Raises: PlanningProblemError when a step is unknown, done twice, or done before one that must come first.
    """
    keep_all = PlanningProblem(
        problem.hypotheses,
        problem.steps,
        problem.levels,
        problem.test_cost,
        None,
        problem.close_at_end,
        problem.open_levels,
    )
    arrays = arrays_of(keep_all)
    number = {step: index for index, step in enumerate(arrays.ids)}
    done = 0
    numbered = []
    for place, group in enumerate(groups):
        if not group:
            raise PlanningProblemError(f"groups[{place}]", list(group), "at least one step")
        mask = 0
        for step in group:
            where = f"groups[{place}]"
            if step not in number or (done | mask) >> number[step] & 1:
                raise PlanningProblemError(where, step, "a known step that is not done twice")
            mask |= 1 << number[step]
        for step in group:
            if arrays.before[number[step]] & ~(done | mask):
                raise PlanningProblemError(
                    f"groups[{place}]", step, "the steps it must come after to be done first"
                )
        done |= mask
        numbered.append(tuple(number[step] for step in group))
    give_up = problem.give_up_cost
    return evaluate_groups(arrays, numbered, exact=False, give_up=0.0 if give_up is None else give_up)


def evaluate_groups(
    arrays: Arrays, groups: Sequence[Sequence[int]], exact: bool, give_up: float | None = None
) -> Plan:
    """Cost and outcomes of groups of step numbers."""
    access = access_of(arrays)
    stop_cost = give_up if give_up is not None else arrays.give_up or 0.0
    size = len(groups)
    done = np.zeros((size + 1, arrays.size), dtype=bool)
    for place, group in enumerate(groups):
        done[place + 1] = done[place]
        done[place + 1, list(group)] = True
    left = np.ones((size + 1, arrays.fail.shape[0]))
    for place, group in enumerate(groups):
        left[place + 1] = left[place] * np.prod(arrays.fail[:, list(group)], axis=1)
    left[:, -1] = 0.0
    broken = arrays.broken(1.0 - left)
    broken = np.where(broken < NOTHING_LEFT, 0.0, broken)
    opened, closing = access.opened(done), access.closing(done)
    spent, expected = 0.0, 0.0
    outcomes = []
    for place, group in enumerate(groups):
        again = access.opened_again((done[place + 1] & ~done[place])[None, :], first=place == 0)
        added = float(
            arrays.cost[list(group)].sum() + again[0] + arrays.test_cost + opened[place + 1] - opened[place]
        )
        spent += added
        passed = float(broken[place] - broken[place + 1])
        closed = float(closing[place + 1])
        expected += float(broken[place]) * added + passed * closed
        if passed > 0:
            outcomes.append(PlanOutcome(passed, spent + closed, True, place + 1))
    if broken[size] > 0:
        closed = float(closing[size]) if size else access.close_from_start
        expected += float(broken[size]) * (closed + stop_cost)
        outcomes.append(PlanOutcome(float(broken[size]), spent + closed + stop_cost, False, size))
    return Plan(
        groups=tuple(_in_working_order(arrays, group) for group in groups),
        expected_cost=expected,
        outcomes=tuple(outcomes),
        exact=exact,
    )


def _in_working_order(arrays: Arrays, group: Sequence[int]) -> tuple[str, ...]:
    """From the outside inwards, then by id, each after those it must follow."""
    waiting = sorted(group, key=lambda step: (arrays.depth[step], arrays.ids[step]))
    ordered: list[int] = []
    while waiting:
        inside = sum(1 << step for step in waiting)
        step = next(step for step in waiting if not arrays.before_all[step] & inside)
        waiting.remove(step)
        ordered.append(step)
    return tuple(arrays.ids[step] for step in ordered)
