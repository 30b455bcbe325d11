"""The plan of one case as the bench reads it: ordered steps with what they cost and solve, and how it can end."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property

from intakebot.definitions.facts import Answers
from intakebot.definitions.model import Family, Pricing, RateCard
from intakebot.triage.arrays import Arrays, arrays_of
from intakebot.triage.bench import (
    StepResult,
    bench_steps,
    chain_of,
    fault_sets,
    per_minute,
    planned_steps,
    progress_of,
    step_cost,
    what_is_left,
    with_hypotheses,
    with_seen,
)
from intakebot.triage.diagnosis import Diagnosis, diagnose
from intakebot.triage.planner import TwoPlans, evaluate_groups, solved_quickly, solved_thoroughly
from intakebot.triage.plans import Plan
from intakebot.triage.problem import PlanningProblem
from intakebot.triage.reasons import Reason, reasons_for, stop_reason


@dataclass(frozen=True)
class BenchStep:
    """One step in its place.

    minutes, spread: hands-on, median and sigma of ln minutes. access_minutes: opening just before it. close_minutes: what
    the test after its group forces shut, on the group's last step. cost: own expected minutes and parts, in money. reach:
    probability that the plan gets to its group. solves: share of what is left that this step solves, given the steps before
    it. solved_so_far: probability that the device is repaired once tested after it. cost_so_far: expected money up to
    and with this step (tests and access with it). test_after: the group ends here. pending: done already, not tested yet.
    """

    id: str
    step: str
    level: str
    minutes: float
    spread: float
    access_minutes: float
    close_minutes: float
    parts: tuple[str, ...]
    cost: float
    reach: float
    solves: float
    solved_so_far: float
    cost_so_far: float
    test_after: bool
    pending: bool
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class BenchOutcome:
    """One way the plan ends.

    steps: all steps done by then, in order; parts: used by them. step_minutes: (id, median, spread). open_minutes,
    close_minutes: all access, closing at the end included. test_minutes: all play tests. minutes: the sum with medians. cost:
    the planning objective, in money. group: number of groups done.
    """

    probability: float
    repaired: bool
    steps: tuple[str, ...]
    parts: tuple[str, ...]
    step_minutes: tuple[tuple[str, float, float], ...]
    open_minutes: float
    close_minutes: float
    test_minutes: float
    minutes: float
    cost: float
    group: int


@dataclass(frozen=True)
class SecondPlan:
    """The best plan that starts with another group of steps."""

    groups: tuple[tuple[str, ...], ...]
    expected_cost: float


@dataclass(frozen=True)
class BenchPlan:
    """Everything the bench and the quote need to know about a plan. Money in the rate card's currency.

    frame: the planning problem without its hypotheses; left: the diagnosis it was planned for (after failed tests).
    expected_minutes: of an average case, medians. parts: to have on the bench, by first use. left_out: steps not worth
    planning. stop: why the plan ends where it does. finished: a test has passed, nothing is left to do.
    """

    frame: PlanningProblem
    plan: Plan
    groups: tuple[tuple[BenchStep, ...], ...]
    outcomes: tuple[BenchOutcome, ...]
    expected_cost: float
    expected_minutes: float
    chance_repaired: float
    parts: tuple[str, ...]
    second: SecondPlan | None
    left_out: tuple[str, ...]
    stop: Reason
    finished: bool
    exact: bool
    left: Diagnosis = field(repr=False, compare=False)

    @cached_property
    def problem(self) -> PlanningProblem:
        """The whole planning problem, in money: what was planned, hypotheses included."""
        return with_hypotheses(self.frame, self.left)

    @property
    def key(self) -> str:
        """Equal keys mean the same decision: groups joined by `>`, their steps by `+`."""
        return ">".join("+".join(step.id for step in group) for group in self.groups)


def bench_plan(
    family: Family,
    pricing: Pricing,
    card: RateCard,
    diagnosis: Diagnosis,
    answers: Answers,
    results: Sequence[StepResult] = (),
    *,
    day: date,
    without: frozenset[str] = frozenset(),
) -> BenchPlan:
    """Plan a case. Arguments as in `bench_problem`; what was seen in the results must already be in the answers.

    Raises: BadInputError.
    """
    case = _Case(family, pricing, card, answers, results, day, without)
    return case.planned(what_is_left(diagnosis, family, answers, results), solved_quickly)


def replan(
    family: Family,
    pricing: Pricing,
    card: RateCard,
    answers: Answers,
    results: Sequence[StepResult],
    *,
    day: date,
    without: frozenset[str] = frozenset(),
) -> tuple[Diagnosis, BenchPlan]:
    """Diagnosis of what is still wrong, and the rest of the plan, after these results and what was seen.

    Raises: BadInputError.
    """
    known = with_seen(answers, results)
    left = what_is_left(diagnose(family, known), family, known, results)
    case = _Case(family, pricing, card, known, results, day, without)
    return left, case.planned(left, solved_thoroughly)


class _Case:
    """What planning and describing a plan share."""

    def __init__(
        self,
        family: Family,
        pricing: Pricing,
        card: RateCard,
        answers: Answers,
        results: Sequence[StepResult],
        day: date,
        without: frozenset[str],
    ) -> None:
        self.family = family
        self.progress = progress_of(results)
        self.steps = planned_steps(family, answers)
        self.costs = {each.id: step_cost(each, pricing, card, day) for each in self.steps.values()}
        self.rate = per_minute(card)
        self.frame = bench_steps(family, pricing, card, answers, results, day=day, without=without)

    def planned(self, left: Diagnosis, solver: Callable[[Arrays], TwoPlans]) -> BenchPlan:
        finished = self.progress.finished
        arrays = arrays_of(self.frame, fault_sets(left))
        found = TwoPlans(evaluate_groups(arrays, (), exact=True), None) if finished else solver(arrays)
        best, second = found.best, found.second
        described = _Description(self, best, arrays)
        groups = described.groups()
        outcomes = described.outcomes(finished)
        planned = set(best.steps)
        parts = dict.fromkeys(part for group in groups for step in group for part in step.parts)
        return BenchPlan(
            frame=self.frame,
            plan=best,
            groups=groups,
            outcomes=outcomes,
            expected_cost=0.0 if finished else best.expected_cost,
            expected_minutes=sum(each.probability * each.minutes for each in outcomes),
            chance_repaired=sum(each.probability for each in outcomes if each.repaired),
            parts=tuple(parts),
            second=None if second is None else SecondPlan(second.groups, second.expected_cost),
            left_out=tuple(sorted(step.id for step in self.frame.steps if step.id not in planned)),
            stop=stop_reason(self.frame, best, finished),
            finished=finished,
            exact=best.exact,
            left=left,
        )


class _Description:
    """Walks through a plan once, keeping what is open, spent and solved."""

    def __init__(self, case: _Case, plan: Plan, arrays: Arrays) -> None:
        self.family, self.problem, self.plan = case.family, case.frame, plan
        self.steps, self.costs, self.rate = case.steps, case.costs, case.rate
        self.pending = case.progress.pending
        self.by_id = {step.id: step for step in self.problem.steps}
        # P(still broken) after every single step, as if tested there.
        number = {step: place for place, step in enumerate(arrays.ids)}
        self.broken = arrays.broken_after([number[step] for step in plan.steps]).tolist()
        self.open_minutes: list[float] = []
        self.shut_minutes: list[float] = []
        self.left_open: list[float] = []
        self._walk()

    def _walk(self) -> None:
        """Opening minutes before each step, minutes the test shuts after each group, minutes to shut what stays open."""
        levels = self.family.levels
        opened = {level for each in self.problem.open_levels for level in chain_of(self.family, each)}
        self.start_shut = sum(levels[level].close for level in opened)
        for group in self.plan.groups:
            for step in group:
                needed = set(chain_of(self.family, self.by_id[step].level))
                self.open_minutes.append(sum(levels[level].open for level in needed - opened))
                opened |= needed
            may_stay = {
                level
                for level in opened
                if all(levels[above].test_possible for above in chain_of(self.family, level))
            }
            self.shut_minutes.append(sum(levels[level].close for level in opened - may_stay))
            opened = may_stay
            self.left_open.append(sum(levels[level].close for level in opened))

    def groups(self) -> tuple[tuple[BenchStep, ...], ...]:
        rate = self.rate
        described = []
        place, spent = 0, 0.0
        for number, group in enumerate(self.plan.groups):
            start, reach, rows = place, self.broken[place], []
            for step in group:
                last = place == start + len(group) - 1
                shut = self.shut_minutes[number] if last else 0.0
                cost = self.by_id[step].cost
                spent += reach * (cost + (self.open_minutes[place] + shut) * rate)
                spent += reach * self.problem.test_cost if last else 0.0
                left, after = self.broken[place], self.broken[place + 1]
                planned = self.steps[step]
                rows.append(
                    BenchStep(
                        id=step,
                        step=planned.step.id,
                        level=planned.step.level,
                        minutes=planned.step.minutes,
                        spread=planned.step.spread,
                        access_minutes=self.open_minutes[place],
                        close_minutes=shut,
                        parts=planned.step.parts,
                        cost=self.costs[step],
                        reach=reach,
                        solves=(left - after) / left if left > 0 else 0.0,
                        solved_so_far=1.0 - after,
                        cost_so_far=spent,
                        test_after=last,
                        pending=step in self.pending,
                        reasons=(),
                    )
                )
                place += 1
            described.append(tuple(rows))
        return reasons_for(self.family, self.problem, self.steps, tuple(described))

    def outcomes(self, finished: bool) -> tuple[BenchOutcome, ...]:
        if finished:
            done = tuple(self.pending)
            return (
                BenchOutcome(1.0, True, done, (), (), 0.0, self.start_shut, 0.0, self.start_shut, 0.0, 0),
            )
        found = []
        for outcome in self.plan.outcomes:
            done = tuple(step for group in self.plan.groups[: outcome.group] for step in group)
            planned = [self.steps[step] for step in done]
            timed = tuple((each.id, each.step.minutes, each.step.spread) for each in planned)
            opened = sum(self.open_minutes[: len(done)])
            shut = sum(self.shut_minutes[: outcome.group])
            shut += self.left_open[outcome.group - 1] if outcome.group else self.start_shut
            tests = outcome.group * self.family.play_test.minutes
            found.append(
                BenchOutcome(
                    probability=outcome.probability,
                    repaired=outcome.repaired,
                    steps=done,
                    parts=tuple(part for each in planned for part in each.step.parts),
                    step_minutes=timed,
                    open_minutes=opened,
                    close_minutes=shut,
                    test_minutes=tests,
                    minutes=sum(minutes for _, minutes, _ in timed) + opened + shut + tests,
                    cost=outcome.cost,
                    group=outcome.group,
                )
            )
        return tuple(found)
