"""The 90 % point holds in 90 % of simulated jobs when the simulator believes what the quote believes, and how it fails when it does not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from intakebot.definitions.model import Part, RateCard
from intakebot.errors import BadInputError
from intakebot.quoting.coverage import (
    THIRTY_PERCENT,
    TRUTH,
    Distortion,
    SimulatedQuote,
    coverage_of,
    coverage_text,
    distorted,
    drawn_plans,
    simulate_coverage,
    simulated_price,
)
from intakebot.quoting.distribution import price_distribution
from intakebot.quoting.outcomes import PlannedOutcome
from intakebot.quoting.tariff import Tariff, Terms, tariff

Cards = Callable[..., RateCard]


def quotes(card: RateCard, parts: dict[str, Part], count: int = 2000) -> tuple[SimulatedQuote, ...]:
    return drawn_plans(tariff(card, parts, Terms()), sorted(parts), count=count, seed=7)


@pytest.fixture(scope="module")
def doubtful(card_with: Cards) -> RateCard:
    return card_with(minutes_doubt=0.15, chances_worth_boxes=30.0)


def test_two_thousand_jobs_fall_below_the_90_percent_point_in_90_percent(
    doubtful: RateCard, parts: dict[str, Part]
) -> None:
    """2 000 jobs: a share of .9 has a standard error of .0067, so +- .02 is three of them."""
    found = simulate_coverage(quotes(doubtful, parts), seed=11)

    assert found.quotes == 2000
    assert found.standard_error == pytest.approx(0.0067, abs=0.0001)
    assert found.p90.fair == pytest.approx(0.9, abs=0.02)
    assert found.p90.ties_above <= found.p90.fair <= found.p90.ties_below
    assert found.p50.fair == pytest.approx(0.5, abs=0.034)  # three standard errors of .0112
    assert found.p10.fair == pytest.approx(0.1, abs=0.02)
    assert found.mean_price == pytest.approx(found.mean_forecast, rel=0.04)


def test_with_one_minute_blocks_hardly_a_price_ties_and_the_plain_share_holds(
    doubtful: RateCard, parts: dict[str, Part]
) -> None:
    """500 jobs: standard error .0134."""
    found = simulate_coverage(quotes(replace(doubtful, block_minutes=1), parts, 500), seed=11)

    assert found.p90.ties_below == pytest.approx(0.9, abs=0.04)
    assert found.p90.ties_above == pytest.approx(0.9, abs=0.04)


def test_the_drawn_forecast_holds_too(doubtful: RateCard, parts: dict[str, Part]) -> None:
    """300 jobs: standard error .0173."""
    found = simulate_coverage(
        quotes(doubtful, parts, 300),
        seed=5,
        forecast=lambda rules, outcomes: price_distribution(rules, parts, outcomes, seed=1).points,
    )

    assert found.p90.fair == pytest.approx(0.9, abs=0.05)


def test_a_world_of_thirty_percent_longer_minutes_breaks_the_promise_and_is_reported(
    doubtful: RateCard, parts: dict[str, Part]
) -> None:
    some = quotes(doubtful, parts, 500)

    told = {
        distortion.name: simulate_coverage(some, seed=11, distortion=distortion)
        for distortion in THIRTY_PERCENT
    }

    assert told["minutes 30 % longer"].p90.fair < 0.87 < 0.93 < told["minutes 30 % shorter"].p90.fair
    assert told["longer and rarer repaired"].p90.fair < told["own parameters"].p90.fair
    assert all(name in coverage_text(list(told.values())) for name in told)


def test_repair_odds_are_multiplied_group_by_group(two_groups: tuple[PlannedOutcome, ...]) -> None:
    """.6 then .3 of .4 (.75 of what is left), odds times 2: 1.5 -> 3 = .75; 3 -> 6 = 6/7 of .25."""
    chances = [outcome.chance for outcome in distorted(two_groups, 2.0)]

    assert chances == pytest.approx([0.75, 0.25 * 6 / 7, 0.25 / 7])
    assert [outcome.chance for outcome in distorted(two_groups, 1.0)] == pytest.approx([0.6, 0.3, 0.1])


def test_without_spread_a_simulated_job_costs_one_of_the_bills(
    card: RateCard, parts: dict[str, Part], two_groups: tuple[PlannedOutcome, ...]
) -> None:
    rng = np.random.default_rng(1)
    rules: Tariff = tariff(card, parts, Terms())

    prices = {simulated_price(SimulatedQuote(rules, two_groups), rng, TRUTH) for _ in range(200)}

    assert prices == {2400, 4320, 13680}  # worked in test_distribution.py


def test_ties_are_counted_fairly_by_hand() -> None:
    """Points 10 (.5) and 20 (.5): the 90 % point is 20. A job of 20 counts (.9 - .5) / .5 = .8; a job of 10 counts 1. Mean .9."""
    found = coverage_of("two", [(((10, 0.5), (20, 0.5)), 10), (((10, 0.5), (20, 0.5)), 20)])

    assert (found.p90.ties_below, found.p90.ties_above, found.p90.fair) == (1.0, 0.5, pytest.approx(0.9))


def test_no_quotes_are_refused() -> None:
    with pytest.raises(BadInputError, match="at least one quote"):
        simulate_coverage((), seed=1)


def test_a_distortion_of_nothing_is_the_truth() -> None:
    assert replace(Distortion("x"), name=TRUTH.name) == TRUTH
    assert Decimal(str(TRUTH.minutes)) == 1
