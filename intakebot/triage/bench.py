"""From a diagnosis to a planning problem in money: steps of the family, parts, labour, access, results so far.

The objective is what the repair costs the shop on average: expected minutes (median * exp(spread^2 / 2), log-normal) times
the labour rate, plus parts. The customer's price is another matter and never enters.

*Board trials.* One of k look-alike boards is the original. The trial step becomes k steps, `<id>#1` to `<id>#k`, one after
the other and never two before one test. With s the chance that fitting the original cures the fault, trial j cures
it, given that the earlier ones did not, with probability (s/k) / (1 - s (j-1)/k); together s, and (k+1)/2 trials on
average when s = 1.

*Results.* After a failed test, P(fault set) becomes the distribution of the faults that *remain*: each fault of a set
survived the steps done with the product of their failure chances, and something remains. Exact, because the faults of a
set are cured independently. A step done but not yet tested stays in the problem at no cost. A step that could not be
done is dropped and counts as done for the steps that must come after it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from itertools import combinations
from typing import Literal

import numpy as np

from intakebot.definitions.facts import Answer, Answers, Value, holds
from intakebot.definitions.model import Family, Pricing, RateCard, Step
from intakebot.errors import BadInputError
from intakebot.triage.diagnosis import Diagnosis
from intakebot.triage.mixture import FaultSets
from intakebot.triage.network import factor
from intakebot.triage.problem import AccessLevel, Hypothesis, PlanningProblem, PlanStep

SUREST = 0.99
"""A step's chance to cure a fault is at most this, whatever the family says."""
MOST_TRIALS = 8
"""Look-alike boards that are planned one by one; a last step stands for all beyond."""

Result = Literal["done", "test_passed", "test_failed", "could_not"]


@dataclass(frozen=True)
class StepResult:
    """What happened at the bench.

    step: id in the plan (a board trial is `trial_board#2`). done: not tested yet. test_passed, test_failed: done, and then
    tested together with all done since the last test. could_not: not done. seen: facts seen while at it.
    """

    step: str
    result: Result
    seen: Mapping[str, Value] = field(default_factory=dict)


@dataclass(frozen=True)
class PlannedStep:
    """A step as it may stand in a plan: the family's step, or one of its board trials."""

    id: str
    step: Step
    trial: int = 0
    trials: int = 0


@dataclass(frozen=True)
class Progress:
    """What the results amount to. tested: done before the last failed test. pending: done since then."""

    tested: tuple[str, ...]
    pending: tuple[str, ...]
    dropped: tuple[str, ...]
    finished: bool


def progress_of(results: Sequence[StepResult]) -> Progress:
    """Results in the order in which they came.

    Raises: BadInputError when a result is not one of the four, or anything follows a passed test.
    """
    tested: list[str] = []
    pending: list[str] = []
    dropped: list[str] = []
    finished = False
    for index, each in enumerate(results):
        if finished:
            raise BadInputError(f"results[{index}]", each.result, "nothing after a test that passed")
        if each.result == "could_not":
            dropped.append(each.step)
            continue
        if each.result not in ("done", "test_passed", "test_failed"):
            raise BadInputError(
                f"results[{index}]", each.result, "done, test_passed, test_failed or could_not"
            )
        if each.step not in pending and each.step not in tested:
            pending.append(each.step)
        if each.result == "test_passed":
            finished = True
        if each.result == "test_failed":
            tested.extend(pending)
            pending = []
    return Progress(tuple(tested), tuple(pending), tuple(dropped), finished)


def with_seen(answers: Answers, results: Sequence[StepResult]) -> dict[str, Answer]:
    """The answers and everything seen at the bench; what was seen later stands."""
    merged = dict(answers)
    for each in results:
        merged |= {fact: Answer(value) for fact, value in each.seen.items()}
    return merged


def planned_steps(family: Family, answers: Answers) -> dict[str, PlannedStep]:
    """The family's steps that may be planned for these answers, board trials spread out.

    A step whose `only_when` is known to be false is left out; while that is unknown, it stays.
    """
    found: dict[str, PlannedStep] = {}
    for step in family.steps.values():
        if step.only_when is not None and holds(step.only_when, answers) is False:
            continue
        trials = _candidates(family, step, answers)
        if trials <= 1:
            found[step.id] = PlannedStep(step.id, step)
            continue
        for trial in range(1, min(trials, MOST_TRIALS) + 1):
            plan_id = f"{step.id}#{trial}"
            found[plan_id] = PlannedStep(plan_id, step, trial, trials)
    return found


def _candidates(family: Family, step: Step, answers: Answers) -> int:
    part = family.paired_parts.get(step.trial_of) if step.trial_of else None
    answer = answers.get(part.candidates_fact) if part and part.candidates_fact else None
    return answer.value if answer is not None and isinstance(answer.value, int) else 1


def chances(planned: PlannedStep, answers: Answers) -> dict[str, float]:
    """fault -> P(this step cures it), earlier attempts considered."""
    times = math.prod(factor(change, answers) for change in planned.step.tried)
    fixes = {
        fault: min(max(chance * times, 0.0), SUREST)
        for fault, chance in planned.step.fixes.items()
        if chance > 0
    }
    if not planned.trials:
        return fixes
    return {fault: _trial_chance(chance, planned) for fault, chance in fixes.items()}


def _trial_chance(chance: float, planned: PlannedStep) -> float:
    """Trial j of k given that the earlier ones failed; the last one planned stands for all that are left."""
    before = chance * (planned.trial - 1) / planned.trials
    boards = 1
    if planned.trial == MOST_TRIALS:
        boards = planned.trials - MOST_TRIALS + 1
    return (chance * boards / planned.trials) / (1.0 - before)


def step_minutes(planned: PlannedStep) -> float:
    """Expected hands-on minutes: the mean of the log-normal, not its median."""
    step = planned.step
    minutes = step.minutes * math.exp(step.spread**2 / 2)
    if planned.trials > MOST_TRIALS and planned.trial == MOST_TRIALS:
        return minutes * (planned.trials - MOST_TRIALS + 2) / 2
    return minutes


def part_price(pricing: Pricing, part_id: str, day: date) -> float:
    """Price of a part on a day: the latest price by then, the earliest known one before that.

    Raises: BadInputError when the parts list does not have it.
    """
    prices = pricing.parts.get(part_id, ())
    if not prices:
        raise BadInputError("part", part_id, "a part of the parts list")
    in_force = [price for price in prices if price.effective_from <= day]
    return float((in_force[-1] if in_force else prices[0]).price)


def step_cost(planned: PlannedStep, pricing: Pricing, card: RateCard, day: date) -> float:
    """Money: expected minutes at the labour rate, and the parts used up."""
    parts = sum(part_price(pricing, part, day) for part in planned.step.parts)
    return step_minutes(planned) * per_minute(card) + parts


def per_minute(card: RateCard) -> float:
    return float(card.hourly_rate) / 60.0


def bench_problem(
    family: Family,
    pricing: Pricing,
    card: RateCard,
    diagnosis: Diagnosis,
    answers: Answers,
    results: Sequence[StepResult] = (),
    *,
    day: date,
    without: frozenset[str] = frozenset(),
) -> PlanningProblem:
    """The planning problem of one case, in the rate card's money.

    Args:
        diagnosis: for the answers (with what was seen at the bench), *before* the results' failed tests.
        day: decides which part prices are in force.
        without: steps (family or plan ids) that must not be planned.
    Raises:
        BadInputError: results that cannot be, or a part without a price.
    """
    left = what_is_left(diagnosis, family, answers, results)
    steps = bench_steps(family, pricing, card, answers, results, day=day, without=without)
    return with_hypotheses(steps, left)


def with_hypotheses(frame: PlanningProblem, left: Diagnosis) -> PlanningProblem:
    """The frame with the diagnosis's fault sets as hypotheses; those below 1e-9 are left out."""
    return replace(
        frame, hypotheses=tuple(Hypothesis(each.faults, each.probability) for each in left.sets)
    ).checked()


def what_is_left(
    diagnosis: Diagnosis, family: Family, answers: Answers, results: Sequence[StepResult]
) -> Diagnosis:
    """The diagnosis of what is still wrong after the results' failed tests."""
    tested = progress_of(results).tested
    if not tested:
        return diagnosis
    steps = planned_steps(family, answers)
    return after_failed_tests(diagnosis, [steps[each] for each in tested if each in steps], answers)


def bench_steps(
    family: Family,
    pricing: Pricing,
    card: RateCard,
    answers: Answers,
    results: Sequence[StepResult] = (),
    *,
    day: date,
    without: frozenset[str] = frozenset(),
) -> PlanningProblem:
    """The problem without its hypotheses: steps, levels and costs. Arguments and errors as in `bench_problem`."""
    progress = progress_of(results)
    steps = planned_steps(family, answers)
    gone = {*progress.tested, *progress.dropped, *without}
    kept = {each.id: each for each in steps.values() if each.id not in gone and each.step.id not in gone}
    rate = per_minute(card)
    return PlanningProblem(
        hypotheses=(),
        steps=tuple(
            PlanStep(
                id=each.id,
                cost=0.0 if each.id in progress.pending else step_cost(each, pricing, card, day),
                level=None if each.id in progress.pending else each.step.level,
                fixes=chances(each, answers),
                after=_after(each, kept),
                apart=each.step.id if each.trials else None,
            )
            for each in kept.values()
        ),
        levels=tuple(
            AccessLevel(level.id, level.parent, level.open * rate, level.close * rate, level.test_possible)
            for level in family.levels.values()
        ),
        test_cost=family.play_test.minutes * rate,
        give_up_cost=family.giving_up.minutes * rate + float(family.giving_up.goodwill),
        close_at_end=True,
        open_levels=_open_now(family, steps, progress),
    )


def _after(planned: PlannedStep, kept: Mapping[str, PlannedStep]) -> tuple[str, ...]:
    found = [other.id for other in kept.values() if other.step.id in planned.step.after]
    if planned.trial > 1:
        found.extend(
            other.id
            for other in kept.values()
            if other.step.id == planned.step.id and other.trial == planned.trial - 1
        )
    return tuple(found)


def _open_now(family: Family, steps: Mapping[str, PlannedStep], progress: Progress) -> tuple[str, ...]:
    """Levels that stand open after the results: those a test allows, and all opened since the last test."""
    pending = {
        level
        for each in progress.pending
        if each in steps
        for level in chain_of(family, steps[each].step.level)
    }
    tested = {
        level
        for each in progress.tested
        if each in steps
        for level in chain_of(family, steps[each].step.level)
    }
    may_stay = {
        level
        for level in tested
        if all(family.levels[above].test_possible for above in chain_of(family, level))
    }
    return tuple(sorted(pending | may_stay))


def chain_of(family: Family, level_id: str | None) -> list[str]:
    """The level and all above it, inside first."""
    found = []
    while level_id is not None:
        found.append(level_id)
        level_id = family.levels[level_id].parent
    return found


def fault_sets(diagnosis: Diagnosis) -> FaultSets:
    """The diagnosis as arrays for the planner."""
    return FaultSets(diagnosis.network.faults, diagnosis.network.padded, diagnosis.weights)


def after_failed_tests(diagnosis: Diagnosis, done: Sequence[PlannedStep], answers: Answers) -> Diagnosis:
    """The diagnosis of what is still wrong once these steps were done and the device still failed its test."""
    if not done:
        return diagnosis
    network = diagnosis.network
    survives = np.ones(len(network.faults))
    for each in done:
        for fault_id, cure in chances(each, answers).items():
            survives[network.faults.index(fault_id)] *= 1.0 - cure
    row_of = {members: row for row, members in enumerate(network.sets)}
    weights = np.zeros_like(diagnosis.weights)
    for members, weight in zip(network.sets, diagnosis.weights.tolist(), strict=True):
        if weight < 1e-12:
            continue
        for size in range(1, len(members) + 1):
            for left in combinations(members, size):
                chance = weight
                for fault in members:
                    chance *= survives[fault] if fault in left else 1.0 - survives[fault]
                weights[row_of[left]] += chance
    total = float(weights.sum())
    if total <= 0.0:  # cannot happen while chances stay below 1
        return diagnosis
    return replace(diagnosis, weights=weights / total)
