"""How far the plan's chances move when the numbers behind them are not quite known.

The plan's chances rest on how likely each fault is and how often each step cures it. Both are drawn here from Beta distributions
round the values used, worth a given number of boxes of experience: the fault sets are re-weighted by the drawn odds of their faults,
the cures are drawn step by step, the plan itself stays as it is, and each draw gives new chances for its ends.

    R(V) = rest + sum_h w(h) * (1 - prod_{f in h} (1 - prod_{i in V} (1 - cure_i[f])))        (see triage.problem)
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from intakebot.errors import BadInputError
from intakebot.quoting.distribution import PARAMETER_DRAWS
from intakebot.quoting.outcomes import PlannedOutcome
from intakebot.triage.diagnosis import FaultSet
from intakebot.triage.problem import PlanStep

Floats = npt.NDArray[np.float64]

_TINY = 1e-12


def chance_draws(
    sets: Sequence[FaultSet],
    steps: Sequence[PlanStep],
    outcomes: Sequence[PlannedOutcome],
    *,
    boxes: float,
    seed: int,
    draws: int = PARAMETER_DRAWS,
) -> Floats:
    """Chances of the plan's ends under drawn parameters: draws x outcomes, each row sums to 1.

    Args:
        sets: fault sets with their probabilities, of the diagnosis behind the plan (failed tests are in it already).
        steps: the planning problem's, with their chances to cure.
        boxes: how many boxes of experience each number is worth; infinite: no doubt, every row is the plan's own.
        seed: same seed, same draws.
    Raises: BadInputError for 0 boxes or fewer.
    """
    if boxes <= 0:
        raise BadInputError("boxes", boxes, "more than 0")
    rng = np.random.default_rng(seed)
    faults = sorted({fault for each in sets for fault in each.faults})
    column = {fault: index for index, fault in enumerate(faults)}
    members = np.zeros((len(sets), len(faults)))
    for row, each in enumerate(sets):
        members[row, [column[fault] for fault in each.faults]] = 1.0
    probabilities = np.array([each.probability for each in sets])
    weights = _drawn_weights(rng, probabilities, members, boxes, draws)
    planned = {step.plan_id for outcome in outcomes for step in outcome.steps}
    fails = {
        step.id: _drawn_fails(rng, step.fixes, column, boxes, draws) for step in steps if step.id in planned
    }
    rest = max(0.0, 1.0 - math.fsum(each.probability for each in sets))
    return _ends(outcomes, weights, members, fails, rest)


def _drawn(rng: np.random.Generator, chances: Floats, boxes: float, draws: int) -> Floats:
    """draws x chances, each column Beta(boxes * p, boxes * (1 - p))."""
    inside = np.clip(chances, _TINY, 1 - _TINY)
    if math.isinf(boxes):
        return np.tile(inside, (draws, 1))
    drawn = rng.beta(boxes * inside, boxes * (1 - inside), size=(draws, len(inside)))
    return np.clip(drawn, _TINY, 1 - _TINY)


def _drawn_weights(
    rng: np.random.Generator, probabilities: Floats, members: Floats, boxes: float, draws: int
) -> Floats:
    """draws x fault sets: weights re-made with drawn odds of the faults, with the same sum as before."""
    if not probabilities.size or probabilities.sum() <= 0:
        return np.zeros((draws, len(probabilities)))
    marginals = np.clip(probabilities @ members, _TINY, 1 - _TINY)
    drawn = _drawn(rng, marginals, boxes, draws)
    moved = np.log(drawn / (1 - drawn)) - np.log(marginals / (1 - marginals))
    logs = moved @ members.T
    weights = probabilities * np.exp(logs - logs.max(axis=1, keepdims=True))
    return weights * (probabilities.sum() / weights.sum(axis=1, keepdims=True))


def _drawn_fails(
    rng: np.random.Generator, fixes: Mapping[str, float], column: dict[str, int], boxes: float, draws: int
) -> Floats:
    """draws x faults: probability that a step does not cure each fault; 1 where it cannot (that is no matter of doubt)."""
    fails = np.ones((draws, len(column)))
    cures = {fault: chance for fault, chance in fixes.items() if fault in column and chance > 0}
    if cures:
        places = [column[fault] for fault in cures]
        fails[:, places] = 1 - _drawn(rng, np.array(list(cures.values())), boxes, draws)
    return fails


def _ends(
    outcomes: Sequence[PlannedOutcome],
    weights: Floats,
    members: Floats,
    fails: dict[str, Floats],
    rest: float,
) -> Floats:
    draws, faults = weights.shape[0], members.shape[1]
    broken = np.ones(draws)
    product, done = np.ones((draws, faults)), set[str]()
    columns: list[Floats] = []
    for outcome in outcomes:
        if not outcome.repaired:
            columns.append(broken)
            continue
        for step in outcome.steps:
            if step.plan_id in fails and step.plan_id not in done:
                product = product * fails[step.plan_id]
                done.add(step.plan_id)
        cured = np.exp(np.log(np.clip(1 - product, 1e-300, 1.0)) @ members.T)
        left = np.clip(rest + (weights * (1 - cured)).sum(axis=1), 0.0, broken)
        columns.append(broken - left)
        broken = left
    chances = np.stack(columns, axis=1)
    return chances / np.clip(chances.sum(axis=1, keepdims=True), _TINY, None)
