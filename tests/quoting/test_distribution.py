"""The price distribution, with plans small enough to work by hand (spread 0, no doubt) and laws for the rest."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from intakebot.definitions.model import Part, RateCard
from intakebot.errors import BadInputError
from intakebot.quoting.distribution import (
    NO_DOUBT,
    Doubt,
    PriceDistribution,
    price_distribution,
    quick_points,
    quick_price,
    typical_bill,
    typical_total,
)
from intakebot.quoting.money import Money
from intakebot.quoting.outcomes import PlannedOutcome, PlannedStep, cut_after
from intakebot.quoting.tariff import Tariff, Terms, tariff

Plan = tuple[PlannedOutcome, ...]


@pytest.fixture(scope="module")
def rules(card: RateCard, parts: dict[str, Part]) -> Tariff:
    return tariff(card, parts, Terms())


def pounds(amount: str) -> Money:
    return Money(Decimal(amount), "GBP")


def spread(plan: Plan, sigma: float) -> Plan:
    return tuple(
        replace(outcome, steps=tuple(replace(step, spread=sigma) for step in outcome.steps))
        for outcome in plan
    )


def drawn(
    rules: Tariff, parts: dict[str, Part], plan: Plan, seed: int = 1, doubt: Doubt = NO_DOUBT
) -> PriceDistribution:
    return price_distribution(rules, parts, plan, seed=seed, doubt=doubt)


# Worked by hand. Clean only: 35 min -> 3 blocks 36.00, tax 7.20: 43.20, chance .6. Clean and swap: 100 min -> 7 blocks 84.00, pickup
# 30.00, tax 22.80: 136.80, chance .3. Neither: fee 20.00, tax 4.00: 24.00, chance .1.
POINTS = ((2400, 0.1), (4320, 0.6), (13680, 0.3))


def test_without_spread_the_points_are_the_bills_of_the_outcomes(rules: Tariff, two_groups: Plan) -> None:
    points = quick_points(rules, two_groups, NO_DOUBT)

    assert [price for price, _ in points] == [price for price, _ in POINTS]
    assert [chance for _, chance in points] == pytest.approx([chance for _, chance in POINTS])


def test_percentiles_mean_and_spread_by_hand(rules: Tariff, two_groups: Plan) -> None:
    quick = quick_price(rules, two_groups, NO_DOUBT)

    # mean .1*24 + .6*43.2 + .3*136.8 = 69.36; variance .1*45.36^2 + .6*26.16^2 + .3*67.44^2 = 1980.81; sd 44.506
    assert (quick.p10, quick.p50, quick.p90) == (24.0, 43.2, 136.8)
    assert quick.mean == pytest.approx(69.36)
    assert quick.sd == pytest.approx(math.sqrt(0.1 * 45.36**2 + 0.6 * 26.16**2 + 0.3 * 67.44**2))


def test_drawing_agrees_with_the_hand_worked_points(
    rules: Tariff, parts: dict[str, Part], two_groups: Plan
) -> None:
    full = drawn(rules, parts, two_groups)

    assert [price for price, _ in full.points] == [price for price, _ in POINTS]
    assert [chance for _, chance in full.points] == pytest.approx([chance for _, chance in POINTS])
    assert (full.percentile(10), full.percentile(50), full.percentile(90)) == (
        pounds("24.00"), pounds("43.20"), pounds("136.80"),
    )  # fmt: skip
    assert full.expected == pytest.approx(69.36)
    assert full.chance_above(pounds("43.20")) == pytest.approx(0.3)


def test_chance_above_a_limit(rules: Tariff, parts: dict[str, Part], two_groups: Plan) -> None:
    full = drawn(rules, parts, two_groups)

    assert full.chance_above(pounds("43.19")) == pytest.approx(0.9)
    assert full.chance_above(pounds("136.80")) == 0


def test_capped_prices_keep_their_probability(
    rules: Tariff, parts: dict[str, Part], two_groups: Plan
) -> None:
    capped = drawn(rules, parts, two_groups).capped(pounds("40.00"))

    assert [price for price, _ in capped.points] == [2400, 4000]
    assert [chance for _, chance in capped.points] == pytest.approx([0.1, 0.9])


def test_log_normal_minutes_cut_at_the_blocks(rules: Tariff, two_groups: Plan) -> None:
    """One step of median 20 min, sigma .5, after 25 fixed min. 3 blocks end 20 min after them: the median, so chance one half."""
    only = (replace(two_groups[0], chance=1.0, steps=(PlannedStep("clean", "clean", 20.0, 0.5),)),)

    points = dict(quick_points(rules, only, NO_DOUBT))

    # P(T <= 5) = Phi(ln(5/20)/.5) = Phi(-2.7726) = .002780; P(T <= 20) = .5; P(T <= 35) = Phi(1.1192) = .868478
    at_2, at_3, at_4 = (
        points[price] for price in (2880, 4320, 5760)
    )  # 2, 3, 4 blocks of 12.00 with 20 % tax
    assert at_2 == pytest.approx(0.002780, abs=2e-6)
    assert at_2 + at_3 == pytest.approx(0.5, abs=1e-9)
    assert at_2 + at_3 + at_4 == pytest.approx(0.868478, abs=2e-6)


def test_quick_and_drawn_agree_when_minutes_spread(
    rules: Tariff, parts: dict[str, Part], two_groups: Plan
) -> None:
    plan = spread(two_groups, 0.4)
    doubt = Doubt(0.15, math.inf)

    quick = quick_price(rules, plan, doubt)
    full = drawn(rules, parts, plan, doubt=doubt)

    # 10 000 jobs an outcome: standard error of the mean below 1 %
    assert full.expected == pytest.approx(quick.mean, rel=0.02)
    assert full.sd == pytest.approx(quick.sd, rel=0.05)


def test_doubt_about_minutes_widens_the_price_of_a_single_outcome(
    rules: Tariff, parts: dict[str, Part], two_groups: Plan
) -> None:
    """Sigma .3 of the step and .4 of the shop's medians add up to .5 (.09 + .16 = .25); the quick way says the same."""
    swap = PlannedStep("swap", "swap", 100.0, 0.3)
    only = (PlannedOutcome(1.0, (swap,), ("swap",), 0.0, 0.0, repaired=True),)
    alone = (PlannedOutcome(1.0, (replace(swap, spread=0.5),), ("swap",), 0.0, 0.0, repaired=True),)
    doubt = Doubt(0.4, math.inf)

    full = drawn(rules, parts, only, doubt=doubt)

    assert full.sd > 1.4 * drawn(rules, parts, only).sd
    assert full.sd == pytest.approx(quick_price(rules, alone, NO_DOUBT).sd, rel=0.12)
    assert quick_price(rules, only, doubt).sd == pytest.approx(
        quick_price(rules, alone, NO_DOUBT).sd, rel=0.01
    )


def test_same_seed_same_numbers_and_another_seed_others(
    rules: Tariff, parts: dict[str, Part], two_groups: Plan
) -> None:
    plan = spread(two_groups, 0.4)

    first, again, other = (
        price_distribution(rules, parts, plan, seed=seed, doubt=Doubt()) for seed in (5, 5, 6)
    )

    assert first == again
    assert first.points != other.points


def test_doubt_widens_the_price_but_keeps_its_middle(
    rules: Tariff, parts: dict[str, Part], two_groups: Plan
) -> None:
    plan = spread(two_groups, 0.3)

    sure, unsure = drawn(rules, parts, plan), drawn(rules, parts, plan, doubt=Doubt(0.4, 10.0))

    assert unsure.band[1] - unsure.band[0] > sure.band[1] - sure.band[0]
    assert unsure.expected == pytest.approx(sure.expected, rel=0.1)


def test_chances_drawn_by_triage_replace_the_plan_s(
    rules: Tariff, parts: dict[str, Part], two_groups: Plan
) -> None:
    draws = np.array([[1.0, 0.0, 0.0], [0.0, 0.6, 0.4]])

    full = price_distribution(rules, parts, two_groups, seed=1, doubt=NO_DOUBT, chance_draws=draws)

    # half the worlds always end after cleaning; the other half never: the swap helps in six of ten
    assert [price for price, _ in full.points] == [2400, 4320, 13680]
    assert [chance for _, chance in full.points] == pytest.approx([0.2, 0.5, 0.3])
    assert full.band == (pounds("43.20"), pounds("136.80"))


def test_draws_of_another_plan_are_refused(rules: Tariff, parts: dict[str, Part], two_groups: Plan) -> None:
    with pytest.raises(BadInputError, match="away from the plan"):
        price_distribution(rules, parts, two_groups, seed=1, chance_draws=np.array([[0.0, 0.0, 1.0]]))


def test_draws_of_another_shape_are_refused(rules: Tariff, parts: dict[str, Part], two_groups: Plan) -> None:
    with pytest.raises(BadInputError, match="chance_draws"):
        price_distribution(rules, parts, two_groups, seed=1, chance_draws=np.ones((4, 2)))


def test_typical_total_is_the_total_of_the_typical_bill(
    rules: Tariff, parts: dict[str, Part], two_groups: Plan
) -> None:
    for outcome in two_groups:
        assert typical_bill(rules, parts, outcome).total.minor == typical_total(rules, outcome)


def test_flat_prices_leave_no_spread(
    card_with: Callable[..., RateCard], parts: dict[str, Part], two_groups: Plan
) -> None:
    flat = {"clean": Decimal("30.00"), "swap": Decimal("60.00")}
    rules = tariff(card_with(labour_mode="flat_by_step", flat_step_prices=flat), parts, Terms())

    points = quick_points(rules, spread(two_groups, 0.5), Doubt())

    # 30.00 + 20 %; 30 + 60 + pickup 30, + 20 %; fee 20 + 20 %
    assert [price for price, _ in points] == [2400, 3600, 14400]


@pytest.mark.parametrize(
    "change",
    [
        {"chance": -0.2},
        {"chance": float("nan")},
        {"chance": 0.9},
        {"access_minutes": -1.0},
        {"tested": ("never done",)},
        {"repaired": False},
        {"steps": (PlannedStep("clean", "clean", -3.0, 0.1),)},
    ],
    ids=["negative", "nan", "sum", "minutes", "tested", "order", "step minutes"],
)
def test_outcomes_that_are_no_distribution_are_refused(
    rules: Tariff, two_groups: Plan, change: dict[str, object]
) -> None:
    broken = (replace(two_groups[0], **change), *two_groups[1:])  # type: ignore[arg-type]

    with pytest.raises(BadInputError, match="outcomes"):
        quick_price(rules, broken)


def test_no_outcomes_are_refused(rules: Tariff) -> None:
    with pytest.raises(BadInputError, match="at least one way"):
        quick_price(rules, ())


def test_a_cut_plan_moves_the_rest_to_the_end_without_a_repair(two_groups: Plan) -> None:
    cut = cut_after(two_groups, 1)

    assert [(round(outcome.chance, 9), outcome.repaired) for outcome in cut] == [(0.6, True), (0.4, False)]
    assert cut[1].steps == two_groups[0].steps
    assert cut_after(two_groups, 2) == two_groups
    assert [outcome.steps for outcome in cut_after(two_groups, 0)] == [()]


def test_quick_price_is_quick_enough_for_a_turn(rules: Tariff, two_groups: Plan) -> None:
    """Budget 2 ms; the best of many runs counts, because test machines are shared."""
    plan = spread(two_groups, 0.4)

    def seconds() -> float:
        started = time.perf_counter()
        quick_price(rules, plan)
        return time.perf_counter() - started

    assert min(seconds() for _ in range(50)) < 0.002
