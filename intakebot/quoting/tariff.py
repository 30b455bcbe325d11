"""A rate card under the terms of one case, checked and compiled to whole minor units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from intakebot.definitions.model import Part, Pricing, RateCard
from intakebot.errors import BadInputError, MoneyError
from intakebot.quoting.money import Money, RoundingMode, divide_rounded, rounded


@dataclass(frozen=True)
class Terms:
    """What of the case, not of the work, changes the bill. return_shipping: None when nothing is sent back by post."""

    priority: bool = False
    second_unit: bool = False
    return_shipping: Money | None = None


def part_prices(pricing: Pricing, day: date, currency: str) -> dict[str, Part]:
    """Each part's price record in force on a day. Parts not yet sold on that day are left out.

    Raises: MoneyError when a part is priced in another currency (there are no exchange rates).
    """
    current: dict[str, Part] = {}
    for part_id, dated in pricing.parts.items():
        in_force = [part for part in dated if part.effective_from <= day]
        if not in_force:
            continue
        part = in_force[-1]
        if part.currency != currency:
            raise MoneyError(
                f"parts.{part_id}.currency", part.currency, f"{currency}, the rate card's currency"
            )
        current[part_id] = part
    return current


# ---- the rate card in whole minor units ------------------------------------------------------------------------------


@dataclass(frozen=True)
class Percentage:
    """numerator / denominator of an amount, so that a percentage of an integer is one rounded division."""

    numerator: int
    denominator: int

    @classmethod
    def of(cls, percent: Decimal) -> Percentage:
        share = Fraction(percent) / 100
        return cls(share.numerator, share.denominator)

    def of_amount(self, minor: int, mode: RoundingMode) -> int:
        return divide_rounded(minor * self.numerator, self.denominator, mode)


@dataclass(frozen=True)
class Tariff:
    """A rate card under given terms, in minor units; built once per quote by `tariff`."""

    card: RateCard
    terms: Terms
    block_price: int
    minimum_labour: int
    no_fix_cap: int
    assessment_fee: int
    return_shipping: int
    priority: Percentage
    second_unit: Percentage
    discount: Percentage
    tax: Percentage
    flat_prices: Mapping[str, int]
    part_prices: Mapping[str, int]

    @property
    def currency(self) -> str:
        return self.card.currency


def block_price(card: RateCard) -> Money:
    """Price of one started block: hourly rate x block minutes / 60, rounded by the card's mode.

    Raises: BadInputError for blocks of no length or a negative rate.
    """
    if card.block_minutes <= 0 or card.hourly_rate < 0:
        found = f"{card.hourly_rate} per hour in blocks of {card.block_minutes} minutes"
        raise BadInputError(
            f"rate card {card.id}", found, "a rate of 0 or more and blocks of 1 minute or more"
        )
    return rounded(Fraction(card.hourly_rate) * card.block_minutes / 60, card.currency, card.rounding)


def tariff(card: RateCard, parts: Mapping[str, Part], terms: Terms) -> Tariff:
    """Check and compile a rate card.

    Raises: BadInputError for a negative amount or a percentage outside its range; MoneyError for amounts that are not
    whole minor units or are in another currency.
    """
    for name in ("minimum_labour", "assessment_fee", "no_fix_cap", "priority_percent", "tax_percent"):
        if getattr(card, name) < 0:
            raise BadInputError(f"rate card {card.id}, {name}", str(getattr(card, name)), "0 or more")
    for name in ("discount_percent", "second_unit_percent", "deposit_percent"):
        if not 0 <= getattr(card, name) <= 100:
            raise BadInputError(f"rate card {card.id}, {name}", str(getattr(card, name)), "0 to 100")

    def minor(amount: Decimal) -> int:
        return Money(amount, card.currency).minor

    for part_id, part in parts.items():
        if part.currency != card.currency:
            raise MoneyError(
                f"parts.{part_id}.currency", part.currency, f"{card.currency}, the rate card's currency"
            )
        if part.price < 0:
            raise BadInputError(f"parts.{part_id}.price", str(part.price), "0 or more")
    shipping = terms.return_shipping or Money.zero(card.currency)
    if shipping.amount < 0:
        raise BadInputError("return_shipping", str(shipping.amount), "0 or more")
    if shipping.currency != card.currency:
        raise MoneyError("return_shipping", shipping.currency, card.currency)
    return Tariff(
        card=card,
        terms=terms,
        block_price=block_price(card).minor,
        minimum_labour=minor(card.minimum_labour),
        no_fix_cap=minor(card.no_fix_cap),
        assessment_fee=0 if card.assessment_rule == "waived" else minor(card.assessment_fee),
        return_shipping=shipping.minor if card.return_shipping == "by_zone" else 0,
        priority=Percentage.of(card.priority_percent if terms.priority else Decimal(0)),
        second_unit=Percentage.of(card.second_unit_percent if terms.second_unit else Decimal(0)),
        discount=Percentage.of(card.discount_percent),
        tax=_tax_share(card),
        flat_prices={step_id: minor(price) for step_id, price in card.flat_step_prices.items()},
        part_prices={part_id: minor(part.price) for part_id, part in parts.items()},
    )


def _tax_share(card: RateCard) -> Percentage:
    rate = Fraction(card.tax_percent) / 100
    share = rate if card.tax_mode == "exclusive" else rate / (1 + rate)
    return Percentage(share.numerator, share.denominator)
