"""The maximum: the price that is not passed without a new consent, and the plan that fits under it.

A business rule, not a forecast. The shop's rule: the rate card's percentile of the price, rounded up to its step (the larger of
the percentile over all ends and over the ends with a repair, so that a poor chance of repair does not make the maximum too small
for any repair). The customer's limit, when lower, takes its place. Groups of steps whose bill would pass the maximum when every
step takes its median time are not in the authorised plan; nothing after them is either, because the plan goes in order. When
something was left out, the maximum is worked again for what remains: nobody is asked to agree to money the plan cannot use.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from intakebot.definitions.model import Part, Profile
from intakebot.errors import BadInputError
from intakebot.quoting.charging import NO_WORK, charge_by
from intakebot.quoting.distribution import PriceDistribution, quantile, quick_points, typical_total
from intakebot.quoting.money import Money, percent_of, rounded_up_to
from intakebot.quoting.outcomes import DoneSoFar, PlannedOutcome, PlannedStep, cut_after, steps_of
from intakebot.quoting.tariff import Tariff


@dataclass(frozen=True)
class AuthorisedPlan:
    """What may be done for the maximum.

    stopped_by: `percentile` when the shop's rule set the maximum, `limit` when the customer's limit did.
    left_out: steps that would pass it and are not authorised. can_start: False when not even the first group fits.
    """

    outcomes: tuple[PlannedOutcome, ...]
    maximum: Money
    stopped_by: Literal["percentile", "limit"]
    left_out: tuple[PlannedStep, ...]
    can_start: bool


def minimum_fee(rules: Tariff, parts: Mapping[str, Part]) -> Money:
    """What is owed at the least once the device is here: the bill for no work, not repaired."""
    return charge_by(rules, parts, NO_WORK).total


def shop_maximum(
    rules: Tariff, points: Sequence[tuple[int, float]], repaired_points: Sequence[tuple[int, float]]
) -> Money:
    """The rate card's percentile of the price, rounded up to the card's step.

    Raises: BadInputError for a percentile outside 1..100.
    """
    card = rules.card
    if not 1 <= card.maximum_percentile <= 100:
        raise BadInputError(f"rate card {card.id}, maximum_percentile", card.maximum_percentile, "1 to 100")
    share = card.maximum_percentile / 100
    price = quantile(points, share)
    if repaired_points:
        price = max(price, quantile(repaired_points, share))
    return rounded_up_to(Money.of_minor(price, card.currency), card.maximum_step)


def authorised_plan(
    rules: Tariff,
    parts: Mapping[str, Part],
    outcomes: Sequence[PlannedOutcome],
    limit: Money | None = None,
    *,
    done: DoneSoFar | None = None,
) -> AuthorisedPlan:
    """The maximum, and the longest beginning of the plan that stays under it.

    Args: done: bench work before this plan, when a quote is revised; the outcomes already hold it (`after_work`).
    Raises: BadInputError when the limit is below the minimum fee.
    """
    least = minimum_fee(rules, parts)
    if limit is not None and limit < least:
        raise BadInputError(
            "spending_limit", str(limit.amount), f"at least {least.amount} {least.currency}, the minimum fee"
        )
    maximum = max(least, _shop_maximum_of(rules, outcomes))
    stopped_by: Literal["percentile", "limit"] = "percentile"
    if limit is not None and limit < maximum:
        maximum, stopped_by = limit, "limit"
    groups = kept = sum(outcome.repaired for outcome in outcomes)
    while kept > 0 and not _fits(rules, cut_after(outcomes, kept, done), maximum):
        kept -= 1
    plan = tuple(cut_after(outcomes, kept, done))
    if 0 < kept < groups:
        maximum = min(maximum, max(least, _dearest(rules, plan), _shop_maximum_of(rules, plan)))
    inside = {step.plan_id for step in steps_of(plan)}
    left_out = tuple(step for step in steps_of(outcomes) if step.plan_id not in inside)
    return AuthorisedPlan(plan, maximum, stopped_by, left_out, can_start=kept > 0)


def _shop_maximum_of(rules: Tariff, outcomes: Sequence[PlannedOutcome]) -> Money:
    return shop_maximum(rules, quick_points(rules, outcomes), _repaired_points(rules, outcomes))


def _dearest(rules: Tariff, outcomes: Sequence[PlannedOutcome]) -> Money:
    return Money.of_minor(max(typical_total(rules, outcome) for outcome in outcomes), rules.currency)


def _fits(rules: Tariff, outcomes: Sequence[PlannedOutcome], maximum: Money) -> bool:
    return all(typical_total(rules, outcome) <= maximum.minor for outcome in outcomes)


def _repaired_points(rules: Tariff, outcomes: Sequence[PlannedOutcome]) -> tuple[tuple[int, float], ...]:
    repaired = [outcome for outcome in outcomes if outcome.repaired]
    total = sum(outcome.chance for outcome in repaired)
    if total <= 0:
        return ()
    return quick_points(rules, [_with_chance(outcome, outcome.chance / total) for outcome in repaired])


def _with_chance(outcome: PlannedOutcome, chance: float) -> PlannedOutcome:
    return PlannedOutcome(
        chance, outcome.steps, outcome.tested, outcome.access_minutes, outcome.test_minutes, outcome.repaired
    )


def legal_ceiling(profile: Profile, figure: Money) -> Money | None:
    """The highest bill a jurisdiction's rule would bear for a written figure; None where it sets none.

    The authorised maximum is our written figure and is kept anyway; this is shown beside it and never used to bill more.
    """
    amount = Money(figure.amount + profile.cap_amount, figure.currency)
    percent = figure + percent_of(figure, profile.cap_percent, "half_down")
    if profile.cap_rule == "none":
        return None
    if profile.cap_rule == "amount":
        return amount
    if profile.cap_rule == "percent":
        return percent
    return max(amount, percent)


def deposit(rules: Tariff, maximum: Money) -> Money:
    """Paid on acceptance and taken off the bill: a percentage of the maximum."""
    return percent_of(maximum, Decimal(rules.card.deposit_percent), rules.card.rounding)


def shown_distribution(distribution: PriceDistribution, maximum: Money) -> PriceDistribution:
    """The distribution of what is paid: never more than the maximum."""
    return distribution.capped(maximum)
