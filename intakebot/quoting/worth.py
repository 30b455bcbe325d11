"""Is it worth repairing? Said before anybody ships anything.

A repair is set against what the device is worth to its owner (their own figure; the shop does not appraise) and against the
limit they gave. The numbers to compare with are the price of the most likely repair and the maximum, both with the chance that
it succeeds. The thresholds are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from intakebot.quoting.money import Money

Verdict = Literal["worth_it", "close", "not_worth_it", "over_limit", "poor_chance", "cannot_say"]

CLOSE_SHARE = 0.6
"""From this share of the device's value on, the expected price is called close (common practice, no source)."""

POOR_CHANCE = 0.2
"""Below this chance of a repair the customer is told so, whatever the price (common practice, no source)."""


@dataclass(frozen=True)
class WorthIt:
    """verdict and the numbers it was taken from. expected: mean price over all ends; likely: price of the usual repair."""

    verdict: Verdict
    likely: Money | None
    maximum: Money
    value: Money | None
    limit: Money | None
    chance: float


def worth_it(
    *,
    likely: Money | None,
    maximum: Money,
    chance: float,
    value: Money | None,
    limit: Money | None,
    can_start: bool,
) -> WorthIt:
    """The verdict, hardest news first.

    Args:
        likely: price of the most likely end with a repair inside the authorised plan; None when no repair is in it.
        chance: probability that the authorised plan repairs it.
    """

    def verdict() -> Verdict:
        if limit is not None and not can_start:
            return "over_limit"
        if chance < POOR_CHANCE or likely is None:
            return "poor_chance"
        if value is None:
            return "worth_it" if limit is not None and likely <= limit else "cannot_say"
        if likely >= value:
            return "not_worth_it"
        return (
            "close"
            if float(likely.amount) > CLOSE_SHARE * float(value.amount) or maximum > value
            else "worth_it"
        )

    return WorthIt(verdict(), likely, maximum, value, limit, chance)
