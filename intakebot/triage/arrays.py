"""A planning problem as arrays, with what cannot matter taken out.

Steps are sorted by id and become bits: step j is bit 1 << j of a mask. Everything here is exact; see `problem` for the
meaning of R and of the levels.

What is taken out first:
- hypotheses that hold a fault which no step can cure go to `rest`: no plan repairs them;
- when giving up is allowed, steps that cure nothing that is left, unless a useful step must come after them. Such a step
  only costs. When giving up is not allowed until all is tried, every step stays.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from intakebot.triage.mixture import FaultSets, Mixture, mixture_of, mixture_within, narrowed
from intakebot.triage.problem import AccessLevel, PlanningProblem, PlanStep

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

NOTHING_LEFT = 1e-15
"""R below this counts as 0: rounding, not a chance."""


@dataclass(frozen=True)
class Arrays:
    """n steps, F faults, H hypotheses, L levels.

    fail: [F + 1, n], 1 - P(step cures fault); the last row is all 0 (a fault that is always cured, for padding).
    mixture: the fault sets and what they weigh.
    before: masks of the steps that must be done before each step. before_all: the same with their own predecessors.
    needs: [n, L] bool, levels that must be open for a step. stays: [L] bool, may be open during a test.
    open_cost, close_cost: [L]. open_at_start: [L] bool. apart: tag number per step, -1 without.
    """

    ids: tuple[str, ...]
    cost: Floats
    fail: Floats
    mixture: Mixture
    before: tuple[int, ...]
    before_all: tuple[int, ...]
    needs: npt.NDArray[np.bool_]
    stays: npt.NDArray[np.bool_]
    open_cost: Floats
    close_cost: Floats
    open_at_start: npt.NDArray[np.bool_]
    apart: Ints
    depth: tuple[int, ...]
    level_ids: tuple[str, ...]
    test_cost: float
    give_up: float | None
    close_at_end: bool

    @property
    def size(self) -> int:
        return len(self.ids)

    def broken(self, cured: Floats) -> Floats:
        """R for rows of P(fault is cured): [k, F + 1] -> [k]. The last column must be 1."""
        return self.mixture.broken(cured)

    def broken_after(self, orders: Sequence[int]) -> Floats:
        """R after each prefix of an order of step numbers: length len(orders) + 1, first entry R({})."""
        factors = np.ones((len(orders) + 1, self.fail.shape[0]))
        if len(orders):
            factors[1:] = self.fail[:, list(orders)].T
        left: Floats = np.cumprod(factors, axis=0).astype(np.float64)
        left[:, -1] = 0.0
        return self.broken(1.0 - left)


def arrays_of(problem: PlanningProblem, sets: FaultSets | None = None) -> Arrays:
    """Compile a checked problem. sets: fault sets to use instead of the problem's hypotheses."""
    curable = {fault for step in problem.steps for fault, chance in step.fixes.items() if chance > 0}
    if sets is None:
        faults, mixture = _from_hypotheses(problem, curable)
    else:
        faults = sorted(curable & set(sets.faults))
        mixture = mixture_within(sets, faults)
    present = np.bincount(mixture.members.ravel(), minlength=len(faults))[: len(faults)]
    wanted = {fault for fault, count in zip(faults, present.tolist(), strict=True) if count}
    steps = _useful_steps(problem, wanted)
    number = {fault: index for index, fault in enumerate(faults)}
    fail = np.ones((len(faults) + 1, len(steps)))
    fail[-1] = 0.0
    for column, step in enumerate(steps):
        for fault, chance in step.fixes.items():
            if fault in number:
                fail[number[fault], column] = 1.0 - chance
    before = _masks(steps)
    levels = _Levels(problem)
    tags = sorted({step.apart for step in steps if step.apart is not None})
    return Arrays(
        ids=tuple(step.id for step in steps),
        cost=np.array([step.cost for step in steps], dtype=float),
        fail=fail,
        mixture=mixture,
        before=before,
        before_all=_transitive(before),
        needs=np.array([levels.needed(step.level) for step in steps], dtype=bool).reshape(
            len(steps), len(levels.ids)
        ),
        stays=np.array([levels.stays(each) for each in levels.ids], dtype=bool),
        open_cost=np.array([levels.by_id[each].open for each in levels.ids], dtype=float),
        close_cost=np.array([levels.by_id[each].close for each in levels.ids], dtype=float),
        open_at_start=levels.open_at_start(problem.open_levels),
        apart=np.array(
            [-1 if step.apart is None else tags.index(step.apart) for step in steps], dtype=np.int64
        ),
        depth=tuple(len(levels.chain(step.level)) for step in steps),
        level_ids=levels.ids,
        test_cost=problem.test_cost,
        give_up=problem.give_up_cost,
        close_at_end=problem.close_at_end,
    )


def restricted(arrays: Arrays, steps: Sequence[int]) -> Arrays:
    """The same problem with some of its steps only; each must bring those it follows.

    Fault sets that hold a fault which no kept step cures go to the rest.
    """
    kept = sorted(steps)
    curable = np.asarray((arrays.fail[:-1, kept] < 1.0).any(axis=1))
    place = {step: index for index, step in enumerate(kept)}

    def mask(old: int) -> int:
        return sum(1 << place[step] for step in kept if old >> step & 1)

    return replace(
        arrays,
        ids=tuple(arrays.ids[step] for step in kept),
        cost=arrays.cost[kept],
        fail=arrays.fail[np.append(curable, True)][:, kept],
        mixture=narrowed(arrays.mixture, curable),
        before=tuple(mask(arrays.before[step]) for step in kept),
        before_all=tuple(mask(arrays.before_all[step]) for step in kept),
        needs=arrays.needs[kept],
        apart=arrays.apart[kept],
        depth=tuple(arrays.depth[step] for step in kept),
    )


def _from_hypotheses(problem: PlanningProblem, curable: set[str]) -> tuple[list[str], Mixture]:
    faults = sorted(curable & {fault for each in problem.hypotheses for fault in each.faults})
    number = {fault: index for index, fault in enumerate(faults)}
    merged: dict[tuple[int, ...], float] = {}
    for hypothesis in sorted(problem.hypotheses, key=lambda each: (sorted(each.faults), each.probability)):
        if hypothesis.probability > 0 and all(fault in number for fault in hypothesis.faults):
            members = tuple(sorted(number[fault] for fault in hypothesis.faults))
            merged[members] = merged.get(members, 0.0) + hypothesis.probability
    return faults, mixture_of(list(merged), list(merged.values()), len(faults))


def _useful_steps(problem: PlanningProblem, wanted: set[str]) -> list[PlanStep]:
    """Steps by id: all without giving up, else those that cure a wanted fault and those that such a step must follow."""
    steps = {step.id: step for step in sorted(problem.steps, key=lambda step: step.id)}
    if problem.give_up_cost is None:
        return list(steps.values())
    waiting = [
        step.id
        for step in steps.values()
        if any(chance > 0 and fault in wanted for fault, chance in step.fixes.items())
    ]
    useful: set[str] = set()
    while waiting:
        each = waiting.pop()
        if each not in useful:
            useful.add(each)
            waiting.extend(steps[each].after)
    return [step for step in steps.values() if step.id in useful]


def _masks(steps: Sequence[PlanStep]) -> tuple[int, ...]:
    bit = {step.id: 1 << index for index, step in enumerate(steps)}
    return tuple(sum(bit[other] for other in set(step.after)) for step in steps)


def _transitive(before: tuple[int, ...]) -> tuple[int, ...]:
    closed = list(before)
    changed = True
    while changed:
        changed = False
        for index, mask in enumerate(closed):
            wider, left = mask, mask
            while left:
                lowest = left & -left
                wider |= closed[lowest.bit_length() - 1]
                left -= lowest
            if wider != mask:
                closed[index], changed = wider, True
    return tuple(closed)


class _Levels:
    """The forest of levels, walked upwards."""

    def __init__(self, problem: PlanningProblem) -> None:
        self.by_id: Mapping[str, AccessLevel] = {level.id: level for level in problem.levels}
        self.ids = tuple(sorted(self.by_id))

    def chain(self, level_id: str | None) -> list[str]:
        """The level and all above it."""
        found = []
        while level_id is not None:
            found.append(level_id)
            level_id = self.by_id[level_id].parent
        return found

    def needed(self, level_id: str | None) -> list[bool]:
        chain = set(self.chain(level_id))
        return [each in chain for each in self.ids]

    def stays(self, level_id: str) -> bool:
        return all(self.by_id[each].test_possible for each in self.chain(level_id))

    def open_at_start(self, open_levels: Sequence[str]) -> npt.NDArray[np.bool_]:
        wide = {each for level_id in open_levels for each in self.chain(level_id)}
        return np.array([each in wide for each in self.ids], dtype=bool)
