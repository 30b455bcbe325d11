"""Is it worth repairing? Said before anybody ships anything.

A repair is set against what the device is worth to its owner (their own figure; the shop does not appraise) and against the limit
they gave. What is paid on average over all ends is compared with what is gained on average: the chance of a repair times the value.
With a certain repair that is simply price against value. The thresholds are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from intakebot.quoting.money import Money

Verdict = Literal["worth_it", "close", "not_worth_it", "over_limit", "poor_chance", "cannot_say"]

CLOSE_SHARE = 0.6
"""From this share of the expected gain on, the expected price is called close (common practice, no source)."""

CLOSE_DECIMAL = Decimal(str(CLOSE_SHARE))

POOR_CHANCE = 0.2
"""Below this chance of a repair the customer is told so, whatever the price (common practice, no source)."""


@dataclass(frozen=True)
class WorthIt:
    """verdict and the numbers it was taken from. likely: price of the usual repair; expected: mean price over all ends."""

    verdict: Verdict
    likely: Money | None
    expected: Money
    maximum: Money
    value: Money | None
    limit: Money | None
    chance: float


def worth_it(
    *,
    likely: Money | None,
    expected: Money,
    maximum: Money,
    chance: float,
    value: Money | None,
    limit: Money | None,
    can_start: bool,
) -> WorthIt:
    """The verdict, hardest news first.

    Args:
        likely: price of the most likely end with a repair inside the authorised plan; None when no repair is in it.
        expected: mean of what is paid over all ends of it.
        chance: probability that the authorised plan repairs it.
    """
    verdict = _verdict(likely, expected, maximum, chance, value, limit, can_start)
    return WorthIt(verdict, likely, expected, maximum, value, limit, chance)


def _verdict(
    likely: Money | None,
    expected: Money,
    maximum: Money,
    chance: float,
    value: Money | None,
    limit: Money | None,
    can_start: bool,
) -> Verdict:
    if limit is not None and not can_start:
        return "over_limit"
    if chance < POOR_CHANCE or likely is None:
        return "poor_chance"
    if value is None:
        return "worth_it" if limit is not None and likely <= limit else "cannot_say"
    gain, cost = chance * float(value.amount), float(expected.amount)
    if likely >= value or cost >= gain:
        return "not_worth_it"
    return (
        "close" if cost > CLOSE_SHARE * gain or likely.amount > CLOSE_DECIMAL * value.amount else "worth_it"
    )
