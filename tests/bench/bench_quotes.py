"""Do the price ranges keep their word? Simulated jobs against their own quotes; run by `make bench`.

Three tables:

1. Plans drawn at random, the demo rate card. The simulator uses the quote's own parameters, then parameters that differ by 30 %.
2. The same with blocks of one minute, where prices hardly ever tie.
3. Whole cases of the shipped family: hidden faults from the priors, answers from the likelihoods, diagnosis, plan and quote as in the
   program; then the bench is played step by step with the true faults.

Usage: bench_quotes.py [quotes]   (default 2000)
"""

from __future__ import annotations

import math
import random
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np

from intakebot.definitions import Definitions, load_definitions
from intakebot.definitions.model import RateCard
from intakebot.quoting.coverage import (
    THIRTY_PERCENT,
    Coverage,
    Distortion,
    Points,
    coverage_of,
    coverage_text,
    drawn_plans,
    price_of_end,
    simulate_coverage,
)
from intakebot.quoting.distribution import price_distribution, quick_points
from intakebot.quoting.estimate import rules_for
from intakebot.quoting.outcomes import PlannedOutcome, planned_outcomes
from intakebot.quoting.parameter_doubt import chance_draws
from intakebot.quoting.tariff import Tariff, Terms
from intakebot.simulation.truth import sample_truth
from intakebot.triage.bench_plan import bench_plan
from intakebot.triage.diagnosis import diagnose
from intakebot.triage.problem import PlanningProblem

ROOT = Path(__file__).resolve().parents[2]
DAY = date(2026, 11, 25)
WHOLE_CASES = 500
"""Whole cases at most: each is diagnosed and planned, which takes tens of milliseconds."""


@dataclass(frozen=True)
class Case:
    """A quoted case with its hidden faults. quick, full: both forecasts of the price."""

    rules: Tariff
    problem: PlanningProblem
    outcomes: tuple[PlannedOutcome, ...]
    faults: tuple[str, ...]
    quick: Points
    full: Points


def main(count: int = 2000) -> None:
    definitions = load_definitions(ROOT)
    card = definitions.pricing.rate_card_on(DAY)
    print(
        f"1. {count} drawn plans, {card.id}, blocks of {card.block_minutes} minutes (prices in minor units)"
    )
    print(coverage_text(drawn_table(definitions, card, count)))
    minute = replace(card, block_minutes=1)
    print(f"\n2. the same, blocks of 1 minute\n{coverage_text(drawn_table(definitions, minute, count)[:1])}")
    started = time.perf_counter()
    whole = min(count, WHOLE_CASES)
    cases = sampled_cases(definitions, card, whole)
    print(
        f"\n3. {whole} whole cases, quoted in {time.perf_counter() - started:.0f} s; quick forecast, then the drawn one"
    )
    print(coverage_text([played(cases, distortion, "quick") for distortion in THIRTY_PERCENT]))
    print(coverage_text([played(cases, distortion, "full") for distortion in THIRTY_PERCENT]))


def drawn_table(definitions: Definitions, card: RateCard, count: int) -> list[Coverage]:
    rules, prices = rules_for(definitions.pricing, card, DAY, Terms())
    quotes = drawn_plans(rules, sorted(prices), count=count, seed=7)
    return [simulate_coverage(quotes, seed=11, distortion=distortion) for distortion in THIRTY_PERCENT]


def sampled_cases(definitions: Definitions, card: RateCard, count: int) -> list[Case]:
    family, pricing = definitions.families["disc_drive"], definitions.pricing
    rules, prices = rules_for(pricing, card, DAY, Terms())
    rng = random.Random(3)
    cases = []
    for number in range(count):
        truth = sample_truth(family, rng)
        answers = {
            fact: answer
            for fact, answer in truth.answers.items()
            if "bench" not in family.facts[fact].purposes
        }
        diagnosis = diagnose(family, answers)
        bench = bench_plan(family, pricing, card, diagnosis, answers, day=DAY)
        outcomes = planned_outcomes(bench, family.steps)
        draws = chance_draws(
            diagnosis.sets, bench.problem.steps, outcomes, boxes=card.chances_worth_boxes, seed=number
        )
        full = price_distribution(rules, prices, outcomes, seed=number, chance_draws=draws).points
        cases.append(Case(rules, bench.problem, outcomes, truth.faults, quick_points(rules, outcomes), full))
    return cases


def played(cases: Sequence[Case], distortion: Distortion, which: str) -> Coverage:
    """Every case played once on the bench with its true faults."""
    rng = np.random.default_rng(17)
    pairs = []
    for case in cases:
        common = math.exp(case.rules.card.minutes_doubt * rng.standard_normal()) * distortion.minutes
        price = price_of_end(case.rules, ending(case, rng, distortion.repair_odds), rng, common)
        pairs.append((case.quick if which == "quick" else case.full, price))
    return coverage_of(distortion.name, pairs)


def ending(case: Case, rng: np.random.Generator, repair_odds: float) -> PlannedOutcome:
    """Do the steps in order; the device works once every true fault is cured and a test follows."""
    fixes = {step.id: step.fixes for step in case.problem.steps}
    left, done = set(case.faults), set[str]()
    for outcome in case.outcomes:
        for step in outcome.steps:
            if step.plan_id in done:
                continue
            done.add(step.plan_id)
            for fault in sorted(left):
                chance = fixes.get(step.plan_id, {}).get(fault, 0.0)
                if rng.random() < chance * repair_odds / (1 - chance + chance * repair_odds):
                    left.discard(fault)
        if outcome.repaired and not left:
            return outcome
    return case.outcomes[-1]


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:2]))
