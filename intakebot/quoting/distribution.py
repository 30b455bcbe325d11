"""The price as a distribution, not a number.

Three sources of spread are kept apart: *which outcome* (chances of the plan), *how long each step takes* (log-normal round
its median, `spread` = sigma of ln minutes), and *how well the shop knows both* (`Doubt`). Two ways to the same numbers:

- `quick_price`, for every turn: no drawing. The minutes of an outcome are one log-normal with the mean and variance of the sum
  (Fenton 1960; from memory), cut at the billing blocks; prices come from a table of started blocks.
- `price_distribution`, for the written estimate: seeded draws. Each draw of the parameters gives new chances (Dirichlet round the
  plan's, or draws handed in) and one factor on all hands-on minutes; inside it minutes are drawn step by step.

Prices are whole minor units throughout, worked by the same `settle` as the bill, so a percentile is always a price that a bill can have.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from intakebot.definitions.model import Part, RateCard
from intakebot.errors import BadInputError
from intakebot.quoting.charging import (
    Bill,
    Billable,
    StepDone,
    Work,
    billable,
    billed_minutes,
    blocks_started,
    charge_by,
    settle,
)
from intakebot.quoting.money import Money
from intakebot.quoting.outcomes import PlannedOutcome, checked
from intakebot.quoting.tariff import Tariff

PARAMETER_DRAWS = 200
JOBS_PER_DRAW = 50
FURTHEST_DRAWS = 0.25
"""Draws whose mean is further than this from the plan's own chances belong to another plan."""
_TAIL = 1e-5
_LONGEST_TABLE = 4000


@dataclass(frozen=True)
class Doubt:
    """How far the shop trusts its own numbers.

    minutes: sigma of ln of one factor on all hands-on minutes. boxes: the plan's chances count as knowledge from so many
    boxes (Dirichlet with that total); more boxes, less doubt.
    """

    minutes: float = 0.15
    boxes: float = 30.0

    @classmethod
    def of(cls, card: RateCard) -> Doubt:
        return cls(card.minutes_doubt, card.chances_worth_boxes)


NO_DOUBT = Doubt(0.0, math.inf)


@dataclass(frozen=True)
class QuickPrice:
    """In major units of the card's currency; for comparing and for showing a range, not for a document."""

    mean: float
    sd: float
    p10: float
    p50: float
    p90: float


@dataclass(frozen=True)
class OutcomePrice:
    """An outcome with its price. `bill` is for median minutes; low and high are its 10 and 90 % points."""

    outcome: PlannedOutcome
    bill: Bill
    low: Money
    high: Money


@dataclass(frozen=True)
class PriceDistribution:
    """points: (price in minor units, probability), rising. band: 10 and 90 % points of the p90 itself over parameter draws."""

    currency: str
    outcomes: tuple[OutcomePrice, ...]
    points: tuple[tuple[int, float], ...]
    band: tuple[Money, Money]

    def percentile(self, percent: float) -> Money:
        """The smallest price that is not passed with this probability (in percent, above 0 and up to 100)."""
        return Money.of_minor(quantile(self.points, percent / 100), self.currency)

    @property
    def expected(self) -> float:
        """In major units, unrounded."""
        return mean_of(self.points) * self._unit

    @property
    def sd(self) -> float:
        mean = mean_of(self.points)
        return math.sqrt(max(0.0, sum(p * (x - mean) ** 2 for x, p in self.points))) * self._unit

    @property
    def _unit(self) -> float:
        return float(Money.of_minor(1, self.currency).amount)

    def chance_above(self, money: Money) -> float:
        return sum(p for x, p in self.points if x > money.minor)

    def capped(self, maximum: Money) -> PriceDistribution:
        """What the customer pays when nobody may bill more than the maximum."""
        limit = maximum.minor
        merged: dict[int, float] = {}
        for price, chance in self.points:
            merged[min(price, limit)] = merged.get(min(price, limit), 0.0) + chance
        band = (min(self.band[0], maximum), min(self.band[1], maximum))
        return PriceDistribution(self.currency, self.outcomes, tuple(sorted(merged.items())), band)


# ---- what one outcome costs, by started blocks ---------------------------------------------------------------------


@dataclass(frozen=True)
class PricedOutcome:
    """An outcome ready for drawing: the timed steps, the fixed minutes, and what is billed whatever the time."""

    outcome: PlannedOutcome
    what: Billable
    medians: tuple[float, ...]
    spreads: tuple[float, ...]
    fixed_minutes: float


def priced_outcome(rules: Tariff, outcome: PlannedOutcome) -> PricedOutcome:
    """Which steps are timed and what is billed whatever the time. Raises: BadInputError for a part without a price."""
    card = rules.card
    done = [(step.step_id, step.parts, outcome.helped(step)) for step in outcome.steps]
    what = billable(rules, done, outcome.repaired)
    by_time = card.labour_mode == "started_blocks"
    timed = [step for step in outcome.steps if by_time or step.step_id not in card.flat_step_prices]
    if not outcome.repaired and card.no_fix != "labour_capped":
        timed = []
    fixed = outcome.access_minutes + outcome.test_minutes if by_time else 0.0
    return PricedOutcome(
        outcome, what, tuple(step.minutes for step in timed), tuple(step.spread for step in timed), fixed
    )


def work_of(outcome: PlannedOutcome, minutes: Mapping[str, float] | None = None) -> Work:
    """The outcome as work done, with median minutes unless others are given (by plan id)."""
    taken = minutes or {}
    done = tuple(
        StepDone(step.step_id, taken.get(step.plan_id, step.minutes), step.parts, outcome.helped(step))
        for step in outcome.steps
    )
    return Work(done, outcome.access_minutes, outcome.test_minutes, outcome.repaired)


def typical_bill(rules: Tariff, parts: Mapping[str, Part], outcome: PlannedOutcome) -> Bill:
    """The bill of an outcome when every step takes its median time."""
    return charge_by(rules, parts, work_of(outcome))


def typical_total(rules: Tariff, outcome: PlannedOutcome) -> int:
    """Total of `typical_bill` in minor units, without writing the lines."""
    priced = priced_outcome(rules, outcome)
    pairs = [(step.step_id, step.minutes) for step in outcome.steps]
    minutes = billed_minutes(rules.card, pairs, outcome.access_minutes + outcome.test_minutes)
    return settle(rules, priced.what, blocks_started(minutes, rules.card.block_minutes)).total


# ---- quick: convolution on the billing blocks ------------------------------------------------------------------------


def quick_price(rules: Tariff, outcomes: Sequence[PlannedOutcome], doubt: Doubt | None = None) -> QuickPrice:
    """Mean, standard deviation and 10/50/90 % points without drawing; a fraction of a millisecond per outcome.

    Raises: BadInputError for outcomes that are not a distribution over known steps, or a part without a price.
    """
    points = quick_points(rules, outcomes, doubt)
    unit = float(Money.of_minor(1, rules.currency).amount)
    mean = mean_of(points)
    sd = math.sqrt(max(0.0, sum(p * (x - mean) ** 2 for x, p in points)))
    p10, p50, p90 = (quantile(points, q) * unit for q in (0.1, 0.5, 0.9))
    return QuickPrice(mean * unit, sd * unit, p10, p50, p90)


def quick_points(
    rules: Tariff, outcomes: Sequence[PlannedOutcome], doubt: Doubt | None = None
) -> tuple[tuple[int, float], ...]:
    """The price distribution as (minor units, probability), rising."""
    sigma = (Doubt.of(rules.card) if doubt is None else doubt).minutes
    merged: dict[int, float] = {}
    for outcome in checked(outcomes):
        if outcome.chance == 0:
            continue
        priced = priced_outcome(rules, outcome)
        for blocks, share in _block_chances(priced, rules.card.block_minutes, sigma):
            price = settle(rules, priced.what, blocks).total
            merged[price] = merged.get(price, 0.0) + outcome.chance * share
    return tuple(sorted(merged.items()))


def _block_chances(priced: PricedOutcome, block_minutes: int, doubt_sigma: float) -> list[tuple[int, float]]:
    """Chance of each number of started blocks."""
    mean = sum(m * math.exp(s * s / 2) for m, s in zip(priced.medians, priced.spreads, strict=True))
    if mean <= 1e-6:
        return [(blocks_started(priced.fixed_minutes, block_minutes), 1.0)]
    variance = sum(
        (m * math.exp(s * s / 2)) ** 2 * math.expm1(s * s)
        for m, s in zip(priced.medians, priced.spreads, strict=True)
    )
    own = math.log1p(variance / mean**2)
    mu, sigma = math.log(mean) - own / 2, math.sqrt(own + doubt_sigma**2)
    if sigma == 0:
        return [(blocks_started(priced.fixed_minutes + mean, block_minutes), 1.0)]
    minutes = NormalDist(mu, sigma)
    first = max(1, blocks_started(priced.fixed_minutes, block_minutes))
    chances: list[tuple[int, float]] = []
    below, blocks = 0.0, first
    while below < 1 - _TAIL and blocks - first < _LONGEST_TABLE:
        left = blocks * block_minutes - priced.fixed_minutes
        until = minutes.cdf(math.log(left)) if left > 0 else 0.0
        if until > below:
            chances.append((blocks, until - below))
        below, blocks = max(below, until), blocks + 1
    if not chances:
        return [(first, 1.0)]
    chances[-1] = (chances[-1][0], chances[-1][1] + 1 - below)
    return chances


def mean_of(points: Sequence[tuple[int, float]]) -> float:
    return sum(x * p for x, p in points)


def quantile(points: Sequence[tuple[int, float]], share: float) -> int:
    """The smallest price whose probability, with all lower ones, reaches a share."""
    below = 0.0
    for price, chance in points:
        below += chance
        if below >= share - 1e-9:
            return price
    return points[-1][0]


# ---- full: seeded draws ----------------------------------------------------------------------------------------------


def price_distribution(
    rules: Tariff,
    parts: Mapping[str, Part],
    outcomes: Sequence[PlannedOutcome],
    *,
    seed: int,
    doubt: Doubt | None = None,
    chance_draws: npt.NDArray[np.float64] | None = None,
) -> PriceDistribution:
    """The price distribution for a written estimate: 200 draws of the parameters, 50 jobs in each and per outcome.

    Args:
        chance_draws: draws x outcomes, rows summing to 1, when triage has re-weighted its hypotheses under drawn priors and
            success chances. Without them the plan's chances are drawn from a Dirichlet of `doubt.boxes`.
        seed: same seed, same numbers.
    Raises: BadInputError as `quick_price`, and for draws of another shape.
    """
    known = checked(outcomes)
    trust = Doubt.of(rules.card) if doubt is None else doubt
    rng = np.random.default_rng(seed)
    weights = (
        _chance_draws(rng, known, trust.boxes)
        if chance_draws is None
        else _checked_draws(chance_draws, known)
    )
    draws = weights.shape[0]
    factor = np.exp(trust.minutes * rng.standard_normal((draws, 1)))
    priced = [priced_outcome(rules, outcome) for outcome in known]
    prices = np.stack([_drawn_prices(rules, item, factor, rng) for item in priced], axis=1)
    shares = np.repeat(weights[:, :, None] / JOBS_PER_DRAW, JOBS_PER_DRAW, axis=2)
    points = _points(prices, shares / draws)
    band = _band(prices.reshape(draws, -1), shares.reshape(draws, -1), rules.currency)
    shown = tuple(
        _outcome_price(rules, parts, outcome, prices[:, number, :]) for number, outcome in enumerate(known)
    )
    return PriceDistribution(rules.currency, shown, points, band)


def _chance_draws(
    rng: np.random.Generator, outcomes: Sequence[PlannedOutcome], boxes: float
) -> npt.NDArray[np.float64]:
    chances = np.array([outcome.chance for outcome in outcomes])
    if math.isinf(boxes):
        return np.tile(chances, (PARAMETER_DRAWS, 1))
    if boxes <= 0:
        raise BadInputError("doubt.boxes", boxes, "more than 0")
    gammas = rng.standard_gamma(np.maximum(chances * boxes, 1e-9), size=(PARAMETER_DRAWS, len(chances)))
    gammas[:, int(chances.argmax())] += 1e-300
    return gammas / gammas.sum(axis=1, keepdims=True)


def _checked_draws(
    draws: npt.NDArray[np.float64], outcomes: Sequence[PlannedOutcome]
) -> npt.NDArray[np.float64]:
    given = np.asarray(draws, dtype=np.float64)
    if given.ndim != 2 or given.shape[1] != len(outcomes) or not len(given) or (given < -1e-12).any():
        raise BadInputError("chance_draws", given.shape, f"rows of {len(outcomes)} chances")
    rows = np.clip(given, 0, None) / given.sum(axis=1, keepdims=True)
    off = np.abs(rows.mean(axis=0) - [outcome.chance for outcome in outcomes]).max()
    if not off <= FURTHEST_DRAWS:
        raise BadInputError(
            "chance_draws", f"{off:.2f} away from the plan on average", "draws round the plan's chances"
        )
    return rows


def _drawn_prices(
    rules: Tariff, item: PricedOutcome, factor: npt.NDArray[np.float64], rng: np.random.Generator
) -> npt.NDArray[np.int64]:
    """Prices in minor units, draws x JOBS_PER_DRAW."""
    shape = (factor.shape[0], JOBS_PER_DRAW)
    block = rules.card.block_minutes
    if not item.medians:
        price = settle(rules, item.what, blocks_started(item.fixed_minutes, block)).total
        return np.full(shape, price, dtype=np.int64)
    noise = rng.standard_normal((*shape, len(item.medians)))
    hands_on = np.exp(noise * np.array(item.spreads)) @ np.array(item.medians)
    minutes = item.fixed_minutes + factor * hands_on
    blocks = np.maximum(0, np.ceil(minutes / block - 1e-6)).astype(np.int64)
    distinct, index = np.unique(blocks, return_inverse=True)
    table = np.array([settle(rules, item.what, int(number)).total for number in distinct], dtype=np.int64)
    return table[index.reshape(shape)]


def _points(prices: npt.NDArray[np.int64], shares: npt.NDArray[np.float64]) -> tuple[tuple[int, float], ...]:
    distinct, index = np.unique(prices, return_inverse=True)
    chances = np.bincount(index.ravel(), weights=shares.ravel())
    chances = chances / chances.sum()
    return tuple(
        (int(price), float(chance)) for price, chance in zip(distinct, chances, strict=True) if chance > 0
    )


def _band(
    prices: npt.NDArray[np.int64], shares: npt.NDArray[np.float64], currency: str
) -> tuple[Money, Money]:
    order = prices.argsort(axis=1, kind="stable")
    rising = np.take_along_axis(prices, order, axis=1)
    below = np.take_along_axis(shares, order, axis=1).cumsum(axis=1)
    at = (below >= 0.9 - 1e-9).argmax(axis=1)
    p90s = np.sort(rising[np.arange(len(rising)), at])
    low, high = p90s[int(0.1 * (len(p90s) - 1))], p90s[math.ceil(0.9 * (len(p90s) - 1))]
    return Money.of_minor(int(low), currency), Money.of_minor(int(high), currency)


def _outcome_price(
    rules: Tariff,
    parts: Mapping[str, Part],
    outcome: PlannedOutcome,
    prices: npt.NDArray[np.int64],
) -> OutcomePrice:
    flat = np.sort(prices, axis=None)
    low, high = flat[int(0.1 * (flat.size - 1))], flat[math.ceil(0.9 * (flat.size - 1))]
    return OutcomePrice(
        outcome,
        typical_bill(rules, parts, outcome),
        Money.of_minor(int(low), rules.currency),
        Money.of_minor(int(high), rules.currency),
    )


def as_decimal(amount: float, places: int = 2) -> Decimal:
    """A float of the distribution as a decimal for showing; never used in a bill."""
    return Decimal(f"{amount:.{places}f}")
