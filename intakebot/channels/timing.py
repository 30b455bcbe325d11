"""When something may be sent and when it is tried again. Pure."""

from __future__ import annotations

import random
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from intakebot.definitions import Definitions
from intakebot.packing.dates import is_working_day

SCHEDULE_S = (0, 5, 300, 1800, 7200, 18_000, 36_000, 50_400, 72_000, 86_400)
"""Waits before each try: at once, 5 s, 5 min, 30 min, 2 h, 5 h, 10 h, 14 h, 20 h, 24 h (about 75.6 h in all).

Source: Standard Webhooks 1.0, retry schedule."""
JITTER = 0.1
NUDGE_FROM, NUDGE_UNTIL = time(9), time(20)
"""Nudges only between these hours of the shop's zone, on its working days. common practice, no source."""


def next_try(
    tries: int, now: datetime, retry_after_s: int | None, randomness: random.Random
) -> datetime | None:
    """When to try again after `tries` tries; None when it is time to give up.

    The wait is the schedule's, up to a tenth longer (so that many do not come back at one moment), and never shorter
    than what the receiver asked for.
    """
    if tries >= len(SCHEDULE_S):
        return None
    wait_s = SCHEDULE_S[tries] * (1 + JITTER * randomness.random())
    return now + timedelta(seconds=max(wait_s, retry_after_s or 0))


def nudge_time(definitions: Definitions, now: datetime) -> datetime:
    """The first moment from `now` on at which a nudge may be sent."""
    zone = ZoneInfo(definitions.pricing.shop.timezone)
    local = now.astimezone(zone)
    for days in range(60):
        day = local.date() + timedelta(days=days)
        if not is_working_day(definitions.pricing.calendar, day):
            continue
        opens = datetime.combine(day, NUDGE_FROM, zone)
        closes = datetime.combine(day, NUDGE_UNTIL, zone)
        if local < closes:
            return max(local, opens).astimezone(now.tzinfo)
    return now + timedelta(days=60)
