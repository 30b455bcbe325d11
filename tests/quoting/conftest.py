"""Hand-made rate card, parts and plans; every number is chosen so that results can be worked on paper."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from intakebot.definitions.model import (
    Calendar,
    ChanceWord,
    Part,
    Pricing,
    Profile,
    RateCard,
    Shop,
)
from intakebot.quoting.outcomes import PlannedOutcome, PlannedStep

DEMO = "invented for the demo"

CARD = RateCard(
    id="plain",
    currency="GBP",
    effective_from=date(2026, 1, 1),
    source=DEMO,
    labour_mode="started_blocks",
    hourly_rate=Decimal("48.00"),  # 12.00 for each started 15 minutes
    block_minutes=15,
    minimum_labour=Decimal("24.00"),
    flat_step_prices={},
    assessment_fee=Decimal("20.00"),
    assessment_rule="credited_when_repaired",
    unhelpful_parts="not_charged",
    no_fix="assessment_only",
    no_fix_cap=Decimal("0.00"),
    priority_percent=Decimal(25),
    return_shipping="by_zone",
    deposit_percent=Decimal(0),
    discount_percent=Decimal(0),
    second_unit_percent=Decimal(15),
    tax_mode="exclusive",
    tax_percent=Decimal(20),
    tax_name="tax",
    rounding="half_up",
    rounding_scope="total",
    maximum_percentile=90,
    maximum_step=Decimal("5.00"),
    validity_days=30,
    question_burden_money=Decimal("0.50"),
    stop_threshold_amount=Decimal("4.00"),
    stop_threshold_percent=Decimal(3),
    narrowing_weight=0.1,
    profile="house",
    warranty_days=90,
    minutes_doubt=0.0,
    chances_worth_boxes=float("inf"),
)

PROFILE = Profile(
    id="house",
    effective_from=date(2026, 1, 1),
    source=DEMO,
    required_fields=("repairer_name", "item", "maximum", "valid_until", "local_law", "not_legal_advice"),
    cap_rule="none",
    cap_amount=Decimal(0),
    cap_percent=Decimal(0),
    minimum_validity_days=30,
    validity_ends_on_working_day=True,
    notices=(),
)

WORDS = tuple(
    ChanceWord(name, at_least, "published: ICD 203 (2015); bands from memory")
    for name, at_least in (
        ("almost_none", 0.0),
        ("very_unlikely", 0.05),
        ("unlikely", 0.20),
        ("even", 0.45),
        ("likely", 0.55),
        ("very_likely", 0.80),
        ("almost_certain", 0.95),
    )
)

SHOP = Shop(
    name="Corner Bench",
    legal_name="Corner Bench Ltd",
    registration="none",
    address=("1 Corner", "Exampleton"),
    country="GB",
    postcode="EX1 1AA",
    email="bench@example.com",
    phone="+44 1632 960001",
    website="https://bench.example.com",
    opening_hours_key="shop.opening_hours",
    timezone="Europe/London",
    source=DEMO,
)


def make_part(part_id: str, price: str, **changes: Any) -> Part:
    part = Part(part_id, Decimal(price), "GBP", "new", date(2026, 1, 1), DEMO)
    return replace(part, **changes)


PARTS = {"pickup": make_part("pickup", "30.00"), "belt": make_part("belt", "5.00", condition="used")}

CALENDAR = Calendar("GB", None, (0, 1, 2, 3, 4), (), DEMO, 6.0, 80)

PRICING = Pricing(
    shop=SHOP,
    rate_cards=(CARD,),
    parts={part_id: (part,) for part_id, part in PARTS.items()},
    parcels=(),
    tariffs=(),
    calendar=CALENDAR,
    profiles={"house": PROFILE},
    chance_words=WORDS,
)

CLEAN = PlannedStep("clean", "clean", 10.0, 0.0)
SWAP = PlannedStep("swap", "swap", 50.0, 0.0, ("pickup",))
BELT = PlannedStep("belt", "belt", 20.0, 0.0, ("belt",))

# Clean (10 min, 25 min access and test): 35 min = 3 blocks. Clean and swap (60 min, 40 min): 100 min = 7 blocks.
TWO_GROUPS = (
    PlannedOutcome(0.6, (CLEAN,), ("clean",), 20.0, 5.0, repaired=True),
    PlannedOutcome(0.3, (CLEAN, SWAP), ("swap",), 30.0, 10.0, repaired=True),
    PlannedOutcome(0.1, (CLEAN, SWAP), ("swap",), 30.0, 10.0, repaired=False),
)


@pytest.fixture(scope="session")
def card() -> RateCard:
    return CARD


@pytest.fixture(scope="session")
def card_with() -> Callable[..., RateCard]:
    def change(**changes: Any) -> RateCard:
        return replace(CARD, **changes)

    return change


@pytest.fixture(scope="session")
def parts() -> dict[str, Part]:
    return PARTS


@pytest.fixture(scope="session")
def pricing() -> Pricing:
    return PRICING


@pytest.fixture(scope="session")
def pricing_with() -> Callable[..., Pricing]:
    def change(
        card_changes: dict[str, Any] | None = None, profile_changes: dict[str, Any] | None = None
    ) -> Pricing:
        card = replace(CARD, **(card_changes or {}))
        profile = replace(PROFILE, **(profile_changes or {}))
        return replace(PRICING, rate_cards=(card,), profiles={profile.id: profile})

    return change


@pytest.fixture(scope="session")
def profile() -> Profile:
    return PROFILE


@pytest.fixture(scope="session")
def words() -> tuple[ChanceWord, ...]:
    return WORDS


@pytest.fixture(scope="session")
def two_groups() -> tuple[PlannedOutcome, ...]:
    return TWO_GROUPS
