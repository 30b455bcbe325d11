"""Triage: which faults, in which order to try things, when to test, and what to ask. Pure; see `problem` for the theory."""

from intakebot.triage.planner import EXACT_STEPS, expected_cost, plan
from intakebot.triage.plans import Plan, PlanOutcome
from intakebot.triage.problem import AccessLevel, Hypothesis, PlanningProblem, PlanStep

__all__ = [
    "EXACT_STEPS",
    "AccessLevel",
    "Hypothesis",
    "Plan",
    "PlanOutcome",
    "PlanStep",
    "PlanningProblem",
    "expected_cost",
    "plan",
]
