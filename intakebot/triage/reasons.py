"""Why a step comes where it does, as data; the words are in flows/common/texts/<locale>/triage.yaml.

The first reason of a step makes its one line; the others may follow. The numbers come from the plan itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from intakebot.definitions.model import Family

if TYPE_CHECKING:
    from intakebot.definitions.texts import Texts
    from intakebot.triage.bench import PlannedStep
    from intakebot.triage.bench_plan import BenchStep
    from intakebot.triage.plans import Plan
    from intakebot.triage.problem import PlanningProblem

NO_GAIN = 0.0005
"""A share of what is left below this is said to help only together with another step."""


@dataclass(frozen=True)
class Reason:
    """code: key under `triage.reason`. values: numbers (minutes; shares in [0, 1]) and ids (`level`, `step`, `other`)."""

    code: str
    values: Mapping[str, str | float] = field(default_factory=dict)


def reasons_for(
    family: Family,
    problem: PlanningProblem,
    steps: Mapping[str, PlannedStep],
    groups: Sequence[Sequence[BenchStep]],
) -> tuple[tuple[BenchStep, ...], ...]:
    """The groups again, each step with its reasons."""
    order = [step for group in groups for step in group]
    outermost = {level.id for level in family.levels.values() if level.parent is None}
    explained = []
    for group in groups:
        rows = []
        for step in group:
            found = [_main(step, group, outermost)]
            planned = steps[step.id]
            if planned.trials:
                found.append(
                    Reason("trial", {"trial": float(planned.trial), "trials": float(planned.trials)})
                )
            found.extend(
                Reason("must_precede", {"other": other.step})
                for other in order
                if step.step in steps[other.id].step.after
            )
            if len(group) > 1 and step is group[-1]:
                found.append(Reason("tested_together", {"count": float(len(group))}))
            rows.append(replace(step, reasons=tuple(found)))
        explained.append(tuple(rows))
    return tuple(explained)


def _main(step: BenchStep, group: Sequence[BenchStep], outermost: set[str]) -> Reason:
    numbers: dict[str, str | float] = {"minutes": step.minutes, "solves": step.solves, "level": step.level}
    if step.pending:
        return Reason("already_done", numbers)
    if step.solves < NO_GAIN:
        others = [other for other in group if other is not step]
        if others:
            return Reason("only_together", {**numbers, "other": others[-1].step})
        return Reason("prepares", numbers)
    if step.level in outermost and step.access_minutes == 0:
        return Reason("nothing_to_open", numbers)
    if step.access_minutes == 0:
        return Reason("open_anyway", numbers)
    sharing = sum(1 for other in group if other.level == step.level)
    numbers |= {"access": step.access_minutes, "sharing": float(sharing)}
    return Reason("opens_for_several" if sharing > 1 else "opens", numbers)


def stop_reason(problem: PlanningProblem, plan: Plan, finished: bool) -> Reason:
    """Why nothing comes after the last step."""
    left = 1.0 - plan.chance_repaired
    if finished:
        return Reason("finished")
    if left <= 1e-9:
        return Reason("nothing_left", {"left": left})
    if len(plan.steps) == len(problem.steps):
        return Reason("all_tried", {"left": left})
    if not plan.groups:
        return Reason("not_worth_starting", {"left": left})
    return Reason("not_worth_more", {"left": left})


def say_reason(texts: Texts, reason: Reason) -> str:
    """The reason in the texts' language. Ids become names, shares percentages, minutes whole numbers."""
    values: dict[str, object] = {key: _said(texts, key, value) for key, value in reason.values.items()}
    return texts.say(f"triage.reason.{reason.code}", 0, **values)


def _said(texts: Texts, key: str, value: str | float) -> str:
    if isinstance(value, str):
        return texts.say(f"level.{value}" if key == "level" else f"step.{value}.name")
    if key in ("solves", "left"):
        return percent(value)
    return str(round(value))


def percent(share: float) -> str:
    """A share in words fit for print: never 0 % or 100 % unless it is exactly that."""
    if 0.0 < share < 0.01:
        return "< 1 %"
    if 0.99 < share < 1.0:
        return "> 99 %"
    return f"{round(share * 100)} %"
