"""From a plan of triage to the ends a price is made of, and the doubt about its chances."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

import numpy as np
import pytest

from intakebot.definitions import Answer, Definitions
from intakebot.errors import BadInputError
from intakebot.quoting.outcomes import PlannedOutcome, PlannedStep, checked, planned_outcomes, steps_of
from intakebot.quoting.parameter_doubt import chance_draws
from intakebot.triage.bench_plan import BenchPlan, bench_plan
from intakebot.triage.diagnosis import Diagnosis, FaultSet, diagnose
from intakebot.triage.problem import PlanStep

DAY = date(2026, 11, 25)
CASES = {
    "reads no disc": {
        "device_kind": "console_slot",
        "disc_not_read": "yes",
        "bluray_result": "fails",
        "dvd_result": "plays",
    },
    "will not eject": {"device_kind": "console_slot", "wont_eject": "yes"},
    "skips": {"device_kind": "hifi_system", "skips": "yes"},
    "no power": {"device_kind": "dvd_player", "no_power": "yes"},
}


@dataclass(frozen=True)
class Planned:
    diagnosis: Diagnosis
    bench: BenchPlan


@pytest.fixture(scope="module", params=CASES, ids=list(CASES))
def planned(request: pytest.FixtureRequest, definitions: Definitions) -> Planned:
    family, pricing = definitions.families["disc_drive"], definitions.pricing
    answers = {fact: Answer(value) for fact, value in CASES[request.param].items()}
    card = pricing.rate_card_on(DAY)
    diagnosis = diagnose(family, answers)
    return Planned(diagnosis, bench_plan(family, pricing, card, diagnosis, answers, day=DAY))


@pytest.fixture
def bench(planned: Planned) -> BenchPlan:
    return planned.bench


def test_every_end_of_the_plan_becomes_one_with_the_same_minutes(
    bench: BenchPlan, definitions: Definitions
) -> None:
    outcomes = checked(planned_outcomes(bench, definitions.families["disc_drive"].steps))

    assert sum(outcome.chance for outcome in outcomes) == pytest.approx(1)
    assert [outcome.repaired for outcome in outcomes] == sorted(
        (o.repaired for o in bench.outcomes), reverse=True
    )
    for ours, theirs in zip(
        outcomes, sorted(bench.outcomes, key=lambda item: not item.repaired), strict=True
    ):
        assert tuple(step.plan_id for step in ours.steps) == theirs.steps
        assert sum(
            step.minutes for step in ours.steps
        ) + ours.access_minutes + ours.test_minutes == pytest.approx(theirs.minutes)
        assert tuple(part for step in ours.steps for part in step.parts) == theirs.parts


def test_each_group_is_tested_once(bench: BenchPlan, definitions: Definitions) -> None:
    outcomes = planned_outcomes(bench, definitions.families["disc_drive"].steps)

    tested = [plan_id for outcome in outcomes if outcome.repaired for plan_id in outcome.tested]
    assert len(tested) == len(set(tested))
    assert set(tested) <= {step.plan_id for step in steps_of(outcomes)}


def test_without_doubt_every_draw_is_the_plan_s_own_chances(
    planned: Planned, definitions: Definitions
) -> None:
    """The same formula as triage's, worked again here: they must agree to rounding."""
    outcomes = planned_outcomes(planned.bench, definitions.families["disc_drive"].steps)

    draws = chance_draws(
        planned.diagnosis.sets, planned.bench.problem.steps, outcomes, boxes=math.inf, seed=1, draws=3
    )

    assert draws == pytest.approx(np.tile([outcome.chance for outcome in outcomes], (3, 1)), abs=1e-6)


def test_drawn_chances_are_distributions_and_follow_the_seed(
    planned: Planned, definitions: Definitions
) -> None:
    outcomes = planned_outcomes(planned.bench, definitions.families["disc_drive"].steps)

    first, again, other = (
        chance_draws(planned.diagnosis.sets, planned.bench.problem.steps, outcomes, boxes=30.0, seed=seed)
        for seed in (1, 1, 2)
    )

    assert first.sum(axis=1) == pytest.approx(np.ones(len(first)))
    assert (first >= 0).all()
    assert (first == again).all()
    assert not (first == other).all() or first.shape[1] == 1


# One fault of .5 that a step cures with .8, and a rest of .5 that nothing cures: repaired with .4.
SETS = (FaultSet(("dirt",), 0.5),)
STEPS = (PlanStep("clean", 1.0, fixes={"dirt": 0.8}),)
CLEAN = PlannedStep("clean", "clean", 10.0, 0.3)
ENDS = (
    PlannedOutcome(0.4, (CLEAN,), ("clean",), 0.0, 0.0, repaired=True),
    PlannedOutcome(0.6, (CLEAN,), ("clean",), 0.0, 0.0, repaired=False),
)


def test_doubt_about_a_cure_by_hand() -> None:
    """Only one hypothesis: its weight stays .5 and the cure is Beta(.8 s, .2 s), sd sqrt(.16/(s+1)); s = 15 -> .1, halved .05."""
    draws = chance_draws(SETS, STEPS, ENDS, boxes=15.0, seed=3, draws=4000)

    assert draws[:, 0].mean() == pytest.approx(0.4, abs=0.003)
    assert draws[:, 0].std() == pytest.approx(0.05, abs=0.003)


def test_more_boxes_mean_less_doubt() -> None:
    few, many = (chance_draws(SETS, STEPS, ENDS, boxes=boxes, seed=3)[:, 0].std() for boxes in (5.0, 500.0))

    assert few > 5 * many


def test_no_boxes_are_refused() -> None:
    with pytest.raises(BadInputError, match="boxes"):
        chance_draws(SETS, STEPS, ENDS, boxes=0.0, seed=1)


def test_a_plan_of_nothing_has_one_end() -> None:
    nothing = (PlannedOutcome(1.0, (), (), 0.0, 0.0, repaired=False),)

    assert chance_draws((), (), nothing, boxes=30.0, seed=1) == pytest.approx(np.ones((200, 1)))
