"""Choosing a box: it fits with its cushion, level if need be, and the smallest that does."""

from __future__ import annotations

import math
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intakebot.definitions.model import Parcel
from intakebot.errors import BadInputError
from intakebot.packing.parcel import Load, NoParcel, ParcelPlan, choose_parcel

BOXES = tuple(
    Parcel(
        f"box{n}",
        (n, n - 40, n - 100),
        (n + 10, n - 30, n - 85),
        0.2 + n / 1000,
        5.6,
        4.0,
        "invented for the demo",
    )
    for n in range(200, 1000, 50)
)
loads = st.builds(
    Load,
    st.tuples(st.integers(20, 700), st.integers(20, 600), st.integers(10, 500)),
    st.floats(0.2, 25),
    st.floats(25, 120),
    st.booleans(),
)


def test_the_smallest_fitting_box_is_chosen(build: SimpleNamespace) -> None:
    # 340 x 300 x 85 with 50 mm on every side needs 440 x 400 x 185: the medium box (450 x 410 x 200)
    plan = choose_parcel(build.parcels, Load((340, 300, 85), 3.2, 50))

    assert isinstance(plan, ParcelPlan)
    assert (plan.box.id, plan.stands_mm, plan.spare_mm) == ("medium", (340, 300, 85), (55, 55, 57.5))


def test_gross_weight_adds_box_and_padding(build: SimpleNamespace) -> None:
    # 450 * 410 * 200 = 36.9 l, device 8.67 l: 28.23 l of padding at 20 g/l = 0.565 kg; 3.2 + 0.8 + 0.565
    plan = choose_parcel(build.parcels, Load((340, 300, 85), 3.2, 50))

    assert isinstance(plan, ParcelPlan)
    assert (round(plan.padding_litres, 2), round(plan.gross_kg, 3)) == (28.23, 4.565)


def test_a_device_may_lie_on_its_side_unless_a_disc_is_inside(build: SimpleNamespace) -> None:
    # 85 mm upright edge as length: fits the medium box turned, but not standing 300 mm high
    free = choose_parcel(build.parcels, Load((340, 85, 300), 3.2, 50))
    level = choose_parcel(build.parcels, Load((340, 85, 300), 3.2, 50, keep_level=True))

    assert isinstance(free, ParcelPlan)
    assert isinstance(level, NoParcel)
    assert free.box.id == "medium"


def test_a_heavy_device_gets_a_second_box_with_five_centimetres_between(build: SimpleNamespace) -> None:
    # medium outer 460 x 420 x 215 + 100 each = 560 x 520 x 315: the large box (600 x 560 x 350) holds it
    plan = choose_parcel(build.parcels, Load((340, 300, 85), 5.5, 50))

    assert isinstance(plan, ParcelPlan)
    assert plan.outer_box is not None
    assert (plan.box.id, plan.outer_box.id, plan.shipped.id) == ("medium", "large", "large")


def test_double_boxing_without_a_second_box_keeps_the_first(build: SimpleNamespace) -> None:
    plan = choose_parcel(build.parcels[:2], Load((340, 300, 85), 5.5, 50))

    assert isinstance(plan, ParcelPlan)
    assert (plan.cushion.double_box, plan.outer_box) == (True, None)


def test_when_nothing_fits_the_needed_inside_is_told(build: SimpleNamespace) -> None:
    # 50 mm on every side of 700 x 500 x 300, in whole centimetres
    nothing = choose_parcel(build.parcels, Load((700, 500, 300), 4.0, 50))

    assert isinstance(nothing, NoParcel)
    assert nothing.needed_inner_mm == (800, 600, 400)


def test_no_boxes_at_all(build: SimpleNamespace) -> None:
    assert isinstance(choose_parcel((), Load((340, 300, 85), 3.2, 50)), NoParcel)


@given(loads)
def test_every_chosen_box_leaves_the_cushion_on_all_sides(load: Load) -> None:
    plan = choose_parcel(BOXES, load)

    if isinstance(plan, ParcelPlan):
        assert min(plan.spare_mm) >= plan.cushion.thickness_mm >= plan.cushion.least_mm
        assert sorted(plan.stands_mm) == sorted(load.size_mm)
        assert plan.gross_kg > load.weight_kg
        assert not load.keep_level or plan.stands_mm[2] == load.size_mm[2]


@given(loads)
def test_no_smaller_listed_box_would_do(load: Load) -> None:
    plan = choose_parcel(BOXES, load)

    if isinstance(plan, ParcelPlan):
        smaller = [box for box in BOXES if math.prod(box.outer_mm) < math.prod(plan.box.outer_mm)]
        assert isinstance(choose_parcel(smaller, load), NoParcel)


@given(loads)
def test_the_order_of_the_list_does_not_matter(load: Load) -> None:
    assert choose_parcel(BOXES, load) == choose_parcel(tuple(reversed(BOXES)), load)


@pytest.mark.parametrize(
    "size", [(0, 300, 85), (-340, 300, 85), (340, 300, 1501), (math.nan, 300, 85), (340, 300)]
)
def test_absurd_sizes_are_refused(size: tuple[int, ...]) -> None:
    with pytest.raises(BadInputError, match="size_mm"):
        Load(size, 3.2, 50)  # type: ignore[arg-type]


@pytest.mark.parametrize("weight", [0, -2, 61, math.nan, math.inf])
def test_absurd_weights_are_refused(weight: float) -> None:
    with pytest.raises(BadInputError, match="weight_kg"):
        Load((340, 300, 85), weight, 50)
