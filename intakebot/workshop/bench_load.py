"""How busy the bench is, from the shop's own records; the calendar's usual figures until there are enough of them."""

from __future__ import annotations

import statistics
from collections.abc import Mapping, Sequence
from typing import Any

from intakebot.definitions.model import Calendar
from intakebot.packing.bench_queue import Queue

LOOK_BACK_DAYS = 90
WORKING_SHARE = 5 / 7
"""Working days among calendar days when counting arrivals a day (common practice, no source)."""
FEWEST_JOBS = 10
"""Fewer finished jobs than this say too little about the bench (common practice, no source)."""


def bench_queue(calendar: Calendar, lessons: Sequence[Mapping[str, Any]], waiting: int) -> Queue:
    """The bench as a queue, times in working days.

    Args:
        lessons: outcomes of the last LOOK_BACK_DAYS, each with the minutes of its steps.
        waiting: jobs that are here or surely on their way.
    """
    minutes_per_day = calendar.bench_hours_per_day * 60
    jobs = [sum(float(step["minutes"]) for step in lesson["steps"]) for lesson in lessons]
    if len(jobs) < FEWEST_JOBS:
        return Queue(
            calendar.usual_jobs_per_day, calendar.usual_bench_minutes / minutes_per_day,
            calendar.usual_bench_minutes_sd / minutes_per_day, waiting,
        )  # fmt: skip
    mean = max(1.0, statistics.fmean(jobs))
    return Queue(
        len(jobs) / (LOOK_BACK_DAYS * WORKING_SHARE),
        mean / minutes_per_day,
        statistics.stdev(jobs) / minutes_per_day,
        waiting,
    )
