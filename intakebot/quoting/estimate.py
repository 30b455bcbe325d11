"""The estimate: every figure of one quote, made once, and its JSON form.

`make_estimate` puts the parts together: rate card and part prices of the day, the plan's outcomes, the maximum and the plan that fits
under it, the price distribution, validity. The result holds codes, numbers and the customer's own words; sentences are written by
`estimate_sheet`. An *estimate* here is a price range with a binding maximum: the final price may be lower, never higher.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Literal

import numpy as np
import numpy.typing as npt

from intakebot.definitions.model import Part, Pricing, Profile, RateCard
from intakebot.errors import BadInputError
from intakebot.quoting.chances import ChanceShown, chances_shown, shown_as
from intakebot.quoting.charging import LineItem
from intakebot.quoting.distribution import OutcomePrice, PriceDistribution, price_distribution
from intakebot.quoting.maximum import AuthorisedPlan, authorised_plan, deposit, legal_ceiling, minimum_fee
from intakebot.quoting.money import Money, rounded
from intakebot.quoting.outcomes import DoneSoFar, PlannedOutcome, steps_of
from intakebot.quoting.tariff import Tariff, Terms, block_price, part_prices, tariff
from intakebot.quoting.worth import WorthIt, worth_it

LONGEST_VALIDITY_DAYS = 366


@dataclass(frozen=True)
class EstimateCase:
    """What the estimate needs to know of the case. Texts are the customer's own; empty means not known.

    accessories: enclosure ids. discs: texts, e.g. the title of a disc stuck inside; disc_class: its class or `unknown_kind`. suspects: (fault id, chance), falling.
    return_shipping, shipping_to_shop: in the rate card's currency; None when not known or not by post.
    """

    reference: str
    device_id: str
    customer_name: str = ""
    customer_address: tuple[str, ...] = ()
    customer_phone: str = ""
    customer_email: str = ""
    model_name: str = ""
    serial: str = ""
    accessories: tuple[str, ...] = ()
    discs: tuple[str, ...] = ()
    disc_class: str = ""
    customer_words: str = ""
    suspects: tuple[tuple[str, float], ...] = ()
    spending_limit: Decimal | None = None
    device_value: Decimal | None = None
    priority: bool = False
    second_unit: bool = False
    return_shipping: Money | None = None
    shipping_to_shop: Money | None = None
    completion_date: date | None = None


@dataclass(frozen=True)
class EstimateOutcome:
    """One way it can end. steps: family ids done until then; added: those of the last group. total is the sum of lines."""

    chance: float
    shown: ChanceShown
    repaired: bool
    steps: tuple[str, ...]
    added: tuple[str, ...]
    lines: tuple[LineItem, ...]
    tax: Money
    total: Money
    low: Money
    high: Money


@dataclass(frozen=True)
class Estimate:
    """A quote with all its figures. Amounts are gross (with tax) unless said otherwise.

    likely: index of the most likely repair when a repair is the likelier thing, else of the end without one. band: 10 and 90 % points of the 90 % point itself, over what the shop is unsure of.
    authorised_steps / left_out_steps: plan ids inside and beyond the maximum. legal_ceiling: what the local rule would bear.
    """

    number: str
    supersedes: str | None
    family_id: str
    definitions_version: str
    rate_card_id: str
    profile_id: str
    currency: str
    quoted_on: date
    valid_until: date
    case: EstimateCase
    outcomes: tuple[EstimateOutcome, ...]
    likely: int
    p10: Money
    p50: Money
    p90: Money
    expected: Money
    band: tuple[Money, Money]
    chance_repaired: float
    repaired_shown: ChanceShown
    maximum: Money
    maximum_tax: Money
    stopped_by: Literal["percentile", "limit"]
    can_start: bool
    minimum_fee: Money
    if_not_repaired: Money
    deposit: Money
    block_price: Money
    tax_included: bool
    authorised_steps: tuple[str, ...]
    left_out_steps: tuple[str, ...]
    parts: tuple[str, ...]
    worth: WorthIt
    legal_ceiling: Money | None
    seed: int

    @property
    def likely_outcome(self) -> EstimateOutcome:
        return self.outcomes[self.likely]

    @property
    def reference(self) -> str:
        return self.case.reference


def valid_until(
    card: RateCard, profile: Profile, quoted_on: date, is_working_day: Callable[[date], bool]
) -> date:
    """Last day to accept: the longer of the card's and the profile's calendar days, the day of the quote not counted.

    When the profile says so and that day is no working day, it runs to the end of the next one (the rule of Regulation
    1182/71 art. 3; from memory). Raises: BadInputError for absurd days or a calendar that is always closed.
    """
    days = max(card.validity_days, profile.minimum_validity_days)
    if not 1 <= days <= LONGEST_VALIDITY_DAYS:
        raise BadInputError(f"rate card {card.id}, validity_days", days, f"1 to {LONGEST_VALIDITY_DAYS}")
    last = quoted_on + timedelta(days=days)
    if not profile.validity_ends_on_working_day:
        return last
    for later in range(LONGEST_VALIDITY_DAYS):
        if is_working_day(last + timedelta(days=later)):
            return last + timedelta(days=later)
    raise BadInputError("calendar", f"no working day after {last.isoformat()}", "a shop that opens some day")


def make_estimate(
    pricing: Pricing,
    outcomes: Sequence[PlannedOutcome],
    case: EstimateCase,
    *,
    number: str,
    quoted_on: date,
    is_working_day: Callable[[date], bool],
    seed: int,
    family_id: str = "",
    definitions_version: str = "",
    supersedes: str | None = None,
    card: RateCard | None = None,
    done: DoneSoFar | None = None,
    chance_draws: npt.NDArray[np.float64] | None = None,
) -> Estimate:
    """All figures of a quote.

    Args:
        outcomes: ends of the plan, from `planned_outcomes` (and `after_work` when revising).
        card: the card the conversation was started under; the one in force on the day when None.
        done: bench work behind us when a quote is revised.
        chance_draws: draws x outcomes of the plan's chances under drawn parameters (see `price_distribution`).
        seed: fixes the drawing; kept in the estimate.
    Raises:
        BadInputError: no rate card on the day, unknown profile, a limit below the minimum fee, absurd amounts.
        MoneyError: currencies that do not match.
    """
    used_card = card or _card_on(pricing, quoted_on)
    profile = _profile(pricing, used_card)
    prices = part_prices(pricing, quoted_on, used_card.currency)
    rules = tariff(used_card, prices, Terms(case.priority, case.second_unit, case.return_shipping))
    limit = _amount(case.spending_limit, used_card, "spending_limit")
    value = _amount(case.device_value, used_card, "device_value")
    plan = authorised_plan(rules, prices, outcomes, limit, done=done)
    draws = None if chance_draws is None else cut_draws(chance_draws, outcomes, plan.outcomes)
    full = price_distribution(rules, prices, plan.outcomes, seed=seed, chance_draws=draws)
    paid = full.capped(plan.maximum)
    shown = _outcomes(full, pricing, paid)
    chance = sum(outcome.chance for outcome in shown if outcome.repaired)
    expected = rounded(Decimal(repr(paid.expected)), used_card.currency, used_card.rounding)
    return Estimate(
        number=number,
        supersedes=supersedes,
        family_id=family_id,
        definitions_version=definitions_version,
        rate_card_id=used_card.id,
        profile_id=profile.id,
        currency=used_card.currency,
        quoted_on=quoted_on,
        valid_until=valid_until(used_card, profile, quoted_on, is_working_day),
        case=case,
        outcomes=shown,
        likely=_likely(shown, chance),
        p10=paid.percentile(10),
        p50=paid.percentile(50),
        p90=paid.percentile(90),
        expected=expected,
        band=paid.band,
        chance_repaired=chance,
        repaired_shown=_repaired_shown(shown, pricing),
        maximum=plan.maximum,
        maximum_tax=_tax_in(plan.maximum, used_card),
        stopped_by=plan.stopped_by,
        can_start=plan.can_start,
        minimum_fee=minimum_fee(rules, prices),
        if_not_repaired=_if_not_repaired(shown, plan),
        deposit=deposit(rules, plan.maximum),
        block_price=block_price(used_card),
        tax_included=used_card.tax_mode == "inclusive",
        authorised_steps=tuple(step.plan_id for step in steps_of(plan.outcomes)),
        left_out_steps=tuple(step.plan_id for step in plan.left_out),
        parts=tuple(dict.fromkeys(part for step in steps_of(plan.outcomes) for part in step.parts)),
        worth=_worth(shown, plan, expected, value, limit),
        legal_ceiling=legal_ceiling(profile, plan.maximum),
        seed=seed,
    )


def _card_on(pricing: Pricing, day: date) -> RateCard:
    try:
        return pricing.rate_card_on(day)
    except LookupError:
        raise BadInputError("quoted_on", day.isoformat(), "a day on which a rate card is in force") from None


def _profile(pricing: Pricing, card: RateCard) -> Profile:
    try:
        return pricing.profiles[card.profile]
    except KeyError:
        raise BadInputError(f"rate card {card.id}, profile", card.profile, "a profile that exists") from None


def _amount(amount: Decimal | None, card: RateCard, where: str) -> Money | None:
    if amount is None:
        return None
    if amount < 0:
        raise BadInputError(where, str(amount), "0 or more")
    return rounded(amount, card.currency, card.rounding)


def cut_draws(
    draws: npt.NDArray[np.float64], outcomes: Sequence[PlannedOutcome], kept: Sequence[PlannedOutcome]
) -> npt.NDArray[np.float64]:
    """Draws for a plan that stops earlier: the columns of the dropped ends go to the end without a repair."""
    if len(kept) == len(outcomes):
        return draws
    groups = sum(outcome.repaired for outcome in kept)
    rest = 1 - draws[:, :groups].sum(axis=1, keepdims=True)
    return np.concatenate([draws[:, :groups], np.clip(rest, 0, 1)], axis=1)


def _outcomes(
    full: PriceDistribution, pricing: Pricing, paid: PriceDistribution
) -> tuple[EstimateOutcome, ...]:
    chances = [item.outcome.chance for item in full.outcomes]
    total = sum(chances)
    shown = chances_shown([chance / total for chance in chances], pricing.chance_words)
    highest = paid.points[-1][0]
    return tuple(
        _outcome(item, word, Money.of_minor(highest, full.currency))
        for item, word in zip(full.outcomes, shown, strict=True)
    )


def _outcome(item: OutcomePrice, shown: ChanceShown, highest: Money) -> EstimateOutcome:
    outcome = item.outcome
    return EstimateOutcome(
        chance=outcome.chance,
        shown=shown,
        repaired=outcome.repaired,
        steps=tuple(step.step_id for step in outcome.steps),
        added=tuple(step.step_id for step in outcome.steps if step.plan_id in outcome.tested),
        lines=item.bill.lines,
        tax=item.bill.tax,
        total=item.bill.total,
        low=min(item.low, highest),
        high=min(item.high, highest),
    )


def _repaired_shown(shown: Sequence[EstimateOutcome], pricing: Pricing) -> ChanceShown:
    """The chance of a repair as printed: the sum of the printed chances of the ends with a repair."""
    percent = sum(outcome.shown.percent for outcome in shown if outcome.repaired)
    chance = sum(outcome.chance for outcome in shown if outcome.repaired)
    return shown_as(percent, chance, pricing.chance_words)


def _if_not_repaired(shown: Sequence[EstimateOutcome], plan: AuthorisedPlan) -> Money:
    """The most that is owed when it cannot be repaired (at median times, never above the maximum)."""
    failed = [outcome.high for outcome in shown if not outcome.repaired]
    failed += [outcome.total for outcome in shown if not outcome.repaired]
    if not failed:
        return Money.of_minor(0, plan.maximum.currency)
    return min(max(failed), plan.maximum)


def _tax_in(total: Money, card: RateCard) -> Money:
    """The tax contained in a gross amount."""
    share = card.tax_percent / (100 + card.tax_percent)
    return rounded(total.amount * share, card.currency, card.rounding)


def _likely(shown: Sequence[EstimateOutcome], chance_repaired: float) -> int:
    """The most likely repair when a repair is at least as likely as none, else the end without one."""
    repaired = [index for index, outcome in enumerate(shown) if outcome.repaired]
    if chance_repaired >= 0.5 or len(repaired) == len(shown):
        return max(repaired, key=lambda index: (shown[index].chance, -index))
    return len(shown) - 1


def _worth(
    shown: Sequence[EstimateOutcome],
    plan: AuthorisedPlan,
    expected: Money,
    value: Money | None,
    limit: Money | None,
) -> WorthIt:
    repaired = [outcome for outcome in shown if outcome.repaired]
    return worth_it(
        likely=max(repaired, key=lambda outcome: outcome.chance).total if repaired else None,
        expected=expected,
        maximum=plan.maximum,
        chance=min(1.0, sum(outcome.chance for outcome in repaired)),
        value=value,
        limit=limit,
        can_start=plan.can_start,
    )


def rules_for(pricing: Pricing, card: RateCard, day: date, terms: Terms) -> tuple[Tariff, Mapping[str, Part]]:
    """Card and part prices of a day, compiled; what `quick_price` and the bench's running bill need."""
    prices = part_prices(pricing, day, card.currency)
    return tariff(card, prices, terms), prices
