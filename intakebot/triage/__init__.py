"""Triage: which faults, in which order to try things, when to test, and what to ask. Pure; see `problem` for the theory."""

from intakebot.triage.bench import PlannedStep, StepResult, bench_problem, planned_steps, with_seen
from intakebot.triage.bench_plan import BenchOutcome, BenchPlan, BenchStep, SecondPlan, bench_plan, replan
from intakebot.triage.candidates import plan_pool
from intakebot.triage.checklist import list_burden
from intakebot.triage.diagnosis import Contribution, Diagnosis, FaultSet, diagnose
from intakebot.triage.implied import with_implied
from intakebot.triage.network import Evidence
from intakebot.triage.planner import EXACT_STEPS, expected_cost, plan
from intakebot.triage.plans import Plan, PlanOutcome
from intakebot.triage.problem import AccessLevel, Hypothesis, PlanningProblem, PlanStep
from intakebot.triage.questions import AnswerValue, QuestionValue, value_of_questions
from intakebot.triage.reasons import Reason, percent, say_reason

__all__ = [
    "EXACT_STEPS",
    "AccessLevel",
    "AnswerValue",
    "BenchOutcome",
    "BenchPlan",
    "BenchStep",
    "Contribution",
    "Diagnosis",
    "Evidence",
    "FaultSet",
    "Hypothesis",
    "Plan",
    "PlanOutcome",
    "PlanStep",
    "PlannedStep",
    "PlanningProblem",
    "QuestionValue",
    "Reason",
    "SecondPlan",
    "StepResult",
    "bench_plan",
    "bench_problem",
    "diagnose",
    "list_burden",
    "expected_cost",
    "percent",
    "plan",
    "plan_pool",
    "planned_steps",
    "replan",
    "say_reason",
    "value_of_questions",
    "with_implied",
    "with_seen",
]
