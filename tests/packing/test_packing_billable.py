"""Billable weight, length plus girth, zones and prices."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intakebot.errors import BadInputError
from intakebot.packing.billable import (
    NotCarried,
    Postage,
    billable_weight,
    length_plus_girth,
    postage,
    round_side,
    tariff_on,
    zone_of,
)

ONE, LIGHT = Decimal(1), Decimal("0.1")
DAY = date(2026, 11, 25)


def d(*values: str) -> list[Decimal]:
    return [Decimal(value) for value in values]


# Sources: published 2025 parcel tariffs (divisors 139 and 166 in3/lb; from 18 August 2025 every fraction of a side up,
# before that half up), as quoted by several pages; an air carrier's own page for 14 x 16 x 16 in and 45 x 45 x 50 cm.
@pytest.mark.parametrize(
    ("sides", "scale", "divisor", "rounding", "volume", "billed"),
    [
        # 20 x 15 x 10 = 3000 / 139 = 21.58 -> 22; 21 x 16 x 11 = 3696 / 139 = 26.59 -> 27
        pytest.param(d("20.4", "15.2", "10.3"), 18, 139, "half_up", "21.58", 22, id="before-august-2025"),
        pytest.param(d("20.4", "15.2", "10.3"), 18, 139, "up", "26.59", 27, id="from-august-2025"),
        # 11.1 x 8.5 x 6.2 = 584.97 / 139 = 4.21; 12 x 9 x 7 = 756 / 139 = 5.44 -> 6
        pytest.param(d("11.1", "8.5", "6.2"), 1, 139, "none", "4.21", 5, id="unrounded"),
        pytest.param(d("11.1", "8.5", "6.2"), 1, 139, "up", "5.44", 6, id="next-whole-pound"),
        pytest.param(d("11", "10", "9"), 1, 139, "up", "7.12", 8, id="990"),
        # 12 x 9 x 5 = 540 / 139 = 3.88 -> 4
        pytest.param(d("11.1", "8.1", "4.1"), 1, 139, "up", "3.88", 4, id="540"),
        pytest.param(d("14", "16", "16"), 1, 166, "up", "21.59", 22, id="air-166"),
        # 101250 / 6000 = 16.875 -> 17; / 5000 = 20.25 -> 21
        pytest.param(d("45", "45", "50"), 1, 6000, "up", "16.88", 17, id="air-6000"),
        pytest.param(d("45", "45", "50"), 1, 5000, "up", "20.25", 21, id="air-5000"),
        # 30000 / 5000 = 6.0 exactly, / 6000 = 5.0 exactly: no further step
        pytest.param(d("40", "30", "25"), 1, 5000, "up", "6.00", 6, id="exact-5000"),
        pytest.param(d("40", "30", "25"), 1, 6000, "up", "5.00", 5, id="exact-6000"),
        # 41 x 31 x 26 = 33046: 6.61 / 5.51
        pytest.param(d("40.2", "30.1", "25.4"), 1, 5000, "up", "6.61", 7, id="fractions-5000"),
        pytest.param(d("40.2", "30.1", "25.4"), 1, 6000, "up", "5.51", 6, id="fractions-6000"),
        pytest.param(d("20.4", "15.2", "10.3"), 40, 139, "up", "26.59", 40, id="scale-weight-wins"),
    ],
)
def test_published_examples(
    sides: list[Decimal], scale: int, divisor: int, rounding: Any, volume: str, billed: int
) -> None:
    billable = billable_weight(sides, Decimal(scale), Decimal(divisor), rounding, ONE)

    assert str(billable.volume_weight.quantize(Decimal("0.01"), rounding="ROUND_HALF_UP")) == volume
    assert billable.weight == billed


def test_a_half_kilogram_step_bills_the_next_half() -> None:
    # 33046 / 6000 = 5.508 -> 6.0; 30500/6000 would be 5.08 -> 5.5
    assert billable_weight(
        d("50", "30.5", "20"), ONE, Decimal(6000), "none", Decimal("0.5")
    ).weight == Decimal("5.5")


def test_divisors_of_both_unit_systems_are_nearly_the_same() -> None:
    # 139 in3/lb * 16.387064 cm3/in3 / 0.45359237 kg/lb = 5021.7; 166 -> 5997.1; the other way 5000 -> 138.4, 6000 -> 166.1
    cm3_per_kg = Decimal("16.387064") / Decimal("0.45359237")
    pairs = [
        round(139 * cm3_per_kg, 1),
        round(166 * cm3_per_kg, 1),
        round(5000 / cm3_per_kg, 1),
        round(6000 / cm3_per_kg, 1),
    ]
    sides = d("40", "30", "20")
    metric = billable_weight(sides, LIGHT, 139 * cm3_per_kg, "none", Decimal("0.0001")).volume_weight
    inches = [side / Decimal("2.54") for side in sides]
    imperial = billable_weight(inches, LIGHT, Decimal(139), "none", Decimal("0.0001")).volume_weight

    assert pairs == d("5021.7", "5997.1", "138.4", "166.1")
    assert abs(metric - imperial * Decimal("0.45359237")) < Decimal("0.0001")


def test_size_counts_only_above_a_cubic_foot_where_the_operator_says_so() -> None:
    # 12 x 12 x 12 = 1728 is not above; 12 x 12 x 13 = 1872 / 166 = 11.28 -> 12
    at = billable_weight(d("12", "12", "12"), Decimal(3), Decimal(166), "up", ONE, Decimal(1728))
    above = billable_weight(d("12", "12", "13"), Decimal(3), Decimal(166), "up", ONE, Decimal(1728))

    assert (at.weight, above.weight) == (3, 12)


@pytest.mark.parametrize(
    ("side", "half_up", "up"),
    [("20.4", 20, 21), ("20.5", 21, 21), ("20", 20, 20), ("0.2", 1, 1), ("20.001", 20, 21)],
)
def test_side_rounding_modes(side: str, half_up: int, up: int) -> None:
    assert (round_side(Decimal(side), "half_up"), round_side(Decimal(side), "up")) == (half_up, up)


# Published: length plus girth of 16 x 14 x 12 in is 68, of 24 x 16 x 16 in is 88.
@pytest.mark.parametrize(("sides", "total"), [(d("14", "16", "12"), 68), (d("16", "24", "16"), 88)])
def test_length_plus_girth(sides: list[Decimal], total: int) -> None:
    assert length_plus_girth(sides) == total


sides_strategy = st.lists(st.decimals("0.5", "200", places=1), min_size=3, max_size=3)


@given(sides_strategy, st.decimals("0.1", "60", places=2))
def test_billable_weight_is_never_below_the_scale_nor_the_volume_weight(
    sides: list[Decimal], scale: Decimal
) -> None:
    billable = billable_weight(sides, scale, Decimal(5000), "up", Decimal("0.5"))

    assert billable.weight >= max(scale, billable.volume_weight)
    assert billable.weight - max(scale, billable.volume_weight) < Decimal("0.5")


@given(sides_strategy, st.integers(0, 2), st.decimals("0", "20", places=1))
def test_a_larger_box_never_costs_less(sides: list[Decimal], which: int, more: Decimal) -> None:
    larger = [side + (more if index == which else 0) for index, side in enumerate(sides)]

    small = billable_weight(sides, ONE, Decimal(5000), "up", ONE)
    large = billable_weight(larger, ONE, Decimal(5000), "up", ONE)

    assert large.weight >= small.weight


@given(sides_strategy)
def test_rounding_up_never_bills_less_than_half_up(sides: list[Decimal]) -> None:
    up = billable_weight(sides, ONE, Decimal(5000), "up", ONE).weight

    assert up >= billable_weight(sides, ONE, Decimal(5000), "half_up", ONE).weight


@pytest.mark.parametrize("bad", ["0", "-3", "NaN", "Infinity", "1e9"])
def test_absurd_sizes_and_weights_are_refused(bad: str) -> None:
    with pytest.raises(BadInputError):
        billable_weight([Decimal(bad), ONE, ONE], ONE, Decimal(5000), "none", ONE)
    with pytest.raises(BadInputError):
        billable_weight([ONE, ONE, ONE], Decimal(bad), Decimal(5000), "none", ONE)
    with pytest.raises(BadInputError):
        billable_weight([ONE, ONE, ONE], ONE, Decimal(bad), "none", ONE)


def test_two_sides_are_not_a_box() -> None:
    with pytest.raises(BadInputError, match="three lengths"):
        billable_weight([ONE, ONE], ONE, Decimal(5000), "none", ONE)


# ---- tariffs ---------------------------------------------------------------------------------------------------------


def test_the_tariff_of_the_day_decides_the_rounding(build: SimpleNamespace) -> None:
    old = build.tariff(effective_from=date(2025, 1, 1), side_rounding="half_up")
    new = build.tariff(effective_from=date(2025, 8, 18), side_rounding="up")
    # 40.4 x 30.4 x 25.4 cm, 1 kg: 40 x 30 x 25 = 30000 / 5000 = 6; 41 x 31 x 26 = 33046 / 5000 = 6.6 -> 7
    outer = (404, 304, 254)

    before = postage([new, old], date(2025, 8, 17), outer, 1.0, "GB")
    after = postage([new, old], date(2025, 8, 18), outer, 1.0, "GB")

    assert isinstance(before, Postage)
    assert isinstance(after, Postage)
    assert (before.billable_kg, after.billable_kg) == (6, 7)


def test_price_comes_from_the_zone_and_the_billable_weight(build: SimpleNamespace) -> None:
    # 460 x 420 x 215 mm: 46 x 42 x 22 = 42504 / 5000 = 8.5 -> 9 kg, home zone up to 15 kg: 14.90
    fee = postage([build.tariff()], DAY, (460, 420, 215), 4.6, "GB")

    assert fee == Postage("parcel", "home", Decimal(9), True, Decimal("14.90"), "GBP", 2, Decimal("50.00"))


def test_a_dense_parcel_pays_by_weight(build: SimpleNamespace) -> None:
    # 20 x 20 x 20 = 8000 / 5000 = 1.6; 4.2 kg on the scale -> 5 kg
    fee = postage([build.tariff()], DAY, (200, 200, 200), 4.2, "GB")

    assert isinstance(fee, Postage)
    assert (fee.billable_kg, fee.by_size, fee.price) == (5, False, Decimal("9.90"))


@pytest.mark.parametrize(
    ("outer", "gross", "country", "reason"),
    [
        pytest.param((200, 200, 200), 30.5, "GB", "too_heavy", id="over-30-kg"),
        pytest.param(
            (1200, 600, 400), 5.0, "GB", "too_large", id="length-plus-girth-320"
        ),  # 120 + 2 * (60 + 40)
        pytest.param((200, 200, 200), 2.0, "AU", "no_zone", id="country-without-zone"),
        pytest.param((500, 500, 300), 2.0, "DE", "no_price", id="15-kg-by-size-above-the-near-zone"),
    ],
)
def test_what_the_carrier_does_not_take_has_a_reason(
    build: SimpleNamespace, outer: tuple[int, int, int], gross: float, country: str, reason: str
) -> None:
    fee = postage([build.tariff()], DAY, outer, gross, country)

    assert isinstance(fee, NotCarried)
    assert fee.reason == reason


def test_limits_of_the_carrier_are_included(build: SimpleNamespace) -> None:
    # 30 kg exactly, and 120 + 2 * (50 + 40) = 300 cm exactly
    heavy = postage([build.tariff()], DAY, (200, 200, 200), 30.0, "GB")
    long = postage([build.tariff(divisor_cm3_per_kg=10000)], DAY, (1200, 500, 400), 5.0, "GB")

    assert isinstance(heavy, Postage)
    assert isinstance(long, Postage)


def test_before_the_first_tariff_there_is_no_price(build: SimpleNamespace) -> None:
    assert postage([build.tariff()], date(2025, 12, 31), (200, 200, 200), 1.0, "GB") == NotCarried(
        "no_tariff"
    )
    assert tariff_on([], DAY) is None


def test_a_star_zone_takes_every_other_country(build: SimpleNamespace) -> None:
    tariff = build.tariff(zones={"home": ("GB",), "world": ("*",)})

    assert [zone_of(tariff, country) for country in ("gb", "AU")] == ["home", "world"]


def test_a_weightless_parcel_is_refused(build: SimpleNamespace) -> None:
    with pytest.raises(BadInputError, match="scale_weight"):
        postage([build.tariff()], DAY, (200, 200, 200), 0.0, "GB")
