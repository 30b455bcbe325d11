"""Box strength: the simplified McKee formula in two unit systems."""

from __future__ import annotations

import math

import pytest

from intakebot.errors import BadInputError
from intakebot.packing.box import (
    KN_PER_M_PER_LB_PER_IN,
    MCKEE,
    NEWTON_PER_KGF,
    NEWTON_PER_LBF,
    box_strength,
    collapse_load_n,
)

MM_PER_IN = 25.4


def pounds(ect_lb_in: float, caliper_in: float, length_in: float, width_in: float) -> float:
    """The product's answer, asked and told in inches and pounds."""
    newton = collapse_load_n(
        ect_lb_in * KN_PER_M_PER_LB_PER_IN,
        caliper_in * MM_PER_IN,
        length_in * MM_PER_IN,
        width_in * MM_PER_IN,
    )
    return newton / NEWTON_PER_LBF


# Source: test-laboratory page on the simplified McKee equation, BCT = 5.87 x ECT x sqrt(caliper x perimeter).
# 5.87*32*sqrt(0.157*52) = 536.7; 5.87*44*sqrt(0.157*52) = 738.0; 5.87*32*sqrt(0.16*56) = 562.3 (base 14 x 14)
@pytest.mark.parametrize(
    ("ect", "caliper", "length", "width", "lbf"),
    [
        pytest.param(32, 0.157, 14, 12, 536.7, id="ect-32"),
        pytest.param(44, 0.157, 14, 12, 738.0, id="ect-44"),
        pytest.param(32, 0.16, 14, 14, 562.3, id="perimeter-56"),
    ],
)
def test_mckee_examples_in_pounds(
    ect: float, caliper: float, length: float, width: float, lbf: float
) -> None:
    assert round(pounds(ect, caliper, length, width), 1) == lbf


def test_mckee_example_in_si_units() -> None:
    # 32 lb/in = 5.604 kN/m; 0.157 in = 3.9878 mm; 14 x 12 in = 355.6 x 304.8 mm: 2.387 kN = 243 kg
    newton = collapse_load_n(5.604, 3.9878, 355.6, 304.8)

    assert (round(newton / 1000, 3), round(newton / NEWTON_PER_KGF)) == (2.387, 243)


def test_mixing_millimetres_with_metres_would_be_off_by_31_6() -> None:
    wrong = MCKEE * 5.604 * 1000 * math.sqrt(3.9878 * 2 * (0.3556 + 0.3048))

    assert round(wrong / collapse_load_n(5.604, 3.9878, 355.6, 304.8), 1) == 31.6


def test_the_working_load_is_a_fourth_of_the_collapse_load() -> None:
    # 536.7 / 4 = 134 lbf
    strength = box_strength(32 * KN_PER_M_PER_LB_PER_IN, 0.157 * MM_PER_IN, 14 * MM_PER_IN, 12 * MM_PER_IN)

    assert round(strength.working_n / NEWTON_PER_LBF) == 134


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf, 1e6])
def test_absurd_board_or_sizes_are_refused(bad: float) -> None:
    for place in range(4):
        values = [5.6, 4.0, 300.0, 200.0]
        values[place] = bad
        with pytest.raises(BadInputError):
            collapse_load_n(*values)
