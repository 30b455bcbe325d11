"""When will it be done? One bench, boxes arriving at random: a queue.

With arrivals at rate lambda (Poisson) and service time S (bench days for one job), the load is rho = lambda E[S].
Pollaczek-Khinchine: mean wait Wq = lambda E[S^2] / (2 (1 - rho)) = rho tau / (2 (1 - rho)) (1 + var/tau^2).
Takacs: Var(Wq) = Wq^2 + lambda E[S^3] / (3 (1 - rho)). A mean would be broken half of the time or more, so what is
promised is a percentile of the time in the system W = Wq + S, taken from the gamma distribution with W's mean and
variance (exact for exponential service, where W is exponential). S is gamma too, so E[S^3] follows from its mean and
variance. If the jobs waiting *now* already need longer than that, their percentile is promised instead.
At rho >= 1 the queue grows without end: no date is promised.
Cautions (common practice): boxes arrive in batches, and waiting for parts is not bench time; both make it longer.
Source: Cooper, Introduction to Queueing Theory, 2nd ed. 1981, p. 189 (as quoted); Takacs recurrence from memory,
checked against the exponential case.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

from intakebot.errors import BadInputError
from intakebot.packing.gamma import gamma_quantile


@dataclass(frozen=True)
class Queue:
    """The bench as seen now, times in working days.

    arrivals_per_day: jobs a working day. mean_bench_days, sd_bench_days: bench time of one job. waiting_jobs: jobs that
    are in the shop or surely on their way ahead of this one.
    """

    arrivals_per_day: float
    mean_bench_days: float
    sd_bench_days: float
    waiting_jobs: int = 0

    def __post_init__(self) -> None:
        for where, value, least in (
            ("arrivals_per_day", self.arrivals_per_day, 0.0),
            ("mean_bench_days", self.mean_bench_days, 1e-6),
            ("sd_bench_days", self.sd_bench_days, 0.0),
            ("waiting_jobs", float(self.waiting_jobs), 0.0),
        ):
            if not (math.isfinite(value) and least <= value <= 100_000):
                raise BadInputError(where, value, f"a number from {least:g}")

    @property
    def load(self) -> float:
        """rho: share of the time the bench is busy."""
        return self.arrivals_per_day * self.mean_bench_days

    @property
    def is_stable(self) -> bool:
        return self.load < 1


@dataclass(frozen=True)
class Turnaround:
    """A promise in whole working days from arrival to ready. because: `usual` load, or the jobs waiting `now`."""

    days: int
    percentile: int
    load: float
    mean_wait_days: float
    because: Literal["usual", "now"]

    def to_mapping(self) -> dict[str, Any]:
        return {
            "working_days": self.days,
            "percentile": self.percentile,
            "load": round(self.load, 3),
            "mean_wait_days": round(self.mean_wait_days, 2),
            "because": self.because,
        }


@dataclass(frozen=True)
class NoPromise:
    """No date can be promised, and why."""

    reason: Literal["overloaded", "not_known"]
    load: float | None = None

    def to_mapping(self) -> dict[str, Any]:
        return {"working_days": None, "reason": self.reason}


def mean_wait(queue: Queue) -> float:
    """Wq in working days (Pollaczek-Khinchine). Raises: BadInputError at a load of 1 or more."""
    _require_stable(queue)
    second_moment = queue.mean_bench_days**2 + queue.sd_bench_days**2
    return queue.arrivals_per_day * second_moment / (2 * (1 - queue.load))


def mean_time(queue: Queue) -> float:
    """W = Wq + mean bench time."""
    return mean_wait(queue) + queue.mean_bench_days


def mean_jobs(queue: Queue) -> float:
    """L = lambda W (Little)."""
    return queue.arrivals_per_day * mean_time(queue)


def time_variance(queue: Queue) -> float:
    """Var(W) = Wq^2 + lambda E[S^3] / (3 (1 - rho)) + Var(S), with gamma-distributed S."""
    wait = mean_wait(queue)
    mean, variance = queue.mean_bench_days, queue.sd_bench_days**2
    # gamma with mean m, variance v: E[S^3] = m^3 + 3 m v + 2 v^2 / m
    third_moment = mean**3 + 3 * mean * variance + 2 * variance**2 / mean
    return wait**2 + queue.arrivals_per_day * third_moment / (3 * (1 - queue.load)) + variance


def usual_time(queue: Queue, percentile: int) -> float:
    """Percentile of the time in the system in the long run, in working days."""
    return gamma_quantile(percentile / 100, mean_time(queue), time_variance(queue))


def backlog_time(queue: Queue, percentile: int) -> float:
    """Percentile of the bench time of the jobs waiting now and this one: a sum of waiting_jobs + 1 gammas."""
    jobs = queue.waiting_jobs + 1
    return gamma_quantile(percentile / 100, jobs * queue.mean_bench_days, jobs * queue.sd_bench_days**2)


def turnaround(queue: Queue | None, percentile: int) -> Turnaround | NoPromise:
    """Working days promised from arrival to ready, or why none can be.

    Args:
        queue: None when nothing is known about the bench yet.
        percentile: 50 to 99; the share of jobs that should be ready by then.
    """
    if not 50 <= percentile <= 99:
        raise BadInputError("percentile", percentile, "a whole number from 50 to 99")
    if queue is None:
        return NoPromise("not_known")
    if not queue.is_stable:
        return NoPromise("overloaded", queue.load)
    usual, now = usual_time(queue, percentile), backlog_time(queue, percentile)
    return Turnaround(
        days=max(1, math.ceil(round(max(usual, now), 9))),
        percentile=percentile,
        load=queue.load,
        mean_wait_days=mean_wait(queue),
        because="usual" if usual >= now else "now",
    )


def _require_stable(queue: Queue) -> None:
    if not queue.is_stable:
        raise BadInputError(
            "load", round(queue.load, 3), "less than 1: the bench cannot keep up, no steady state"
        )
