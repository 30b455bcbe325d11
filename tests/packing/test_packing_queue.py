"""One bench as a queue: published formulas, a gamma reference, and a seeded simulation of the promise."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from intakebot.errors import BadInputError
from intakebot.packing.bench_queue import (
    NoPromise,
    Queue,
    Turnaround,
    backlog_time,
    mean_jobs,
    mean_time,
    mean_wait,
    time_variance,
    turnaround,
    usual_time,
)
from intakebot.packing.gamma import gamma_cdf, gamma_quantile

MM1 = Queue(
    arrivals_per_day=0.8, mean_bench_days=1.0, sd_bench_days=1.0
)  # mean gap 1.25, exponential service of mean 1
MD1 = Queue(arrivals_per_day=0.8, mean_bench_days=1.0, sd_bench_days=0.0)
SHOP = Queue(arrivals_per_day=2.0, mean_bench_days=0.4, sd_bench_days=0.3)


def test_mm1_worked_exercise() -> None:
    # Source: worked exercise solution, gap 1.25, service 1: rho .8, L 4, W 5, Wq 4, Lq 3.2
    found = (MM1.load, mean_jobs(MM1), mean_time(MM1), mean_wait(MM1), MM1.arrivals_per_day * mean_wait(MM1))

    assert tuple(round(value, 9) for value in found) == (0.8, 4, 5, 4, 3.2)


def test_md1_waits_half_as_long() -> None:
    # Pollaczek-Khinchine: rho tau / (2 (1 - rho)) * (1 + 0) = .8 / .4 = 2
    found = (mean_wait(MD1), mean_time(MD1), MD1.arrivals_per_day * mean_wait(MD1))

    assert tuple(round(value, 9) for value in found) == (2, 3, 1.6)


def test_mg1_shop_example() -> None:
    # rho .8; Wq = .8 * .4 / .4 * (1 + .09/.16) = .8 * 1.5625 = 1.25; W 1.65; L = 2 * 1.65 = 3.3
    found = (SHOP.load, mean_wait(SHOP), mean_time(SHOP), mean_jobs(SHOP))

    assert tuple(round(value, 9) for value in found) == (0.8, 1.25, 1.65, 3.3)


def test_time_in_an_mm1_system_is_exponential() -> None:
    # W exponential with mean 5: variance 25; 90 % point 5 ln 10 = 11.51; 95 % 5 ln 20 = 14.98
    assert math.isclose(time_variance(MM1), 25)
    assert (round(usual_time(MM1, 90), 2), round(usual_time(MM1, 95), 2)) == (11.51, 14.98)


def test_the_promise_is_a_percentile_in_whole_days_never_the_mean() -> None:
    assert turnaround(MM1, 90) == Turnaround(12, 90, 0.8, 4.000000000000001, "usual")
    assert mean_time(MM1) == pytest.approx(5)


@pytest.mark.parametrize("arrivals", [2.5, 2.6, 100])
def test_a_bench_that_cannot_keep_up_promises_nothing(arrivals: float) -> None:
    # rho = 2.5 * .4 = 1: no steady state
    full = Queue(arrivals, 0.4, 0.3)

    assert turnaround(full, 90) == NoPromise("overloaded", full.load)
    with pytest.raises(BadInputError, match="load"):
        mean_wait(full)


def test_an_unknown_bench_promises_nothing() -> None:
    assert turnaround(None, 90) == NoPromise("not_known")


def test_jobs_waiting_now_lengthen_the_promise() -> None:
    # 20 jobs ahead and this one: mean 21 * .4 = 8.4 days, sd .3 * sqrt(21) = 1.37; 90 % point about 10.2 -> 11 days
    busy = Queue(2.0, 0.4, 0.3, waiting_jobs=20)
    promise = turnaround(busy, 90)

    assert isinstance(promise, Turnaround)
    assert (promise.days, promise.because) == (11, "now")
    assert math.isclose(
        backlog_time(busy, 90), stats.gamma.ppf(0.9, 8.4**2 / 1.89, scale=1.89 / 8.4), rel_tol=1e-9
    )


def test_an_idle_bench_promises_at_least_a_day() -> None:
    promise = turnaround(Queue(0.0, 0.1, 0.0), 90)

    assert isinstance(promise, Turnaround)
    assert promise.days == 1


@pytest.mark.parametrize("percentile", [0, 49, 100])
def test_only_sensible_percentiles_are_promised(percentile: int) -> None:
    with pytest.raises(BadInputError, match="percentile"):
        turnaround(SHOP, percentile)


@pytest.mark.parametrize(
    "values", [(-1, 0.4, 0.3), (2, 0, 0.3), (2, 0.4, -0.1), (math.nan, 0.4, 0.3), (2, math.inf, 0.3)]
)
def test_absurd_queues_are_refused(values: tuple[float, float, float]) -> None:
    with pytest.raises(BadInputError):
        Queue(*values)


def test_a_negative_number_of_waiting_jobs_is_refused() -> None:
    with pytest.raises(BadInputError, match="waiting_jobs"):
        Queue(2, 0.4, 0.3, -1)


@given(st.floats(0.05, 60), st.floats(0.0, 100))
def test_gamma_distribution_agrees_with_the_reference_library(shape: float, x: float) -> None:
    assert math.isclose(gamma_cdf(x, shape), float(stats.gamma.cdf(x, shape)), abs_tol=1e-10)


@given(st.floats(0.5, 0.995), st.floats(0.1, 50), st.floats(0.01, 200))
def test_gamma_quantile_agrees_with_the_reference_library(
    chance: float, mean: float, variance: float
) -> None:
    expected = float(stats.gamma.ppf(chance, mean**2 / variance, scale=variance / mean))

    assert math.isclose(gamma_quantile(chance, mean, variance), expected, rel_tol=1e-7, abs_tol=1e-9)


@pytest.mark.parametrize(("chance", "mean", "variance"), [(0, 1, 1), (1, 1, 1), (0.5, 0, 1), (0.5, 1, -1)])
def test_gamma_quantile_refuses_what_has_none(chance: float, mean: float, variance: float) -> None:
    with pytest.raises(ValueError, match="not a gamma quantile"):
        gamma_quantile(chance, mean, variance)


@settings(max_examples=50)
@given(st.floats(0.1, 2.4), st.floats(0.1, 2.4))
def test_more_arrivals_never_shorten_the_promise(one: float, other: float) -> None:
    low, high = sorted((one, other))

    assert usual_time(Queue(low, 0.4, 0.3), 90) <= usual_time(Queue(high, 0.4, 0.3), 90) + 1e-9


def simulated_times(queue: Queue, jobs: int, seed: int) -> np.ndarray:
    """Times in the system of a first-come-first-served bench (Lindley's recursion as a reflected walk), gamma service."""
    generator = np.random.default_rng(seed)
    gaps = generator.exponential(1 / queue.arrivals_per_day, jobs)
    shape, scale = (
        (queue.mean_bench_days / queue.sd_bench_days) ** 2,
        queue.sd_bench_days**2 / queue.mean_bench_days,
    )
    work = generator.gamma(shape, scale, jobs)
    walk = np.concatenate(([0.0], np.cumsum(work[:-1] - gaps[1:])))
    waits = walk - np.minimum.accumulate(walk)
    return waits + work


@pytest.mark.parametrize("queue", [SHOP, Queue(1.5, 0.4, 0.3), Queue(2.2, 0.4, 0.5), Queue(0.8, 1.0, 0.4)])
def test_the_promised_percentile_holds_in_a_simulation(queue: Queue) -> None:
    """90 % of simulated jobs are done within the 90 % point, give or take 1 %: the gamma form is a good enough fit."""
    times = simulated_times(queue, 2_000_000, seed=20261125)
    covered = float(np.mean(times <= usual_time(queue, 90)))

    assert abs(covered - 0.90) <= 0.01
    assert abs(float(np.mean(times)) / mean_time(queue) - 1) < 0.03
