"""Drop heights, cushions and static stress against the published tables and worked examples."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intakebot.errors import BadInputError
from intakebot.packing.cushion import (
    KPA_PER_PSI,
    bearing_area,
    cushion_for,
    cushion_thickness,
    drop_height_in,
    drop_height_mm,
    fragility_band,
    impact_speed,
    linear_deflection,
    needs_double_box,
    peak_force_ratio,
    static_stress_kpa,
)

WEIGHTS = st.floats(0.05, 68)
FRAGILITIES = st.floats(10, 200)


# Source: ISTA procedures 1A and 2A, drop heights by package weight as printed by two test houses (kg brackets).
@pytest.mark.parametrize(
    ("weight_kg", "ista_1a", "ista_2a"),
    [
        pytest.param(0.1, 760, 970, id="light"),
        pytest.param(9.99, 760, 970, id="just-below-10"),
        pytest.param(10.0, 610, 810, id="at-10"),
        pytest.param(18.99, 610, 810, id="just-below-19"),
        pytest.param(19.0, 460, 660, id="at-19"),
        pytest.param(28.0, 310, 510, id="at-28"),
        pytest.param(44.99, 310, 510, id="just-below-45"),
        pytest.param(45.0, 200, 310, id="at-45"),
        pytest.param(68.0, 200, 310, id="heaviest"),
    ],
)
def test_drop_height_follows_the_kilogram_brackets(weight_kg: float, ista_1a: float, ista_2a: float) -> None:
    assert (drop_height_mm(weight_kg), drop_height_mm(weight_kg, "ista_2a")) == (ista_1a, ista_2a)


# Source: the same table's pound brackets: 20.99 lb -> 30 in, 21 lb -> 24 in, and on to 150 lb.
@pytest.mark.parametrize(
    ("weight_lb", "inches"),
    [(20.99, 30), (21, 24), (40.9, 24), (41, 18), (61, 12), (99.9, 12), (100, 8), (150, 8)],
)
def test_pound_brackets_are_their_own_table(weight_lb: float, inches: float) -> None:
    assert drop_height_in(weight_lb) == inches


# sqrt(2 * 9.80665 * h): 0.76 -> 3.861, 0.61 -> 3.459, 0.46 -> 3.004, 0.31 -> 2.466, 0.20 -> 1.981
@pytest.mark.parametrize(
    ("drop_mm", "speed"), [(760, 3.86), (610, 3.46), (460, 3.00), (310, 2.47), (200, 1.98)]
)
def test_impact_speed_is_that_of_free_fall(drop_mm: float, speed: float) -> None:
    assert round(impact_speed(drop_mm), 2) == speed


def test_bearing_area_matches_the_packaging_makers_example() -> None:
    # 36 lb product, usable static stress 0.4 to 1.2 psi: 36 / 1.2 = 30 sq in least foam, 36 / 0.4 = 90 most
    assert [round(bearing_area(36, stress), 9) for stress in (1.2, 0.4)] == [30, 90]


def test_static_stress_of_4_5_kg_on_200_square_centimetres() -> None:
    # 4.5 kg * 9.80665 N/kg / 0.02 m2 = 2206.5 Pa = 2.206 kPa; / 6.894757 = 0.320 psi
    stress = static_stress_kpa(4.5, 200)

    assert (round(stress, 3), round(stress / KPA_PER_PSI, 3)) == (2.206, 0.320)


# Energy balance: x = 2 h / (G - 2), h = 760: 1520/23 = 66.1, 1520/38 = 40.0, 1520/58 = 26.2, 1520/83 = 18.3
@pytest.mark.parametrize(("fragility", "millimetres"), [(25, 66), (40, 40), (60, 26), (85, 18)])
def test_an_ideal_linear_cushion_gives_way_by_2h_over_g_minus_2(fragility: float, millimetres: int) -> None:
    assert round(linear_deflection(760, fragility)) == millimetres


# Rule of thumb x = 2 h / G: 1520/25 = 60.8, 1520/40 = 38, 1520/60 = 25.3, 1520/85 = 17.9
@pytest.mark.parametrize(("fragility", "millimetres"), [(25, 61), (40, 38), (60, 25), (85, 18)])
def test_the_rule_of_thumb_is_the_ideal_cushion_for_two_g_more(fragility: float, millimetres: int) -> None:
    assert round(linear_deflection(760, fragility + 2)) == millimetres


# t = C h / G with C = 3, h = 760: 2280/25 = 91.2, 2280/40 = 57, 2280/60 = 38, 2280/85 = 26.8
@pytest.mark.parametrize(("fragility", "millimetres"), [(25, 91), (40, 57), (60, 38), (85, 27)])
def test_cushion_thickness_by_the_cushion_factor(fragility: float, millimetres: int) -> None:
    assert round(cushion_thickness(760, fragility, 3)) == millimetres


def test_cushion_thickness_works_in_inches_too() -> None:
    assert cushion_thickness(30, 40, 3) == 2.25


def test_five_centimetres_all_round_is_about_factor_3_at_45_g() -> None:
    # 3 * 760 / 45 = 50.67 mm
    assert round(cushion_thickness(760, 45, 3)) == 51


# Bands in G: MIL-HDBK-304, from memory.
@pytest.mark.parametrize(
    ("fragility", "band"),
    [
        (15, "extremely_fragile"),
        (24.9, "extremely_fragile"),
        (25, "very_delicate"),
        (40, "delicate"),
        (59.9, "delicate"),
        (60, "moderately_delicate"),
        (85, "moderately_rugged"),
        (110, "rugged"),
        (150, "rugged"),
    ],
)
def test_fragility_bands(fragility: float, band: str) -> None:
    assert fragility_band(fragility) == band


@pytest.mark.parametrize(
    ("fragility", "weight_kg", "double"), [(50, 5.0, False), (50, 5.1, True), (39.9, 1, True), (40, 1, False)]
)
def test_double_box_below_40_g_or_above_5_kg(fragility: float, weight_kg: float, double: bool) -> None:
    assert needs_double_box(fragility, weight_kg) is double


def test_a_cushion_is_never_thinner_than_the_usual_clearance_and_in_whole_5_mm() -> None:
    # G 60: 38 mm asked, clearance 50 wins; G 40: 57 mm asked, rounded up to 60; G 45: 50.67 -> 55
    thicknesses = [cushion_for(4.0, fragility, 3.0).thickness_mm for fragility in (60, 40, 45)]

    assert thicknesses == [50, 60, 55]


@given(st.floats(1, 5000), st.floats(1, 5000), FRAGILITIES)
def test_thickness_rises_with_the_drop(one: float, other: float, fragility: float) -> None:
    low, high = sorted((one, other))

    assert cushion_thickness(low, fragility) <= cushion_thickness(high, fragility)


@given(st.floats(1, 5000), FRAGILITIES, FRAGILITIES)
def test_thickness_falls_with_the_fragility_level(drop: float, one: float, other: float) -> None:
    low, high = sorted((one, other))

    assert cushion_thickness(drop, low) >= cushion_thickness(drop, high)


@given(WEIGHTS, WEIGHTS, st.floats(0.1, 50))
def test_bearing_area_rises_with_the_weight(one: float, other: float, stress: float) -> None:
    low, high = sorted((one, other))

    assert bearing_area(low, stress) <= bearing_area(high, stress)


@given(WEIGHTS, WEIGHTS)
def test_a_heavier_package_never_falls_from_higher(one: float, other: float) -> None:
    low, high = sorted((one, other))

    assert drop_height_mm(low) >= drop_height_mm(high)
    assert drop_height_mm(low) < drop_height_mm(low, "ista_2a")


@given(st.floats(1, 5000), FRAGILITIES)
def test_deflection_and_peak_force_are_inverse(drop: float, fragility: float) -> None:
    assert math.isclose(peak_force_ratio(drop, linear_deflection(drop, fragility)), fragility, rel_tol=1e-9)


@given(WEIGHTS, FRAGILITIES)
def test_the_chosen_cushion_is_thicker_than_it_must_give_way(weight: float, fragility: float) -> None:
    cushion = cushion_for(weight, fragility, weight)

    assert cushion.thickness_mm >= cushion.least_mm > cushion.gives_way_mm


@pytest.mark.parametrize("weight", [0, -1, 68.1, 1e9, math.nan, math.inf])
def test_absurd_weights_are_refused(weight: float) -> None:
    with pytest.raises(BadInputError, match="weight_kg"):
        drop_height_mm(weight)


@pytest.mark.parametrize("fragility", [0, -5, 1001, math.nan])
def test_absurd_fragilities_are_refused(fragility: float) -> None:
    with pytest.raises(BadInputError, match="fragility_g"):
        cushion_thickness(760, fragility)


def test_a_peak_of_two_g_cannot_be_cushioned() -> None:
    # Even a load laid on gently is felt twofold: 2 + 2 h / x > 2 for every x.
    with pytest.raises(BadInputError, match="fragility_g"):
        linear_deflection(760, 2)
