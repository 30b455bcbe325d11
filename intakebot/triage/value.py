"""Expected value of sample information over a fixed set of plans.

A plan's expected cost is linear in the probabilities of the fault sets, so with cost[plan, set] the best cost under weights
w is min over plans of cost @ w, and asking a question whose answer a has weights w_a = P(a | set) * w is worth

    EVSI = min_plan sum_a (cost_a @ w_a)[plan] - sum_a min_plan (cost_a @ w_a)[plan]   >= 0

cost_a differs from cost only where the answer changes what steps can do. Source: Raiffa & Schlaifer 1961 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def best_cost(cost: Floats, weights: Floats) -> float:
    """Least expected cost over the plans: cost [plans, sets], weights [sets]."""
    return float((cost @ weights).min())


def evsi(by_plan: Floats) -> float:
    """EVSI from by_plan [plans, answers]: expected cost of each plan jointly with each answer (not divided by P(answer))."""
    return max(float(by_plan.sum(axis=1).min() - by_plan.min(axis=0).sum()), 0.0)


def evsi_of_answers(cost: Floats, weights: Floats, answers: Sequence[Floats]) -> float:
    """EVSI of one question. answers: per answer, P(answer | set) for every set; they sum to 1 over the answers."""
    joint = np.array([weights * chance for chance in answers])
    return evsi(cost @ joint.T)


def evpi(cost: Floats, weights: Floats) -> float:
    """Expected value of being told the fault set."""
    return max(best_cost(cost, weights) - float(cost.min(axis=0) @ weights), 0.0)
