"""Laws that hold for every rate card, plan and limit (property tests)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intakebot.definitions.model import Part, RateCard
from intakebot.errors import BadInputError
from intakebot.quoting.chances import chances_shown, word_for
from intakebot.quoting.charging import StepDone, Work, charge
from intakebot.quoting.distribution import price_distribution, quick_points, quick_price
from intakebot.quoting.maximum import authorised_plan, minimum_fee
from intakebot.quoting.money import Money, allocate, divide_rounded, rounded, tax_on, total_of
from intakebot.quoting.outcomes import PlannedOutcome, PlannedStep
from intakebot.quoting.tariff import Terms, tariff

MODES = st.sampled_from(["half_up", "half_down", "half_even"])
CURRENCIES = st.sampled_from(["GBP", "JPY", "KWD", "CLF"])
PART_IDS = ("pickup", "belt", "gear")


@st.composite
def rate_cards(draw: st.DrawFn) -> RateCard:
    currency = draw(CURRENCIES)

    def amount(most: int) -> Decimal:
        return Money.of_minor(draw(st.integers(0, most)), currency).amount

    def percent(most: int) -> Decimal:
        return Decimal(draw(st.integers(0, most * 10))) / 10

    return RateCard(
        id="drawn", currency=currency, effective_from=date(2026, 1, 1), source="invented for the demo",
        labour_mode=draw(st.sampled_from(["started_blocks", "flat_by_step"])), hourly_rate=amount(20_000),
        block_minutes=draw(st.sampled_from([1, 10, 15, 30, 60])), minimum_labour=amount(5_000),
        flat_step_prices={"s0": amount(9_000)} if draw(st.booleans()) else {}, assessment_fee=amount(4_000),
        assessment_rule=draw(st.sampled_from(["charged", "credited_when_repaired", "waived"])),
        unhelpful_parts=draw(st.sampled_from(["not_charged", "charged", "kept_fitted"])),
        no_fix=draw(st.sampled_from(["assessment_only", "labour_capped", "free"])), no_fix_cap=amount(6_000),
        priority_percent=percent(100), return_shipping=draw(st.sampled_from(["by_zone", "included", "collected"])),
        deposit_percent=percent(100), discount_percent=percent(100), second_unit_percent=percent(100),
        tax_mode=draw(st.sampled_from(["exclusive", "inclusive"])), tax_percent=percent(30), tax_name="tax",
        rounding=draw(MODES), rounding_scope=draw(st.sampled_from(["line", "total"])),
        maximum_percentile=draw(st.integers(50, 100)), maximum_step=amount(1_000), validity_days=30,
        question_burden_money=Decimal(1), stop_threshold_amount=Decimal(1), stop_threshold_percent=Decimal(1),
        narrowing_weight=0.1, profile="house", warranty_days=90,
    )  # fmt: skip


def prices_in(currency: str) -> dict[str, Part]:
    return {
        part_id: Part(part_id, Money.of_minor(price, currency).amount, currency, "new", date(2026, 1, 1), "invented for the demo")
        for part_id, price in zip(PART_IDS, (3_000, 499, 1), strict=True)
    }  # fmt: skip


@st.composite
def terms_for(draw: st.DrawFn, currency: str) -> Terms:
    post = draw(st.none() | st.integers(0, 3_000))
    shipping = None if post is None else Money.of_minor(post, currency)
    return Terms(draw(st.booleans()), draw(st.booleans()), shipping)


@st.composite
def plans(draw: st.DrawFn) -> tuple[PlannedOutcome, ...]:
    groups = draw(st.integers(1, 4))
    weights = draw(st.lists(st.integers(1, 50), min_size=groups + 1, max_size=groups + 1))
    steps: list[PlannedStep] = []
    outcomes: list[PlannedOutcome] = []
    access = test = 0.0
    for number in range(groups):
        added = [
            PlannedStep(
                f"s{number}{letter}" if number else f"s{number}", f"s{number}",
                draw(st.floats(0, 90)), draw(st.floats(0, 0.8)), tuple(draw(st.lists(st.sampled_from(PART_IDS), max_size=2))),
            )
            for letter in ("a" if number == 0 else "ab")
        ]  # fmt: skip
        steps += added
        access, test = access + draw(st.floats(0, 40)), test + draw(st.floats(0, 10))
        tested = tuple(step.plan_id for step in added)
        outcomes.append(
            PlannedOutcome(weights[number] / sum(weights), tuple(steps), tested, access, test, repaired=True)
        )
    outcomes.append(replace(outcomes[-1], chance=weights[-1] / sum(weights), repaired=False))
    return tuple(outcomes)


@settings(deadline=None)
@given(st.data(), rate_cards())
def test_the_sum_of_the_shown_lines_is_the_shown_total_and_never_negative(
    data: st.DataObject, card: RateCard
) -> None:
    done = tuple(
        StepDone(f"s{number}", data.draw(st.floats(0, 300)), ("pickup", "belt")[: data.draw(st.integers(0, 2))], data.draw(st.booleans()))
        for number in range(data.draw(st.integers(0, 4)))
    )  # fmt: skip
    work = Work(done, data.draw(st.floats(0, 200)), data.draw(st.floats(0, 60)), data.draw(st.booleans()))
    terms = data.draw(terms_for(card.currency))

    bill = charge(card, prices_in(card.currency), work, terms)

    assert total_of((line.amount for line in bill.lines), card.currency) == bill.total
    assert bill.net + bill.tax == bill.total
    assert bill.total.amount >= 0
    assert bill.total.minor == int(
        bill.total.amount.scaleb({"GBP": 2, "JPY": 0, "KWD": 3, "CLF": 4}[card.currency])
    )


@settings(deadline=None)
@given(
    st.lists(st.integers(0, 100_000), min_size=1, max_size=12),
    st.integers(0, 300),
    st.sampled_from(["exclusive", "inclusive"]),
    MODES,
    st.sampled_from(["line", "total"]),
    CURRENCIES,
)
def test_tax_of_the_lines_sums_to_the_tax(
    lines: list[int], tenths: int, mode: str, rounding: str, scope: str, currency: str
) -> None:
    amounts = [Money.of_minor(line, currency) for line in lines]

    shown = tax_on(amounts, Decimal(tenths) / 10, mode, rounding, scope)  # type: ignore[arg-type]

    assert total_of(shown.taxes, currency) == shown.tax
    assert shown.net + shown.tax == shown.total
    assert all(tax.amount >= 0 for tax in shown.taxes)
    if scope == "total":  # the tax of the sum is within half a unit of exact
        rate = Fraction(tenths, 1000)
        share = rate if mode == "exclusive" else rate / (1 + rate)
        assert abs(Fraction(shown.tax.minor) - sum(lines) * share) <= Fraction(1, 2)


@settings(deadline=None)
@given(st.integers(-100_000, 100_000), st.lists(st.integers(0, 1000), min_size=1, max_size=15), CURRENCIES)
def test_shares_sum_to_the_total_and_are_within_one_unit_of_exact(
    total: int, weights: list[int], currency: str
) -> None:
    shares = allocate(Money.of_minor(total, currency), weights)

    used = weights if any(weights) else [1] * len(weights)
    assert sum(share.minor for share in shares) == total
    for share, weight in zip(shares, used, strict=True):
        assert abs(share.minor - Fraction(total * weight, sum(used))) < 1


@settings(deadline=None)
@given(st.integers(-(10**9), 10**9), st.integers(1, 10**6), MODES)
def test_rounding_is_never_further_than_half_a_unit(numerator: int, denominator: int, mode: str) -> None:
    result = divide_rounded(numerator, denominator, mode)  # type: ignore[arg-type]

    assert abs(result - Fraction(numerator, denominator)) <= Fraction(1, 2)
    assert divide_rounded(-numerator, denominator, mode) == -result  # type: ignore[arg-type]


@settings(deadline=None)
@given(st.decimals(-1000, 1000, places=6), MODES)
def test_rounding_agrees_with_the_decimal_module(amount: Decimal, mode: str) -> None:
    """Reference: the standard library's decimal contexts."""
    reference = amount.quantize(Decimal("0.01"), rounding=f"ROUND_{mode.upper()}")

    assert rounded(amount, "USD", mode).amount == reference  # type: ignore[arg-type]


@settings(max_examples=60, deadline=None)
@given(st.data(), rate_cards(), plans())
def test_price_points_are_a_distribution_over_prices_that_bills_can_have(
    data: st.DataObject, card: RateCard, outcomes: tuple[PlannedOutcome, ...]
) -> None:
    prices = prices_in(card.currency)
    rules = tariff(card, prices, data.draw(terms_for(card.currency)))

    points = quick_points(rules, outcomes)
    quick = quick_price(rules, outcomes)
    drawn = price_distribution(rules, prices, outcomes, seed=data.draw(st.integers(0, 99)))

    assert sum(chance for _, chance in points) == pytest.approx(1)
    assert [price for price, _ in points] == sorted({price for price, _ in points})
    assert quick.p10 <= quick.p50 <= quick.p90
    assert points[0][0] >= 0
    assert sum(chance for _, chance in drawn.points) == pytest.approx(1)
    assert drawn.percentile(10) <= drawn.percentile(50) <= drawn.percentile(90)


@settings(max_examples=150, deadline=None)
@given(st.data(), rate_cards(), plans())
def test_no_outcome_of_the_authorised_plan_passes_the_maximum(
    data: st.DataObject, card: RateCard, outcomes: tuple[PlannedOutcome, ...]
) -> None:
    prices = prices_in(card.currency)
    terms = data.draw(terms_for(card.currency))
    rules = tariff(card, prices, terms)
    limit = data.draw(
        st.none() | st.integers(0, 30_000).map(lambda minor: Money.of_minor(minor, card.currency))
    )
    least = minimum_fee(rules, prices)
    if limit is not None and limit < least:
        with pytest.raises(BadInputError, match="minimum fee"):
            authorised_plan(rules, prices, outcomes, limit)
        return

    plan = authorised_plan(rules, prices, outcomes, limit)
    paid = price_distribution(rules, prices, plan.outcomes, seed=1).capped(plan.maximum)

    assert limit is None or plan.maximum <= limit
    for outcome in plan.outcomes:
        work = Work(
            tuple(StepDone(step.step_id, step.minutes, step.parts, outcome.helped(step)) for step in outcome.steps),
            outcome.access_minutes, outcome.test_minutes, outcome.repaired,
        )  # fmt: skip
        assert charge(card, prices, work, terms).total <= plan.maximum
    assert paid.points[-1][0] <= plan.maximum.minor
    assert sum(outcome.chance for outcome in plan.outcomes) == pytest.approx(1)
    inside = {step.plan_id for outcome in plan.outcomes for step in outcome.steps}
    assert inside.isdisjoint(step.plan_id for step in plan.left_out)
    assert inside | {step.plan_id for step in plan.left_out} == {
        step.plan_id for item in outcomes for step in item.steps
    }


@settings(max_examples=60, deadline=None)
@given(rate_cards(), plans(), st.integers(0, 20_000))
def test_a_higher_limit_never_authorises_less(
    card: RateCard, outcomes: tuple[PlannedOutcome, ...], extra: int
) -> None:
    prices = prices_in(card.currency)
    rules = tariff(card, prices, Terms())
    low = minimum_fee(rules, prices)
    high = low + Money.of_minor(extra, card.currency)

    smaller, larger = (authorised_plan(rules, prices, outcomes, limit) for limit in (low, high))

    assert smaller.maximum <= low
    assert larger.maximum <= high
    assert len(smaller.outcomes) <= len(larger.outcomes)


@settings(deadline=None)
@given(st.lists(st.floats(0.0001, 1.0), min_size=1, max_size=9))
def test_printed_chances_sum_to_a_hundred_and_words_agree_with_them(
    words: Callable, weights: list[float]
) -> None:
    total = sum(weights)

    shown = chances_shown([weight / total for weight in weights], words)

    if len(weights) > 1:
        assert sum(item.percent for item in shown) == 100
    assert all(1 <= item.percent <= 99 for item in shown)
    assert all(item.word == word_for(item.percent, words) for item in shown)
