"""The maximum and the plan under it, by hand; and the published cap rules."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from intakebot.definitions.model import Part, Profile, RateCard
from intakebot.errors import BadInputError
from intakebot.quoting.charging import charge
from intakebot.quoting.distribution import work_of
from intakebot.quoting.maximum import AuthorisedPlan, authorised_plan, deposit, legal_ceiling, minimum_fee
from intakebot.quoting.money import Money
from intakebot.quoting.outcomes import DoneSoFar, PlannedOutcome, PlannedStep, after_work
from intakebot.quoting.tariff import Terms, tariff

Plan = tuple[PlannedOutcome, ...]
Cards = Callable[..., RateCard]

# Prices of the plan (tests/quoting/test_distribution.py): 24.00 when not repaired (.1), 43.20 after cleaning (.6), 136.80 after the swap (.3)


def pounds(amount: str) -> Money:
    return Money(Decimal(amount), "GBP")


def plan_for(
    card: RateCard, parts: dict[str, Part], outcomes: Plan, limit: str | None = None, **extra: Any
) -> AuthorisedPlan:
    rules = tariff(card, parts, Terms())
    return authorised_plan(rules, parts, outcomes, pounds(limit) if limit else None, **extra)


def test_the_maximum_is_the_percentile_rounded_up_to_the_step(
    card: RateCard, parts: dict[str, Part], two_groups: Plan
) -> None:
    plan = plan_for(card, parts, two_groups)

    # the 90 % point is 136.80; the next multiple of 5 is 140
    assert (plan.maximum, plan.stopped_by, plan.left_out) == (pounds("140.00"), "percentile", ())
    assert plan.outcomes == two_groups


def test_a_lower_percentile_leaves_dear_steps_out(
    card_with: Cards, parts: dict[str, Part], two_groups: Plan
) -> None:
    plan = plan_for(card_with(maximum_percentile=60), parts, two_groups)

    # over all ends the 60 % point is 43.20; over repairs, too (.6 of .9 = 66.7 %); next multiple of 5 is 45: the swap does not fit
    assert plan.maximum == pounds("45.00")
    assert [step.plan_id for step in plan.left_out] == ["swap"]
    assert [(round(outcome.chance, 9), outcome.repaired) for outcome in plan.outcomes] == [
        (0.6, True),
        (0.4, False),
    ]


def test_a_poor_chance_does_not_make_the_maximum_too_small_for_any_repair(
    card: RateCard, parts: dict[str, Part], two_groups: Plan
) -> None:
    poor = tuple(
        replace(item, chance=chance) for item, chance in zip(two_groups, (0.03, 0.02, 0.95), strict=True)
    )

    plan = plan_for(card, parts, poor)

    # over all ends the 90 % point is the 24.00 of no repair; over repairs alone it is 136.80
    assert plan.maximum == pounds("140.00")
    assert plan.can_start


@pytest.mark.parametrize(
    ("limit", "maximum", "stopped_by", "left_out"),
    [
        ("200.00", "140.00", "percentile", []),
        ("136.80", "136.80", "limit", []),
        ("136.79", "45.00", "limit", ["swap"]),  # what remains costs 43.20: nobody agrees to more than 45
        ("44.00", "44.00", "limit", ["swap"]),
        ("43.20", "43.20", "limit", ["swap"]),
        ("43.19", "43.19", "limit", ["clean", "swap"]),
        ("24.00", "24.00", "limit", ["clean", "swap"]),
    ],
)
def test_the_customer_s_limit_stops_the_plan(
    card: RateCard,
    parts: dict[str, Part],
    two_groups: Plan,
    limit: str,
    maximum: str,
    stopped_by: str,
    left_out: list[str],
) -> None:
    plan = plan_for(card, parts, two_groups, limit)

    assert (plan.maximum, plan.stopped_by) == (pounds(maximum), stopped_by)
    assert [step.plan_id for step in plan.left_out] == left_out
    assert plan.can_start == ("clean" not in left_out)


def test_a_limit_below_the_minimum_fee_is_refused(
    card: RateCard, parts: dict[str, Part], two_groups: Plan
) -> None:
    """The fee is 20.00 and 20 % tax: 24.00."""
    with pytest.raises(
        BadInputError, match=r"spending_limit: found '23\.99', expected at least 24\.00 GBP, the minimum fee"
    ):
        plan_for(card, parts, two_groups, "23.99")


def test_no_fix_bills_count_against_the_maximum_too(
    card_with: Cards, parts: dict[str, Part], two_groups: Plan
) -> None:
    card = card_with(no_fix="labour_capped", no_fix_cap=Decimal("500.00"))

    plan = plan_for(card, parts, two_groups, "60.00")

    # cleaning alone, not repaired: 36.00 + 20.00, + 20 % = 67.20, above the limit, although repaired it would be 43.20
    assert not plan.can_start


def test_work_done_before_a_revision_stays_in_the_plan(
    card: RateCard, parts: dict[str, Part], two_groups: Plan
) -> None:
    done = DoneSoFar((PlannedStep("reset", "reset", 5.0, 0.0),), 0.0, 5.0)
    rest = after_work(two_groups, done)

    plan = plan_for(card, parts, rest, "50.00", done=done)

    # 5 + 5 minutes more than before: 45 min, still 3 blocks, 43.20
    assert plan.can_start
    assert [step.plan_id for step in plan.outcomes[0].steps] == ["reset", "clean"]
    nothing_fits = plan_for(card, parts, rest, "30.00", done=done)
    assert [step.plan_id for outcome in nothing_fits.outcomes for step in outcome.steps] == ["reset"]


def test_a_step_done_but_not_tested_is_billed_once_and_may_still_have_helped(
    card: RateCard, parts: dict[str, Part], two_groups: Plan
) -> None:
    """The swap took 70 minutes instead of 50 and waits for its test: 10 + 70 + 30 + 10 = 120 min, 8 blocks."""
    done = DoneSoFar((PlannedStep("swap", "swap", 70.0, 0.0, ("pickup",)),))

    first, second, _ = after_work(two_groups, done)

    assert [step.plan_id for step in second.steps] == ["swap", "clean"]
    assert [step.plan_id for step in first.steps] == ["swap", "clean"]
    bill = charge(card, parts, work_of(second), Terms())
    assert [(line.kind, line.amount) for line in bill.lines[:2]] == [
        ("labour", pounds("96.00")),
        ("part", pounds("30.00")),
    ]


@pytest.mark.parametrize("percentile", [0, 101])
def test_a_percentile_outside_its_range_is_refused(
    card_with: Cards, parts: dict[str, Part], two_groups: Plan, percentile: int
) -> None:
    with pytest.raises(BadInputError, match="maximum_percentile"):
        plan_for(card_with(maximum_percentile=percentile), parts, two_groups)


def test_minimum_fee_and_deposit(card_with: Cards, parts: dict[str, Part]) -> None:
    rules = tariff(card_with(deposit_percent=Decimal(30)), parts, Terms(return_shipping=pounds("8.40")))

    assert minimum_fee(rules, parts) == pounds("34.08")  # (20.00 + 8.40) + 20 %
    assert deposit(rules, pounds("140.00")) == pounds("42.00")


@pytest.mark.parametrize(
    ("figure", "ceiling"), [("40.00", "45.00"), ("50.00", "55.00"), ("60.00", "66.00"), ("25.00", "30.00")]
)
def test_the_larger_of_five_or_ten_percent(profile: Profile, figure: str, ceiling: str) -> None:
    """Ohio Adm. Code 109:4-3-05: 40 -> 45 (5 is more than 4), 50 -> 55 (both equal), 60 -> 66, 25 -> 30."""
    ohio = replace(profile, cap_rule="larger_of", cap_amount=Decimal("5.00"), cap_percent=Decimal(10))

    assert legal_ceiling(ohio, pounds(figure)) == pounds(ceiling)


@pytest.mark.parametrize(("rule", "ceiling"), [("amount", "62.50"), ("percent", "66.00"), ("none", None)])
def test_other_cap_rules(profile: Profile, rule: str, ceiling: str | None) -> None:
    capped = replace(profile, cap_rule=rule, cap_amount=Decimal("2.50"), cap_percent=Decimal(10))  # type: ignore[arg-type]

    assert legal_ceiling(capped, pounds("60.00")) == (pounds(ceiling) if ceiling else None)


def test_a_ceiling_in_percent_never_rounds_in_the_shop_s_favour(profile: Profile) -> None:
    """10 % of 10.05 is 1.005: the half cent is dropped."""
    capped = replace(profile, cap_rule="percent", cap_percent=Decimal(10))

    assert legal_ceiling(capped, pounds("10.05")) == pounds("11.05")


def test_california_and_quebec_bear_nothing_above_the_figure(profile: Profile) -> None:
    """California B&P 9844, Quebec CPA s. 183: no charge above the estimate without consent; our authorised maximum is that figure."""
    capped = replace(profile, cap_rule="amount", cap_amount=Decimal(0))

    assert legal_ceiling(capped, pounds("140.00")) == pounds("140.00")
