"""What pricing/ says, frozen: the shop, rate cards, parts, parcels, tariffs, calendar, profiles, chance words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal


@dataclass(frozen=True)
class RateCard:
    """What the shop charges; closed vocabulary. Amounts in `currency`, before tax if tax_mode is exclusive."""

    id: str
    currency: str
    effective_from: date
    source: str
    labour_mode: Literal["started_blocks", "flat_by_step"]
    hourly_rate: Decimal
    block_minutes: int
    minimum_labour: Decimal
    flat_step_prices: Mapping[str, Decimal]
    assessment_fee: Decimal
    assessment_rule: Literal["charged", "credited_when_repaired", "waived"]
    unhelpful_parts: Literal["not_charged", "charged", "kept_fitted"]
    no_fix: Literal["assessment_only", "labour_capped", "free"]
    no_fix_cap: Decimal
    priority_percent: Decimal
    return_shipping: Literal["by_zone", "included", "collected"]
    deposit_percent: Decimal
    discount_percent: Decimal
    second_unit_percent: Decimal
    tax_mode: Literal["exclusive", "inclusive"]
    tax_percent: Decimal
    tax_name: str
    rounding: Literal["half_up", "half_down", "half_even"]
    rounding_scope: Literal["line", "total"]
    maximum_percentile: int  # the maximum is this percentile of the price, rounded up ...
    maximum_step: Decimal  # ... to this step
    validity_days: int
    question_burden_money: Decimal  # money value of one easy question to a customer
    stop_threshold_amount: Decimal  # tau = max(amount, percent of the price)
    stop_threshold_percent: Decimal
    narrowing_weight: float  # money per money of expected drop in the price's standard deviation
    profile: str
    warranty_days: int
    minutes_doubt: float = 0.15  # sigma of ln of one factor common to all minutes: the medians may be off
    chances_worth_boxes: float = 30.0  # the plan's chances count as knowledge from so many boxes
    loan_item: Literal["none", "free"] = "none"
    old_parts: Literal["returned", "on_request", "kept"] = "on_request"


@dataclass(frozen=True)
class Part:
    id: str
    price: Decimal
    currency: str
    condition: Literal["new", "used", "rebuilt"]
    effective_from: date
    source: str
    lead_days: int = 0
    stocked: bool = True


@dataclass(frozen=True)
class Parcel:
    """A box the shop recommends: inner sides in mm, its own weight, board strength for the rough estimate."""

    id: str
    inner_mm: tuple[int, int, int]
    outer_mm: tuple[int, int, int]
    tare_kg: float
    ect_kn_per_m: float
    caliper_mm: float
    source: str


@dataclass(frozen=True)
class ShippingTariff:
    """An invented carrier's tariff: zones by postcode prefix or country, dated rounding, price by billable kg."""

    id: str
    currency: str
    effective_from: date
    source: str
    divisor_cm3_per_kg: int
    side_rounding: Literal["up", "half_up", "none"]
    weight_step_kg: Decimal
    zones: Mapping[str, tuple[str, ...]]  # zone -> countries
    prices: Mapping[str, tuple[tuple[Decimal, Decimal], ...]]  # zone -> ((up to kg, price), ...)
    maximum_kg: Decimal
    maximum_length_plus_girth_cm: Decimal
    transit_business_days: Mapping[str, int]
    liability_limit: Decimal


@dataclass(frozen=True)
class Calendar:
    """country/subdivision for public holidays, weekdays the shop works (0 = Monday), own closures.

    usual_*: jobs a working day and bench minutes of one job, used for dates until the shop's records say better.
    """

    country: str
    subdivision: str | None
    working_weekdays: tuple[int, ...]
    closures: tuple[tuple[date, date, str], ...]
    source: str
    bench_hours_per_day: float
    turnaround_percentile: int
    usual_jobs_per_day: float = 1.0
    usual_bench_minutes: float = 90.0
    usual_bench_minutes_sd: float = 60.0


@dataclass(frozen=True)
class Profile:
    """A jurisdiction's written-estimate rules as dated data; general information, not legal advice."""

    id: str
    effective_from: date
    source: str
    required_fields: tuple[str, ...]
    cap_rule: Literal["none", "amount", "percent", "larger_of"]
    cap_amount: Decimal
    cap_percent: Decimal
    minimum_validity_days: int
    validity_ends_on_working_day: bool
    notices: tuple[str, ...]  # text keys


@dataclass(frozen=True)
class ChanceWord:
    """A word for a chance: lower bound (inclusive). Text key `chance.<id>`."""

    id: str
    at_least: float
    source: str


@dataclass(frozen=True)
class Shop:
    """The demo shop, invented."""

    name: str
    legal_name: str
    registration: str
    address: tuple[str, ...]
    country: str
    postcode: str
    email: str
    phone: str
    website: str
    opening_hours_key: str
    timezone: str
    source: str


@dataclass(frozen=True)
class Pricing:
    shop: Shop
    rate_cards: tuple[RateCard, ...]  # sorted by effective_from
    parts: Mapping[str, tuple[Part, ...]]  # dated prices, sorted
    parcels: tuple[Parcel, ...]
    tariffs: tuple[ShippingTariff, ...]
    calendar: Calendar
    profiles: Mapping[str, Profile]
    chance_words: tuple[ChanceWord, ...]  # rising at_least

    def rate_card_on(self, day: date) -> RateCard:
        """The card in force on a day: the latest that is effective by then.

        Raises: LookupError when none is.
        """
        cards = [card for card in self.rate_cards if card.effective_from <= day]
        if not cards:
            raise LookupError(f"no rate card is in force on {day.isoformat()}")
        return cards[-1]
