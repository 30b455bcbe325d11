"""Charging rules, worked by hand. The plain card: 12.00 per started 15 minutes, at least 24.00, fee 20.00 credited when repaired,
20 % tax on top, rounded half up by total."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from intakebot.definitions.model import Part, Pricing, RateCard
from intakebot.errors import BadInputError, MoneyError
from intakebot.quoting.charging import (
    NO_WORK,
    Bill,
    StepDone,
    Work,
    blocks_started,
    charge,
    tax_of_lines,
)
from intakebot.quoting.money import Money
from intakebot.quoting.tariff import Terms, block_price, part_prices

Cards = Callable[..., RateCard]

CLEANED = Work((StepDone("clean", 10.0, helped=True),), 20.0, 5.0, repaired=True)  # 35 min: 3 blocks, 36.00
SWAPPED = Work(  # 100 min: 7 blocks, 84.00; the belt did not help, the pickup did
    (StepDone("belt", 10.0, ("belt",)), StepDone("swap", 50.0, ("pickup",), helped=True)),
    30.0,
    10.0,
    repaired=True,
)
FAILED = replace(SWAPPED, steps=tuple(replace(step, helped=False) for step in SWAPPED.steps), repaired=False)


def pounds(amount: str) -> Money:
    return Money(Decimal(amount), "GBP")


def shown(bill: Bill) -> list[tuple[str, str]]:
    return [(line.kind, f"{line.amount.amount:f}") for line in bill.lines]


def test_labour_is_billed_in_started_blocks_and_the_fee_is_credited(
    card: RateCard, parts: dict[str, Part]
) -> None:
    bill = charge(card, parts, CLEANED, Terms())

    # 3 x 12.00, fee 20.00 - 20.00, 20 % of 36.00
    assert shown(bill) == [
        ("labour", "36.00"), ("assessment_fee", "20.00"), ("assessment_credit", "-20.00"), ("tax", "7.20"),
    ]  # fmt: skip
    assert (bill.net, bill.tax, bill.total) == (pounds("36.00"), pounds("7.20"), pounds("43.20"))


@pytest.mark.parametrize(("minutes", "blocks"), [(0, 0), (0.5, 1), (15, 1), (15.0001, 2), (30, 2), (44.9, 3)])
def test_a_started_block_counts_whole(minutes: float, blocks: int) -> None:
    assert blocks_started(minutes, 15) == blocks


def test_short_work_is_lifted_to_the_minimum(card: RateCard, parts: dict[str, Part]) -> None:
    quick = Work((StepDone("reset", 5.0, helped=True),), 0.0, 5.0, repaired=True)

    bill = charge(card, parts, quick, Terms())

    # 1 block 12.00, up to 24.00: 12.00 more; tax 4.80
    assert shown(bill)[:2] == [("labour", "12.00"), ("minimum_labour", "12.00")]
    assert bill.total == pounds("28.80")


def test_each_line_is_quantity_times_unit_price(card: RateCard, parts: dict[str, Part]) -> None:
    bill = charge(card, parts, SWAPPED, Terms(return_shipping=pounds("8.40")))

    for line in bill.lines:
        if line.unit != "percent":
            assert line.quantity * line.unit_price.amount == line.amount.amount
            assert line.source


@pytest.mark.parametrize(
    ("rule", "billed_when_repaired", "billed_when_not"),
    [
        ("not_charged", ["pickup"], []),
        ("charged", ["belt", "pickup"], ["belt", "pickup"]),
        ("kept_fitted", ["belt", "pickup"], []),
    ],
)
def test_parts_that_did_not_help(
    card_with: Cards,
    parts: dict[str, Part],
    rule: str,
    billed_when_repaired: list[str],
    billed_when_not: list[str],
) -> None:
    card = card_with(unhelpful_parts=rule)

    repaired = [line.code for line in charge(card, parts, SWAPPED, Terms()).lines if line.kind == "part"]
    failed = [line.code for line in charge(card, parts, FAILED, Terms()).lines if line.kind == "part"]

    assert (repaired, failed) == (billed_when_repaired, billed_when_not)


@pytest.mark.parametrize(
    ("no_fix", "cap", "total"),
    [
        ("assessment_only", "0", "24.00"),  # 20.00 + 20 %
        ("labour_capped", "30.00", "60.00"),  # (30.00 + 20.00) + 20 %
        ("labour_capped", "500.00", "124.80"),  # 84.00 + 20.00 + 20 %: the cap does not bite
        ("free", "0", "0.00"),
    ],
)
def test_no_fix_terms(card_with: Cards, parts: dict[str, Part], no_fix: str, cap: str, total: str) -> None:
    card = card_with(no_fix=no_fix, no_fix_cap=Decimal(cap))

    assert charge(card, parts, FAILED, Terms()).total == pounds(total)


@pytest.mark.parametrize(
    ("rule", "when_repaired", "when_not"),
    [
        ("charged", "67.20", "24.00"),  # 36.00 + 20.00, + 20 %
        ("credited_when_repaired", "43.20", "24.00"),
        ("waived", "43.20", "0.00"),
    ],
)
def test_assessment_fee(
    card_with: Cards, parts: dict[str, Part], rule: str, when_repaired: str, when_not: str
) -> None:
    card = card_with(assessment_rule=rule)

    assert charge(card, parts, CLEANED, Terms()).total == pounds(when_repaired)
    assert charge(card, parts, NO_WORK, Terms()).total == pounds(when_not)


def test_flat_prices_replace_time_for_the_steps_that_have_one(
    card_with: Cards, parts: dict[str, Part]
) -> None:
    card = card_with(labour_mode="flat_by_step", flat_step_prices={"swap": Decimal("55.00")})

    bill = charge(card, parts, SWAPPED, Terms())

    # belt by its own 10 minutes: 1 block 12.00; swap 55.00; access and tests are in the flat prices; pickup 30.00
    assert shown(bill)[:3] == [("labour", "12.00"), ("flat_step", "55.00"), ("part", "30.00")]


def test_percentages_go_on_labour_and_the_discount_on_labour_and_parts(
    card_with: Cards, parts: dict[str, Part]
) -> None:
    card = card_with(discount_percent=Decimal(10))

    bill = charge(card, parts, SWAPPED, Terms(priority=True, second_unit=True))

    # labour 84.00; priority 25 % = 21.00; second unit 15 % = -12.60; part 30.00; discount 10 % of 122.40 = -12.24; tax 20 % of 110.16
    assert shown(bill) == [
        ("labour", "84.00"), ("priority", "21.00"), ("second_unit", "-12.60"), ("part", "30.00"), ("discount", "-12.24"),
        ("assessment_fee", "20.00"), ("assessment_credit", "-20.00"), ("tax", "22.03"),
    ]  # fmt: skip
    assert bill.total == pounds("132.19")


@pytest.mark.parametrize(
    ("rule", "total"), [("by_zone", "53.28"), ("included", "43.20"), ("collected", "43.20")]
)
def test_return_post(card_with: Cards, parts: dict[str, Part], rule: str, total: str) -> None:
    """36.00 + 8.40, + 20 % = 53.28 only when it is charged by zone."""
    card = card_with(return_shipping=rule)

    assert charge(card, parts, CLEANED, Terms(return_shipping=pounds("8.40"))).total == pounds(total)


def test_tax_inside_the_price_is_a_remark_and_no_line(card_with: Cards, parts: dict[str, Part]) -> None:
    card = card_with(tax_mode="inclusive")

    bill = charge(card, parts, CLEANED, Terms())

    # 36.00 holds 6.00 at 20 %
    assert (bill.total, bill.tax, bill.net) == (pounds("36.00"), pounds("6.00"), pounds("30.00"))
    assert "tax" not in [line.kind for line in bill.lines]


@pytest.mark.parametrize(("scope", "tax"), [("line", "0.33"), ("total", "0.32")])
def test_tax_by_line_and_by_total(card_with: Cards, scope: str, tax: str) -> None:
    """Australia, GST Act 1999 s. 9-90: three lines of 1.05 at 10 %, here as one block and two parts of 1.05 each."""
    changes: dict[str, Any] = {
        "hourly_rate": Decimal("4.20"),
        "minimum_labour": Decimal(0),
        "assessment_fee": Decimal(0),
    }
    card = card_with(tax_percent=Decimal(10), rounding_scope=scope, **changes)
    bits = {
        name: Part(name, Decimal("1.05"), "GBP", "new", date(2026, 1, 1), "invented for the demo")
        for name in "ab"
    }
    work = Work((StepDone("fit", 15.0, ("a", "b"), helped=True),), 0.0, 0.0, repaired=True)

    bill = charge(card, bits, work, Terms())

    assert bill.tax == pounds(tax)
    assert sum(item.amount for item in tax_of_lines(card, bill.lines)) == Decimal(tax)


def test_new_zealand_card_drops_the_half_cent(card_with: Cards) -> None:
    """GST Act (New Zealand) s. 19O: 10 % of 1.05 is .105 -> .10."""
    card = card_with(
        hourly_rate=Decimal("4.20"), minimum_labour=Decimal(0), assessment_fee=Decimal(0), tax_percent=Decimal(10), rounding="half_down"
    )  # fmt: skip

    assert charge(card, {}, Work((StepDone("fit", 15.0),), 0.0, 0.0, repaired=True), Terms()).tax == pounds(
        "0.10"
    )


# ---- dated prices and bad input ----------------------------------------------------------------------------------------


def test_part_prices_are_those_in_force_on_the_day(pricing: Pricing) -> None:
    old, new = (
        Part("belt", Decimal(price), "GBP", "new", date(2026, month, 1), "invented for the demo")
        for price, month in (("4.00", 1), ("5.00", 4))
    )
    dated = replace(pricing, parts={"belt": (old, new)})

    assert part_prices(dated, date(2026, 3, 31), "GBP")["belt"].price == Decimal("4.00")
    assert part_prices(dated, date(2026, 4, 1), "GBP")["belt"].price == Decimal("5.00")
    assert part_prices(dated, date(2025, 12, 31), "GBP") == {}


def test_a_part_in_another_currency_is_refused(pricing: Pricing) -> None:
    with pytest.raises(MoneyError, match="rate card's currency"):
        part_prices(pricing, date(2026, 6, 1), "EUR")


def test_a_part_without_a_price_is_refused(card: RateCard) -> None:
    with pytest.raises(BadInputError, match=r"parts\.pickup: found 'no price in force'"):
        charge(card, {}, SWAPPED, Terms())


def test_a_currency_without_a_rate_card_is_refused(card_with: Cards, parts: dict[str, Part]) -> None:
    with pytest.raises(MoneyError, match="currency"):
        charge(card_with(currency="EUR"), parts, CLEANED, Terms())


@pytest.mark.parametrize(
    "changes",
    [
        {"block_minutes": 0},
        {"hourly_rate": Decimal(-1)},
        {"minimum_labour": Decimal(-1)},
        {"assessment_fee": Decimal(-1)},
        {"discount_percent": Decimal(101)},
        {"second_unit_percent": Decimal(-1)},
        {"tax_percent": Decimal(-1)},
        {"minimum_labour": Decimal("24.005")},
    ],
)
def test_a_card_that_makes_no_sense_is_refused(card_with: Cards, changes: dict[str, Any]) -> None:
    with pytest.raises(BadInputError):
        charge(card_with(**changes), {}, CLEANED, Terms())


@pytest.mark.parametrize("minutes", [-1.0, 1e9, float("nan"), float("inf")])
def test_absurd_minutes_are_refused(card: RateCard, minutes: float) -> None:
    with pytest.raises(BadInputError, match="minutes"):
        charge(card, {}, replace(CLEANED, access_minutes=minutes), Terms())


@pytest.mark.parametrize(
    "post", [Money(Decimal("-1.00"), "GBP"), Money(Decimal("8.405"), "GBP"), Money(Decimal(8), "EUR")]
)
def test_absurd_return_post_is_refused(card: RateCard, post: Money) -> None:
    with pytest.raises(BadInputError):
        charge(card, {}, CLEANED, Terms(return_shipping=post))


def test_the_block_price_is_rounded_where_it_is_printed(card_with: Cards) -> None:
    """50.00 an hour in blocks of 20 minutes: 16.666... -> 16.67, and every block costs that."""
    card = card_with(hourly_rate=Decimal("50.00"), block_minutes=20)

    assert block_price(card) == pounds("16.67")
    assert charge(card, {}, CLEANED, Terms()).lines[0].amount == pounds("33.34")  # 35 min: 2 blocks
