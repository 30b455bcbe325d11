"""Charging rules: from the work done to the lines of a bill.

The rate card is a closed vocabulary; this module is its meaning. Amounts are worked in whole minor units from the first line on,
so the sum of the shown lines *is* the shown total; there is no second, hidden computation. The order of rules:

1. Labour. `started_blocks`: all bench minutes (steps, access, play tests) in started blocks. `flat_by_step`: the flat
   price of each step done; steps without one by their own minutes in started blocks. A top-up line brings labour to the minimum.
2. Not repaired: `assessment_only` drops labour, `labour_capped` cuts it to the cap, `free` leaves nothing but return postage.
3. Priority is a percentage on labour, the second unit in one box a percentage off it.
4. Parts. Those of the last group of steps before the test that passed are taken to have helped. Others follow `unhelpful_parts`:
   `not_charged` (taken out again), `charged`, `kept_fitted` (billed and left in when repaired, free when not).
5. Discount is a percentage off labour and parts. Then assessment fee (and its credit), return postage, tax.

`settle` computes the amounts and is what the price distribution calls many thousand times; `charge` writes the same amounts as lines.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from intakebot.definitions.model import Part, RateCard
from intakebot.errors import BadInputError, MoneyError
from intakebot.quoting.money import Money, tax_on, total_of
from intakebot.quoting.tariff import Tariff, Terms, tariff

LineKind = Literal[
    "labour", "flat_step", "minimum_labour", "labour_cap", "priority", "second_unit", "part", "discount",
    "assessment_fee", "assessment_credit", "return_shipping", "tax",
]  # fmt: skip
Unit = Literal["block", "piece", "percent"]

LONGEST_JOB_MINUTES = 60_000.0
"""A thousand bench hours: more is a typing mistake (common practice, no source)."""


@dataclass(frozen=True)
class StepDone:
    """One bench step that was done: hands-on minutes without access, parts used up, and whether it may have cured the device."""

    step_id: str
    minutes: float
    parts: tuple[str, ...] = ()
    helped: bool = False


@dataclass(frozen=True)
class Work:
    """All that was done on one device. access_minutes: opening and closing; test_minutes: all play tests."""

    steps: tuple[StepDone, ...]
    access_minutes: float
    test_minutes: float
    repaired: bool


NO_WORK = Work((), 0.0, 0.0, False)


@dataclass(frozen=True)
class LineItem:
    """One printed line. `amount == quantity x unit_price` for blocks and pieces. Credits are negative.

    code: step or part id, else empty. source: which rule and which record the number comes from.
    """

    kind: LineKind
    code: str
    quantity: Decimal
    unit: Unit
    unit_price: Money
    amount: Money
    source: str


@dataclass(frozen=True)
class Bill:
    """Lines and totals; the amounts of `lines` sum to `total`. With tax included, `tax` is a remark, not a line."""

    lines: tuple[LineItem, ...]
    net: Money
    tax: Money
    total: Money
    tax_included: bool


# ---- what is billed ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Billable:
    """The part of some work that does not depend on how long it took."""

    flat_steps: tuple[str, ...]
    parts: tuple[str, ...]
    repaired: bool
    worked: bool


def billable(rules: Tariff, steps: Sequence[tuple[str, Sequence[str], bool]], repaired: bool) -> Billable:
    """Which flat steps and which parts are billed, for steps given as (id, parts, may have helped).

    Raises: BadInputError for a part without a price on the quote's day.
    """
    card = rules.card
    flat = tuple(
        step_id
        for step_id, _, _ in steps
        if card.labour_mode == "flat_by_step" and step_id in rules.flat_prices
    )
    parts = tuple(
        part_id for _, used, helped in steps for part_id in used if _part_is_billed(card, repaired, helped)
    )
    for part_id in parts:
        if part_id not in rules.part_prices:
            raise BadInputError(
                f"parts.{part_id}", "no price in force", "a price effective on the day of the quote"
            )
    return Billable(flat, parts, repaired, bool(steps))


def _part_is_billed(card: RateCard, repaired: bool, helped: bool) -> bool:
    if not repaired:
        return card.no_fix != "free" and card.unhelpful_parts == "charged"
    return helped or card.unhelpful_parts in ("charged", "kept_fitted")


@dataclass(frozen=True)
class Amounts:
    """All lines of a bill as whole minor units; credits are negative."""

    time: int
    flat: tuple[int, ...]
    minimum_labour: int
    labour_cap: int
    priority: int
    second_unit: int
    parts: tuple[int, ...]
    discount: int
    assessment_fee: int
    assessment_credit: int
    return_shipping: int
    tax: int
    total: int


def settle(rules: Tariff, what: Billable, blocks: int) -> Amounts:
    """The amounts of a bill for a number of started blocks of time."""
    card, mode = rules.card, rules.card.rounding
    labour_is_due = what.repaired or card.no_fix == "labour_capped"
    time = blocks * rules.block_price if labour_is_due else 0
    flat = tuple(rules.flat_prices[step_id] for step_id in what.flat_steps) if labour_is_due else ()
    labour = time + sum(flat)
    top_up = max(0, rules.minimum_labour - labour) if labour_is_due and what.worked else 0
    labour += top_up
    cut = max(0, labour - rules.no_fix_cap) if not what.repaired else 0
    labour -= cut
    priority = rules.priority.of_amount(labour, mode)
    second_unit = -rules.second_unit.of_amount(labour, mode)
    parts = tuple(rules.part_prices[part_id] for part_id in what.parts)
    discount = -rules.discount.of_amount(labour + priority + second_unit + sum(parts), mode)
    fee = 0 if card.no_fix == "free" and not what.repaired else rules.assessment_fee
    credit = -fee if what.repaired and card.assessment_rule == "credited_when_repaired" else 0
    charges = (
        time,
        *flat,
        top_up,
        -cut,
        priority,
        second_unit,
        *parts,
        discount,
        fee,
        credit,
        rules.return_shipping,
    )
    tax = _tax(rules, charges)
    total = sum(charges) + (tax if card.tax_mode == "exclusive" else 0)
    return Amounts(
        time,
        flat,
        top_up,
        -cut,
        priority,
        second_unit,
        parts,
        discount,
        fee,
        credit,
        rules.return_shipping,
        tax,
        total,
    )


def _tax(rules: Tariff, charges: Sequence[int]) -> int:
    if rules.card.rounding_scope == "line":
        return sum(rules.tax.of_amount(charge, rules.card.rounding) for charge in charges)
    return rules.tax.of_amount(sum(charges), rules.card.rounding)


def blocks_started(minutes: float, block_minutes: int) -> int:
    """Started blocks: 0 min -> 0, anything up to one block -> 1. A millionth of a block is forgiven (float sums)."""
    return max(0, math.ceil(minutes / block_minutes - 1e-6))


def billed_minutes(
    card: RateCard, steps: Sequence[tuple[str, float]], access_and_test_minutes: float
) -> float:
    """Minutes that are billed by time, for steps given as (id, minutes)."""
    if card.labour_mode == "started_blocks":
        return access_and_test_minutes + sum(minutes for _, minutes in steps)
    return sum(minutes for step_id, minutes in steps if step_id not in card.flat_step_prices)


def charge(card: RateCard, parts: Mapping[str, Part], work: Work, terms: Terms) -> Bill:
    """The bill for work done.

    Raises: BadInputError for absurd minutes or a part without a price; MoneyError for currencies that do not match.
    """
    return charge_by(tariff(card, parts, terms), parts, work)


def charge_by(rules: Tariff, parts: Mapping[str, Part], work: Work) -> Bill:
    """As `charge`, with the compiled card."""
    card = rules.card
    _check_minutes(work)
    steps = [(step.step_id, step.minutes) for step in work.steps]
    minutes = billed_minutes(card, steps, work.access_minutes + work.test_minutes)
    blocks = blocks_started(minutes, card.block_minutes)
    what = billable(rules, [(step.step_id, step.parts, step.helped) for step in work.steps], work.repaired)
    return bill_of(rules, parts, what, settle(rules, what, blocks), blocks)


def _check_minutes(work: Work) -> None:
    named = [(f"steps.{step.step_id}.minutes", step.minutes) for step in work.steps]
    for where, minutes in [
        *named,
        ("access_minutes", work.access_minutes),
        ("test_minutes", work.test_minutes),
    ]:
        if not 0 <= minutes <= LONGEST_JOB_MINUTES:
            raise BadInputError(where, minutes, f"0 to {LONGEST_JOB_MINUTES:.0f} minutes")


def bill_of(rules: Tariff, parts: Mapping[str, Part], what: Billable, amounts: Amounts, blocks: int) -> Bill:
    """The amounts as printed lines. Lines of nothing are left out."""
    card, currency = rules.card, rules.card.currency
    origin = f"rate card {card.id}"
    lines: list[LineItem] = []

    def money(minor: int) -> Money:
        return Money.of_minor(minor, currency)

    def add(kind: LineKind, minor: int, source: str, code: str = "") -> None:
        if minor:
            lines.append(LineItem(kind, code, Decimal(1), "piece", money(minor), money(minor), source))

    def add_share(kind: LineKind, minor: int, percent: Decimal) -> None:
        if minor:
            lines.append(
                LineItem(kind, "", percent, "percent", money(0), money(minor), f"{origin}: {kind}_percent")
            )

    if amounts.time:
        source = f"{origin}: hourly_rate {card.hourly_rate}, blocks of {card.block_minutes} min"
        lines.append(
            LineItem(
                "labour", "", Decimal(blocks), "block", money(rules.block_price), money(amounts.time), source
            )
        )
    for step_id, price in zip(what.flat_steps, amounts.flat, strict=False):
        add("flat_step", price, f"{origin}: flat_step_prices", step_id)
    add("minimum_labour", amounts.minimum_labour, f"{origin}: minimum_labour {card.minimum_labour}")
    add("labour_cap", amounts.labour_cap, f"{origin}: no_fix {card.no_fix}, no_fix_cap {card.no_fix_cap}")
    add_share("priority", amounts.priority, card.priority_percent)
    add_share("second_unit", amounts.second_unit, card.second_unit_percent)
    for part_id, price in zip(what.parts, amounts.parts, strict=True):
        part = parts[part_id]
        add(
            "part",
            price,
            f"parts: {part_id}, {part.condition}, from {part.effective_from.isoformat()}",
            part_id,
        )
    add_share("discount", amounts.discount, card.discount_percent)
    add("assessment_fee", amounts.assessment_fee, f"{origin}: assessment_fee")
    add("assessment_credit", amounts.assessment_credit, f"{origin}: assessment_rule {card.assessment_rule}")
    add(
        "return_shipping",
        amounts.return_shipping,
        f"{origin}: return_shipping {card.return_shipping}; tariff by zone",
    )
    inclusive = card.tax_mode == "inclusive"
    if amounts.tax and not inclusive:
        source = f"{origin}: {card.tax_name}, rounded {card.rounding} by {card.rounding_scope}"
        lines.append(LineItem("tax", "", card.tax_percent, "percent", money(0), money(amounts.tax), source))
    total = total_of((line.amount for line in lines), currency)
    if total.minor != amounts.total:
        raise MoneyError("total", str(total.amount), f"the settled {money(amounts.total).amount}")
    return Bill(tuple(lines), total - money(amounts.tax), money(amounts.tax), total, inclusive)


def tax_of_lines(card: RateCard, lines: Sequence[LineItem]) -> tuple[Money, ...]:
    """The tax in or on each line, for an invoice that shows it line by line; sums to the bill's tax."""
    charged = [line.amount for line in lines if line.kind != "tax"]
    if not charged:
        return ()
    return tax_on(charged, card.tax_percent, card.tax_mode, card.rounding, card.rounding_scope).taxes
