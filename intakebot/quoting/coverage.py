"""Does the price range keep its word? Simulated jobs against their own quotes.

For each quote one job is simulated: an end of the plan is drawn, the minutes of its steps, and the shop's common error in minutes;
the bill for that job is compared with the quote's 10, 50 and 90 % points. Told the truth about its parameters, the share of jobs
at or below the 90 % point must be near 90 %. `Distortion` makes the simulator differ from what the quote believed; the loss of
coverage is then the honest answer to "what if our numbers are wrong?".

Prices come in lumps (started blocks, fixed fees), so many jobs cost *exactly* the 90 % point. Counting those as below makes the share
too large, counting them as above too small. `Share.fair` counts a tie with the chance that makes the forecast's own probability exact
(the randomised probability integral transform), without drawing; that is the figure to hold against 90 %.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from intakebot.errors import BadInputError
from intakebot.quoting.charging import billed_minutes, blocks_started, settle
from intakebot.quoting.distribution import Doubt, mean_of, priced_outcome, quantile, quick_points
from intakebot.quoting.outcomes import PlannedOutcome, PlannedStep, checked
from intakebot.quoting.tariff import Tariff

Points = Sequence[tuple[int, float]]
Forecast = Callable[[Tariff, Sequence[PlannedOutcome]], Points]


@dataclass(frozen=True)
class SimulatedQuote:
    """A quote's tariff and the ends of its plan."""

    rules: Tariff
    outcomes: tuple[PlannedOutcome, ...]


@dataclass(frozen=True)
class Distortion:
    """How the simulated world differs from the quote's beliefs: factors on all hands-on minutes and on the odds that a group repairs."""

    name: str
    minutes: float = 1.0
    repair_odds: float = 1.0


TRUTH = Distortion("own parameters")
THIRTY_PERCENT = (
    TRUTH,
    Distortion("minutes 30 % longer", minutes=1.3),
    Distortion("minutes 30 % shorter", minutes=0.7),
    Distortion("repair odds 30 % lower", repair_odds=0.7),
    Distortion("repair odds 30 % higher", repair_odds=1.3),
    Distortion("longer and rarer repaired", minutes=1.3, repair_odds=0.7),
    Distortion("longer and oftener repaired", minutes=1.3, repair_odds=1.3),
)


@dataclass(frozen=True)
class Share:
    """Share of jobs at or below a point: ties counted as below, as above, and fairly."""

    ties_below: float
    ties_above: float
    fair: float


@dataclass(frozen=True)
class Coverage:
    """Outcome of a simulation. standard_error: of a share of .9 over so many quotes."""

    distortion: str
    quotes: int
    p10: Share
    p50: Share
    p90: Share
    mean_forecast: float
    mean_price: float
    standard_error: float


def simulate_coverage(
    quotes: Iterable[SimulatedQuote],
    *,
    seed: int,
    distortion: Distortion = TRUTH,
    forecast: Forecast = quick_points,
    doubt: Doubt | None = None,
) -> Coverage:
    """One simulated job a quote.

    Args:
        forecast: what the quote believes, as price points; `quick_points`, or the drawn distribution's points.
        doubt: the shop's common error in minutes as simulated; the rate card's own when None.
    Raises: BadInputError without quotes.
    """
    rng = np.random.default_rng(seed)
    pairs = [
        (forecast(quote.rules, quote.outcomes), simulated_price(quote, rng, distortion, doubt))
        for quote in quotes
    ]
    return coverage_of(distortion.name, pairs)


def coverage_of(name: str, pairs: Sequence[tuple[Points, int]]) -> Coverage:
    """Coverage of forecasts by the prices that came true, as (points, price in minor units).

    Raises: BadInputError without pairs.
    """
    if not pairs:
        raise BadInputError("quotes", 0, "at least one quote")
    tallies = [
        (
            *_tally(points, price, 0.1),
            *_tally(points, price, 0.5),
            *_tally(points, price, 0.9),
            mean_of(points),
            price,
        )
        for points, price in pairs
    ]
    means = np.array(tallies).mean(axis=0)
    p10, p50, p90 = (Share(*map(float, means[i : i + 3])) for i in (0, 3, 6))
    error = math.sqrt(0.9 * 0.1 / len(tallies))
    return Coverage(name, len(tallies), p10, p50, p90, float(means[9]), float(means[10]), error)


def _tally(points: Points, price: int, share: float) -> tuple[float, float, float]:
    """(at or below, strictly below, fair) for one job and the point of a share."""
    point = quantile(points, share)
    if price != point:
        below = float(price < point)
        return below, below, below
    under = sum(chance for x, chance in points if x < point)
    at = sum(chance for x, chance in points if x == point)
    return 1.0, 0.0, min(1.0, max(0.0, (share - under) / at))


def simulated_price(
    quote: SimulatedQuote,
    rng: np.random.Generator,
    distortion: Distortion = TRUTH,
    doubt: Doubt | None = None,
) -> int:
    """The bill of one simulated job in minor units, not capped: what it would truly cost."""
    outcomes = distorted(checked(quote.outcomes), distortion.repair_odds)
    chosen = outcomes[int(rng.choice(len(outcomes), p=[outcome.chance for outcome in outcomes]))]
    trust = Doubt.of(quote.rules.card) if doubt is None else doubt
    common = math.exp(trust.minutes * rng.standard_normal()) * distortion.minutes
    return price_of_end(quote.rules, chosen, rng, common)


def price_of_end(rules: Tariff, end: PlannedOutcome, rng: np.random.Generator, common: float = 1.0) -> int:
    """The bill of a job that ended so, with drawn minutes times a common factor."""
    card = rules.card
    pairs = [
        (step.step_id, step.minutes * common * math.exp(step.spread * rng.standard_normal()))
        for step in end.steps
    ]
    minutes = billed_minutes(card, pairs, end.access_minutes + end.test_minutes)
    return settle(rules, priced_outcome(rules, end).what, blocks_started(minutes, card.block_minutes)).total


def distorted(outcomes: Sequence[PlannedOutcome], repair_odds: float) -> tuple[PlannedOutcome, ...]:
    """The plan's ends when each group's odds to repair what is left are multiplied."""
    left, believed_left = 1.0, 1.0
    changed: list[PlannedOutcome] = []
    for outcome in outcomes:
        if not outcome.repaired:
            changed.append(replace(outcome, chance=left))
            return tuple(changed)
        share = min(1.0, outcome.chance / believed_left) if believed_left > 0 else 0.0
        share = share * repair_odds / (1 - share + share * repair_odds)
        changed.append(replace(outcome, chance=left * share))
        believed_left -= outcome.chance
        left *= 1 - share
    total = sum(outcome.chance for outcome in changed)
    return tuple(replace(outcome, chance=outcome.chance / total) for outcome in changed)


def drawn_plans(
    rules: Tariff, part_ids: Sequence[str], *, count: int, seed: int
) -> tuple[SimulatedQuote, ...]:
    """Plans drawn at random in the shape of this trade (one to five groups, 5 to 60 minutes a step, a spread of .2 to .5).

    The ranges are common practice, no source.
    """
    rng = np.random.default_rng(seed)
    return tuple(SimulatedQuote(rules, _drawn_plan(rng, part_ids)) for _ in range(count))


def _drawn_plan(rng: np.random.Generator, part_ids: Sequence[str]) -> tuple[PlannedOutcome, ...]:
    steps: tuple[PlannedStep, ...] = ()
    outcomes: list[PlannedOutcome] = []
    access, left = 10.0, 1.0
    for group in range(int(rng.integers(1, 6))):
        added = tuple(
            _drawn_step(rng, f"g{group}s{number}", part_ids) for number in range(int(rng.integers(1, 4)))
        )
        steps, access = steps + added, access + float(rng.uniform(0, 25))
        chance = left * float(rng.uniform(0.2, 0.8))
        left -= chance
        tested = tuple(step.plan_id for step in added)
        outcomes.append(PlannedOutcome(chance, steps, tested, access, 4.0 * (group + 1), repaired=True))
    outcomes.append(replace(outcomes[-1], chance=left, repaired=False))
    return tuple(outcomes)


def _drawn_step(rng: np.random.Generator, plan_id: str, part_ids: Sequence[str]) -> PlannedStep:
    minutes = float(np.exp(rng.uniform(math.log(5), math.log(60))))
    parts = (str(rng.choice(list(part_ids))),) if part_ids and rng.random() < 0.3 else ()
    return PlannedStep(plan_id, plan_id, minutes, float(rng.uniform(0.2, 0.5)), parts)


def coverage_text(results: Sequence[Coverage]) -> str:
    """A small table for the terminal; shares in percent, prices in minor units."""
    lines = [
        f"{'simulated world':30} quotes  p10    p50    p90    p90 ties below/above   mean forecast / price"
    ]
    for each in results:
        lines.append(
            f"{each.distortion:30} {each.quotes:6d} {each.p10.fair:5.1%}  {each.p50.fair:5.1%}  {each.p90.fair:5.1%}  "
            f"{each.p90.ties_below:.1%} / {each.p90.ties_above:.1%}        {each.mean_forecast:.0f} / {each.mean_price:.0f}"
        )
    return "\n".join(lines)
