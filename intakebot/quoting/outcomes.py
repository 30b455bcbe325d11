"""The plan as the price sees it: how it may end, with which chance and after which work.

One `PlannedOutcome` per possible end, in the order of the plan: "the play test passed after group 1", "after group 2", ...,
and last the end without a repair. Chances sum to 1.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from intakebot.definitions.model import Step
from intakebot.errors import BadInputError

if TYPE_CHECKING:
    from intakebot.triage.bench_plan import BenchPlan

CHANCE_SLACK = 1e-6


@dataclass(frozen=True)
class PlannedStep:
    """A bench step as planned. plan_id: unique in the plan (`trial_board#2`); step_id: the family's step.

    minutes: median hands-on minutes without access; spread: sigma of ln minutes (0 once it is done and timed).
    """

    plan_id: str
    step_id: str
    minutes: float
    spread: float
    parts: tuple[str, ...] = ()

    @classmethod
    def of(cls, step: Step) -> PlannedStep:
        return cls(step.id, step.id, step.minutes, step.spread, step.parts)


@dataclass(frozen=True)
class PlannedOutcome:
    """One end of the plan.

    steps: all steps done until then, in order. tested: plan ids of the last group, after which the test passed (for an end
    without a repair: of the last group tried). access_minutes: opening and closing, including closing at the end.
    test_minutes: all play tests.
    """

    chance: float
    steps: tuple[PlannedStep, ...]
    tested: tuple[str, ...]
    access_minutes: float
    test_minutes: float
    repaired: bool

    def helped(self, step: PlannedStep) -> bool:
        """Whether the step is among those the last, passed test followed."""
        return self.repaired and step.plan_id in self.tested


def checked(outcomes: Sequence[PlannedOutcome]) -> tuple[PlannedOutcome, ...]:
    """The outcomes, once it is sure that they are a distribution over sound work.

    Raises: BadInputError.
    """
    if not outcomes:
        raise BadInputError("outcomes", [], "at least one way the plan can end")
    for number, outcome in enumerate(outcomes):
        _check(outcome, f"outcomes[{number}]", is_last=number == len(outcomes) - 1)
    total = sum(outcome.chance for outcome in outcomes)
    if abs(total - 1) > 1e-4:
        raise BadInputError("outcomes", total, "chances that sum to 1")
    return tuple(replace(outcome, chance=max(0.0, outcome.chance) / total) for outcome in outcomes)


def _check(outcome: PlannedOutcome, where: str, *, is_last: bool) -> None:
    if not (math.isfinite(outcome.chance) and -CHANCE_SLACK <= outcome.chance <= 1 + CHANCE_SLACK):
        raise BadInputError(f"{where}.chance", outcome.chance, "a probability")
    numbers = [outcome.access_minutes, outcome.test_minutes]
    numbers += [number for step in outcome.steps for number in (step.minutes, step.spread)]
    if not all(0 <= number < math.inf for number in numbers):
        raise BadInputError(f"{where}.minutes", min(numbers), "minutes and spreads of 0 or more")
    if not set(outcome.tested) <= {step.plan_id for step in outcome.steps}:
        raise BadInputError(f"{where}.tested", outcome.tested, "steps that were done")
    if not outcome.repaired and not is_last:
        raise BadInputError(f"{where}.repaired", False, "the end without a repair in last place only")


def planned_outcomes(bench: BenchPlan, steps: Mapping[str, Step]) -> tuple[PlannedOutcome, ...]:
    """The ends of a bench plan. `steps`: the family's."""
    planned = {step.id: step for group in bench.groups for step in group}
    converted: list[PlannedOutcome] = []
    before: tuple[str, ...] = ()
    for outcome in sorted(bench.outcomes, key=lambda item: not item.repaired):
        timed = {plan_id: (minutes, spread) for plan_id, minutes, spread in outcome.step_minutes}
        done = tuple(
            PlannedStep(plan_id, planned[plan_id].step, *timed[plan_id], planned[plan_id].parts)
            for plan_id in outcome.steps
        )
        tested = tuple(plan_id for plan_id in outcome.steps if plan_id not in before)
        converted.append(
            PlannedOutcome(
                max(0.0, outcome.probability),
                done,
                tested,
                outcome.open_minutes + outcome.close_minutes,
                outcome.test_minutes,
                outcome.repaired,
            )
        )
        before = outcome.steps if outcome.repaired else before
    return tuple(converted)


@dataclass(frozen=True)
class DoneSoFar:
    """Bench work already behind us when a quote is revised: steps with their real minutes, access and test minutes."""

    steps: tuple[PlannedStep, ...] = ()
    access_minutes: float = 0.0
    test_minutes: float = 0.0


def after_work(outcomes: Sequence[PlannedOutcome], done: DoneSoFar) -> tuple[PlannedOutcome, ...]:
    """The outcomes of the rest of a plan with what was done before put in front.

    A step that was done but not tested yet stands in the rest of the plan, too; it is counted once, with its real minutes, and may
    still turn out to have helped.
    """
    behind = {step.plan_id for step in done.steps}
    return tuple(
        replace(
            outcome,
            steps=(*done.steps, *(step for step in outcome.steps if step.plan_id not in behind)),
            access_minutes=done.access_minutes + outcome.access_minutes,
            test_minutes=done.test_minutes + outcome.test_minutes,
        )
        for outcome in outcomes
    )


def cut_after(
    outcomes: Sequence[PlannedOutcome], groups: int, done: DoneSoFar | None = None
) -> tuple[PlannedOutcome, ...]:
    """The plan that stops after so many groups: later ends become the end without a repair.

    With 0 groups nothing is done at the bench beyond the assessment and what was `done` before.
    """
    repaired = [outcome for outcome in outcomes if outcome.repaired]
    if groups >= len(repaired):
        return tuple(outcomes)
    kept = repaired[:groups]
    rest = max(0.0, 1.0 - sum(outcome.chance for outcome in kept))
    if not kept:
        work = done or DoneSoFar()
        return (PlannedOutcome(1.0, work.steps, (), work.access_minutes, work.test_minutes, repaired=False),)
    return (*kept, replace(kept[-1], chance=rest, repaired=False))


def steps_of(outcomes: Sequence[PlannedOutcome]) -> tuple[PlannedStep, ...]:
    """Every step of the plan, in order."""
    seen: dict[str, PlannedStep] = {}
    for outcome in outcomes:
        for step in outcome.steps:
            seen.setdefault(step.plan_id, step)
    return tuple(seen.values())
