"""The estimate's figures, its validity and its JSON form, with the hand-made card and plan of conftest."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import holidays
import numpy as np
import pytest

from intakebot.definitions.model import Part, Pricing, Profile, RateCard
from intakebot.errors import BadInputError, MoneyError
from intakebot.quoting.estimate import Estimate, EstimateCase, make_estimate, valid_until
from intakebot.quoting.estimate_json import estimate_from_json, estimate_to_json, public_estimate
from intakebot.quoting.money import Money, total_of
from intakebot.quoting.outcomes import PlannedOutcome

Plan = tuple[PlannedOutcome, ...]
DAY = date(2026, 11, 25)
CASE = EstimateCase(reference="K7Q2", device_id="console_slot", customer_name="Ada Example")


def weekday(day: date) -> bool:
    return day.weekday() < 5


def pounds(amount: str) -> Money:
    return Money(Decimal(amount), "GBP")


def estimate_of(pricing: Pricing, outcomes: Plan, case: EstimateCase = CASE, **extra: Any) -> Estimate:
    given = {"number": "K7Q2-1", "quoted_on": DAY, "is_working_day": weekday, "seed": 1} | extra
    return make_estimate(pricing, outcomes, case, **given)


def test_all_figures_of_the_plain_plan(pricing: Pricing, two_groups: Plan) -> None:
    estimate = estimate_of(pricing, two_groups)

    # worked in test_distribution.py: 24.00 (.1), 43.20 (.6), 136.80 (.3); mean 69.36; 90 % point 136.80, next 5: 140
    assert [(o.total, o.shown.percent, o.repaired) for o in estimate.outcomes] == [
        (pounds("43.20"), 60, True), (pounds("136.80"), 30, True), (pounds("24.00"), 10, False),
    ]  # fmt: skip
    assert (estimate.p10, estimate.p50, estimate.p90) == (pounds("24.00"), pounds("43.20"), pounds("136.80"))
    assert (estimate.expected, estimate.maximum) == (pounds("69.36"), pounds("140.00"))
    assert (estimate.if_not_repaired, estimate.minimum_fee, estimate.deposit) == (
        pounds("24.00"), pounds("24.00"), pounds("0.00"),
    )  # fmt: skip
    assert estimate.maximum_tax == pounds("23.33")  # 140 x 20/120
    assert (estimate.repaired_shown.percent, estimate.repaired_shown.word) == (90, "very_likely")
    assert (estimate.likely, estimate.rate_card_id, estimate.valid_until) == (0, "plain", date(2026, 12, 25))


def test_lines_of_every_outcome_sum_to_its_total(pricing: Pricing, two_groups: Plan) -> None:
    for outcome in estimate_of(pricing, two_groups).outcomes:
        assert total_of((line.amount for line in outcome.lines), "GBP") == outcome.total
        assert all(line.source for line in outcome.lines)


def test_most_likely_is_a_repair_only_when_a_repair_is_the_likelier_thing(
    pricing: Pricing, two_groups: Plan
) -> None:
    def likely(*chances: float) -> int:
        plan = tuple(replace(item, chance=chance) for item, chance in zip(two_groups, chances, strict=True))
        return estimate_of(pricing, plan).likely

    assert [likely(0.2, 0.35, 0.45), likely(0.3, 0.3, 0.4), likely(0.3, 0.15, 0.55)] == [1, 0, 2]


def test_the_limit_stops_the_plan_and_the_estimate_says_which_steps_are_left_out(
    pricing: Pricing, two_groups: Plan
) -> None:
    estimate = estimate_of(pricing, two_groups, replace(CASE, spending_limit=Decimal("100")))

    assert (estimate.maximum, estimate.stopped_by) == (pounds("45.00"), "limit")
    assert (estimate.authorised_steps, estimate.left_out_steps) == (("clean",), ("swap",))
    assert estimate.parts == ()
    assert [(o.shown.percent, o.repaired) for o in estimate.outcomes] == [(60, True), (40, False)]
    assert estimate.p90 <= estimate.maximum


def test_limit_below_the_minimum_fee_is_refused(pricing: Pricing, two_groups: Plan) -> None:
    with pytest.raises(BadInputError, match="minimum fee"):
        estimate_of(pricing, two_groups, replace(CASE, spending_limit=Decimal("10")))


@pytest.mark.parametrize("field", ["spending_limit", "device_value"])
def test_negative_amounts_are_refused(pricing: Pricing, two_groups: Plan, field: str) -> None:
    with pytest.raises(BadInputError, match=field):
        estimate_of(pricing, two_groups, replace(CASE, **{field: Decimal("-1")}))  # type: ignore[arg-type]


def test_the_card_of_the_conversation_is_kept_when_a_newer_one_is_in_force(
    pricing: Pricing, card: RateCard, two_groups: Plan
) -> None:
    dearer = replace(card, id="dearer", effective_from=date(2026, 11, 1), hourly_rate=Decimal("96.00"))
    both = replace(pricing, rate_cards=(card, dearer))

    assert estimate_of(both, two_groups).rate_card_id == "dearer"
    kept = estimate_of(both, two_groups, card=card)
    assert (kept.rate_card_id, kept.outcomes[0].total) == ("plain", pounds("43.20"))


def test_no_card_in_force_and_no_such_profile_are_refused(
    pricing: Pricing, pricing_with: Callable[..., Pricing], two_groups: Plan
) -> None:
    with pytest.raises(BadInputError, match="rate card is in force"):
        estimate_of(pricing, two_groups, quoted_on=date(2025, 12, 31))
    with pytest.raises(BadInputError, match="profile that exists"):
        estimate_of(pricing_with({"profile": "atlantis"}), two_groups)


def test_parts_in_another_currency_are_refused(
    pricing: Pricing, two_groups: Plan, parts: dict[str, Part]
) -> None:
    euro = replace(pricing, parts={"pickup": (replace(parts["pickup"], currency="EUR"),)})

    with pytest.raises(MoneyError):
        estimate_of(euro, two_groups)


def test_deposit_is_a_share_of_the_maximum(pricing_with: Callable[..., Pricing], two_groups: Plan) -> None:
    assert estimate_of(pricing_with({"deposit_percent": Decimal(25)}), two_groups).deposit == pounds("35.00")


def test_the_legal_ceiling_is_shown_beside_the_maximum(
    pricing_with: Callable[..., Pricing], two_groups: Plan
) -> None:
    """Ohio Adm. Code 109:4-3-05: 140 + the larger of 5 or 14."""
    ohio = pricing_with(None, {"cap_rule": "larger_of", "cap_amount": Decimal(5), "cap_percent": Decimal(10)})

    assert estimate_of(ohio, two_groups).legal_ceiling == pounds("154.00")


def test_same_arguments_same_estimate(pricing: Pricing, two_groups: Plan) -> None:
    assert estimate_of(pricing, two_groups) == estimate_of(pricing, two_groups)


def test_drawn_chances_are_cut_with_the_plan(pricing: Pricing, two_groups: Plan) -> None:
    draws = np.array([[0.6, 0.3, 0.1], [0.2, 0.3, 0.5]])
    case = replace(CASE, spending_limit=Decimal("100"))

    estimate = estimate_of(pricing, two_groups, case, chance_draws=draws)

    # mean chance of the first group .4: 43.20 with .4, 24.00 with .6 = 31.68
    assert estimate.expected == pounds("31.68")


# ---- validity --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("quoted", "last"),
    [
        (date(2026, 11, 25), date(2026, 12, 25)),
        (date(2026, 1, 31), date(2026, 3, 2)),
        (date(2028, 1, 31), date(2028, 3, 1)),
    ],
)
def test_thirty_calendar_days(card: RateCard, profile: Profile, quoted: date, last: date) -> None:
    """Calendar arithmetic: the day of the quote is not counted (Regulation 1182/71 art. 3, from memory)."""
    plain = replace(profile, validity_ends_on_working_day=False)

    assert valid_until(card, plain, quoted, weekday) == last


@pytest.mark.parametrize(
    ("country", "last"),
    [
        ("DE", date(2026, 12, 28)),  # Friday 25 and Saturday 26 December are holidays, 27 is a Sunday
        ("GB", date(2026, 12, 29)),  # and in the UK the 28th stands in for the Saturday
        ("US", date(2026, 12, 28)),
    ],
)
def test_a_quote_that_would_end_on_a_holiday_runs_to_the_next_working_day(
    card: RateCard, profile: Profile, country: str, last: date
) -> None:
    """Regulation (EEC, Euratom) 1182/71 art. 3 (from memory); public holidays by the holidays package."""
    closed = holidays.country_holidays(country, years=(2026, 2027))

    result = valid_until(card, profile, DAY, lambda day: weekday(day) and day not in closed)

    assert result == last
    assert (result - DAY).days >= 30


def test_the_longer_of_card_and_profile_counts(card: RateCard, profile: Profile) -> None:
    assert valid_until(replace(card, validity_days=45), profile, DAY, weekday) >= DAY + timedelta(days=45)
    assert valid_until(replace(card, validity_days=10), profile, DAY, weekday) >= DAY + timedelta(days=30)


def test_a_calendar_that_never_opens_and_absurd_days_are_refused(card: RateCard, profile: Profile) -> None:
    with pytest.raises(BadInputError, match="a shop that opens some day"):
        valid_until(card, profile, DAY, lambda day: False)
    with pytest.raises(BadInputError, match="validity_days"):
        valid_until(replace(card, validity_days=5000), profile, DAY, weekday)


# ---- JSON ------------------------------------------------------------------------------------------------------------


def full_case() -> EstimateCase:
    return replace(
        CASE,
        customer_address=("1 Sample Street", "Exampleton"),
        suspects=(("lens_dirty", 0.6),),
        spending_limit=Decimal("100.50"),
        device_value=Decimal("250"),
        return_shipping=pounds("8.40"),
        completion_date=date(2026, 12, 18),
    )


def test_json_form_round_trips_through_text(pricing: Pricing, two_groups: Plan) -> None:
    for case in (CASE, full_case()):
        estimate = estimate_of(pricing, two_groups, case, supersedes="K7Q2-0")

        assert estimate_from_json(json.loads(json.dumps(estimate_to_json(estimate)))) == estimate


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        (("maximum",), "140.00", r"estimate\.maximum"),
        (("maximum",), {"amount": "x", "currency": "GBP"}, r"estimate\.maximum"),
        (("likely",), "0", r"estimate\.likely"),
        (("valid_until",), "soon", r"estimate\.valid_until"),
        (("stopped_by",), "luck", r"estimate\.stopped_by"),
        (("band",), [], r"estimate\.band"),
        (("outcomes",), {}, r"estimate\.outcomes"),
        (("case",), {}, r"estimate\.case"),
        (("surprise",), 1, "exactly the stored names"),
    ],
)
def test_stored_rubbish_is_refused_by_name(
    pricing: Pricing, two_groups: Plan, path: tuple[str], value: object, message: str
) -> None:
    data = estimate_to_json(estimate_of(pricing, two_groups)) | {path[0]: value}

    with pytest.raises(BadInputError, match=message):
        estimate_from_json(data)


def test_the_public_form_has_prices_but_no_fault_odds_or_sources(pricing: Pricing, two_groups: Plan) -> None:
    public = public_estimate(estimate_of(pricing, two_groups, full_case()))
    text = json.dumps(public)

    assert public["maximum"] == {"amount": "55.00", "currency": "GBP"}  # 36.00 + 8.40, + 20 % = 53.28
    assert {"outcomes", "p10", "p50", "p90", "if_not_repaired", "valid_until", "plan"} <= set(public)
    for secret in ("lens_dirty", "suspects", "source", "seed", "Ada", "Sample Street"):
        assert secret not in text
