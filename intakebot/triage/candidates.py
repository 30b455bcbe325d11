"""A pool of sensible plans for a family, and what each costs for each fault set.

Finding the best plan for every answer to every question would take seconds. A plan's cost is linear in the posterior,
so a fixed pool is tried instead: the plan for each fault when it is likely, for each finding by itself, and the case's own
plans. The pool depends on the family, prices and rate card alone; it is made once (about half a second) and kept.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from intakebot.definitions.model import Family, Pricing, RateCard
from intakebot.triage.access import Access, access_of
from intakebot.triage.arrays import Arrays, arrays_of
from intakebot.triage.bench import bench_steps, part_price
from intakebot.triage.diagnosis import Diagnosis, diagnose
from intakebot.triage.mixture import FaultSets
from intakebot.triage.network import FLOOR, Network, network_of
from intakebot.triage.planner import solved_quickly
from intakebot.triage.problem import Hypothesis, PlanningProblem

Floats = npt.NDArray[np.float64]
Groups = tuple[tuple[str, ...], ...]

POOL_STEPS = 9
POOL_GAP = 0.003
LIKELY = 0.55
"""Share of one fault in the case for which a pool plan is made; the rest is the family's usual mix."""


class _SameShop:
    """A family, the part prices of a day and a rate card as one cache key; families and cards by identity."""

    def __init__(self, family: Family, pricing: Pricing, card: RateCard, day: date) -> None:
        self.family, self.pricing, self.card, self.day = family, pricing, card, day
        self.prices = tuple((part, part_price(pricing, part, day)) for part in sorted(pricing.parts))

    def __hash__(self) -> int:
        return hash((id(self.family), id(self.card), self.prices))

    def __eq__(self, other: object) -> bool:
        return (
            isinstance(other, _SameShop)
            and other.family is self.family
            and other.card is self.card
            and other.prices == self.prices
        )


def plan_pool(family: Family, pricing: Pricing, card: RateCard, day: date) -> tuple[Groups, ...]:
    """Plans as groups of family step ids, sorted; the empty plan (return it unrepaired) among them.

    Making it takes about half a second; a server may call this at its start.
    """
    return _pool(_SameShop(family, pricing, card, day))


@functools.lru_cache(maxsize=8)
def _pool(shop: _SameShop) -> tuple[Groups, ...]:
    network = network_of(shop.family)
    usual = diagnose(shop.family, {})
    problem = bench_steps(shop.family, shop.pricing, shop.card, {}, day=shop.day)
    found: set[Groups] = {()}
    for weights in _archetypes(network, usual):
        arrays = arrays_of(problem, FaultSets(network.faults, network.padded, weights))
        both = solved_quickly(arrays, POOL_STEPS)
        found.add(both.best.groups)
        if both.second is not None:
            found.add(both.second.groups)
    return _essential(shop, network, sorted(found), _archetypes(network, usual))


def _essential(
    shop: _SameShop, network: Network, plans: Sequence[Groups], archetypes: Sequence[Floats]
) -> tuple[Groups, ...]:
    """As few of the plans as keep the cost of every archetype within `POOL_GAP` of the best (greedy cover)."""
    problem = bench_steps(shop.family, shop.pricing, shop.card, {}, day=shop.day)
    stages = stages_of(problem, plans)
    fixes = {step.id: step.fixes for step in problem.steps}
    broken = broken_at(stages, faults_in(stages, fixes, network.faults), network.padded)
    cost = stages.by_plan(stages.cost, broken)
    by_case = cost @ np.array(archetypes).T
    served = by_case <= by_case.min(axis=0) * (1.0 + POOL_GAP)
    kept: list[Groups] = []
    open_cases = np.ones(by_case.shape[1], dtype=bool)
    while open_cases.any():
        best = int(np.argmax(served[:, open_cases].sum(axis=1)))
        kept.append(stages.plans[best])
        open_cases &= ~served[best]
    return tuple(sorted({(), *kept}))


def _archetypes(network: Network, usual: Diagnosis) -> list[Floats]:
    base = usual.weights
    found = [base]
    for fault in range(len(network.faults)):
        weights = (1.0 - LIKELY) * base
        weights[network.sets.index((fault,))] += LIKELY
        found.append(weights)
    for finding in network.family.findings.values():
        if finding.stage == "intake":
            for chance in network.given[finding.id].values():
                weights = base * np.maximum(chance, FLOOR)
                found.append(weights / weights.sum())
    return found


# ---- what they cost ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Stages:
    """The pool for one case: every plan's groups in a row.

    done: [S, n] steps done after each stage; stage 0 of each plan is before anything. starts: [plans] first stage of each.
    cost: [S] what a plan costs for each device still broken at that stage. spent, spent_squared: the same for the money put
    into the case (giving up not counted) and for its square.
    """

    plans: tuple[Groups, ...]
    arrays: Arrays
    done: npt.NDArray[np.bool_]
    starts: npt.NDArray[np.int64]
    cost: Floats
    spent: Floats
    spent_squared: Floats

    def by_plan(self, factor: Floats, broken: Floats) -> Floats:
        """Sum over each plan's stages of factor [S] * broken [S, ...]: [plans, ...]."""
        shaped = factor.reshape(-1, *(1,) * (broken.ndim - 1))
        return np.asarray(np.add.reduceat(shaped * broken, self.starts, axis=0))


def pool_stages(
    shop_problem: PlanningProblem, family: Family, pricing: Pricing, card: RateCard, day: date
) -> Stages:
    """The pool laid out for a case without results; kept as long as the case has the same steps."""
    shop = _SameShop(family, pricing, card, day)
    return _pool_stages(shop, tuple(step.id for step in shop_problem.steps), _SameProblem(shop_problem))


class _SameProblem:
    """Carries a problem past a cache whose other arguments already say all that matters of it."""

    def __init__(self, problem: PlanningProblem) -> None:
        self.problem = problem

    def __hash__(self) -> int:
        return 0

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _SameProblem)


@functools.lru_cache(maxsize=64)
def _pool_stages(shop: _SameShop, steps: tuple[str, ...], carried: _SameProblem) -> Stages:
    return stages_of(carried.problem, _pool(shop))


def stages_of(problem: PlanningProblem, plans: Sequence[Groups]) -> Stages:
    """Lay out plans for a problem. Steps that the problem does not have are passed over; board trials are spread out."""
    every = PlanningProblem(
        _one_each(problem),
        problem.steps,
        problem.levels,
        problem.test_cost,
        None,
        problem.close_at_end,
        problem.open_levels,
    )
    return laid_out(arrays_of(every), plans, problem.give_up_cost or 0.0)


def laid_out(arrays: Arrays, plans: Sequence[Groups], give_up: float) -> Stages:
    """The same for arrays at hand: those of other stages for the same steps and levels."""
    access = access_of(arrays)
    fitted = tuple(dict.fromkeys(_fitted(arrays, plan) for plan in plans))
    count = sum(len(plan) + 1 for plan in fitted)
    done = np.zeros((count, arrays.size), dtype=bool)
    group = np.zeros((count, arrays.size), dtype=bool)
    number = {step: index for index, step in enumerate(arrays.ids)}
    row = 0
    for plan in fitted:
        for place, steps in enumerate(plan, start=1):
            chosen = [number[step] for step in steps]
            done[row + place] = done[row + place - 1]
            done[row + place, chosen] = group[row + place, chosen] = True
        row += len(plan) + 1
    starts = np.cumsum([0, *(len(plan) + 1 for plan in fitted[:-1])])
    cost, spent, squared = _coefficients(arrays, access, fitted, done, group, give_up)
    return Stages(fitted, arrays, done, starts, cost, spent, squared)


def _one_each(problem: PlanningProblem) -> tuple[Hypothesis, ...]:
    """Every fault that a step can cure, so that none is dropped from the arrays."""
    faults = sorted({fault for step in problem.steps for fault in step.fixes})
    return tuple(Hypothesis((fault,), 1.0 / len(faults)) for fault in faults)


def _fitted(arrays: Arrays, plan: Groups) -> Groups:
    known = set(arrays.ids)
    fitted: list[tuple[str, ...]] = []
    for group in plan:
        kept = tuple(step for step in group if step in known)
        if kept:
            fitted.append(kept)
        for step in group:
            trial = 1
            while f"{step}#{trial}" in known:
                fitted.append((f"{step}#{trial}",))
                trial += 1
    return tuple(fitted)


def _coefficients(
    arrays: Arrays,
    access: Access,
    plans: Sequence[Groups],
    done: npt.NDArray[np.bool_],
    group: npt.NDArray[np.bool_],
    give_up: float,
) -> tuple[Floats, Floats, Floats]:
    """Per stage, the factor of P(broken at that stage); a device is broken at stage 0 for certain.

    With added_j the cost of group j and ends_j what is paid when it passes there, the cost of a plan is
    sum_j b_{j-1} added_j + (b_{j-1} - b_j) close_j + b_k (close_k + give up): collect by b.
    """
    opened, closing = access.opened(done), access.closing(done)
    again = access.opened_again(group, first=False)
    first = access.opened_again(group, first=True)
    own = group @ arrays.cost + arrays.test_cost
    count = len(done)
    cost, spent, squared = np.zeros(count), np.zeros(count), np.zeros(count)
    row = 0
    for plan in plans:
        total = 0.0
        for place in range(1, len(plan) + 1):
            at = row + place
            added = own[at] + (first[at] if place == 1 else again[at]) + opened[at] - opened[at - 1]
            total += added
            ends = total + closing[at]
            cost[at - 1] += added + closing[at]
            cost[at] -= closing[at]
            spent[at - 1] += ends
            spent[at] -= ends
            squared[at - 1] += ends**2
            squared[at] -= ends**2
        last = row + len(plan)
        closes = closing[last] if plan else access.close_from_start
        cost[last] += closes + give_up
        spent[last] += total + closes
        squared[last] += (total + closes) ** 2
        row = last + 1
    return cost, spent, squared


def broken_at(stages: Stages, fail: Floats, members: npt.NDArray[np.int64]) -> Floats:
    """[S, H] P(still broken) at each stage for each fault set; fail: [F + 1, n], members: [H, 3] padded with F."""
    with np.errstate(divide="ignore"):
        logs = np.log(fail[:-1])
    left = np.zeros((len(stages.done), fail.shape[0]))
    left[:, :-1] = np.exp(stages.done @ np.maximum(logs, -50.0).T)
    cured = 1.0 - left
    product = cured[:, members[:, 0]]
    for column in range(1, members.shape[1]):
        product *= cured[:, members[:, column]]
    return 1.0 - product


def faults_in(stages: Stages, fixes: Mapping[str, Mapping[str, float]], faults: Sequence[str]) -> Floats:
    """[F + 1, n] fail matrix over the network's faults for the stages' steps."""
    number = {fault: index for index, fault in enumerate(faults)}
    fail = np.ones((len(faults) + 1, stages.arrays.size))
    fail[-1] = 0.0
    for column, step in enumerate(stages.arrays.ids):
        for fault, chance in fixes.get(step, {}).items():
            fail[number[fault], column] = 1.0 - chance
    return fail
