"""A rough idea of how much a corrugated box carries.

Simplified McKee formula: BCT = 5.87 x ECT x sqrt(caliper x perimeter), for a regular slotted box with upright flutes.
It is the top load at which an empty box collapses in a test press, **not** what it may be stacked with: damp, time and
handling take it to about a fourth. One study found 52 % average error on unusual boxes, so it is shown as rough, always.
The constant has no unit only when every length has the same one: caliper in millimetres with perimeter in metres is
wrong by a factor of sqrt(1000) = 31.6. Here everything is turned into metres first.
Source: published test-laboratory page on the simplified McKee equation; McKee, Gander and Wachuta (1963), from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from intakebot.errors import BadInputError

MCKEE = 5.87
WORKING_DIVISOR = 4.0
"""Common practice: 4 to 5 for time, damp and handling."""
NEWTON_PER_LBF = 4.4482216152605
NEWTON_PER_KGF = 9.80665
KN_PER_M_PER_LB_PER_IN = NEWTON_PER_LBF / 0.0254 / 1000


@dataclass(frozen=True)
class BoxStrength:
    """collapse_n: estimated test-press collapse load. working_n: a fourth of it. Both rough."""

    collapse_n: float
    working_n: float

    @property
    def working_kg(self) -> float:
        return self.working_n / NEWTON_PER_KGF


def collapse_load_n(ect_kn_per_m: float, caliper_mm: float, length_mm: float, width_mm: float) -> float:
    """Estimated collapse load in newton of an empty box with this base. Raises: BadInputError."""
    for where, value, up_to in (
        ("ect_kn_per_m", ect_kn_per_m, 100.0),
        ("caliper_mm", caliper_mm, 50.0),
        ("length_mm", length_mm, 5000.0),
        ("width_mm", width_mm, 5000.0),
    ):
        if not (math.isfinite(value) and 0 < value <= up_to):
            raise BadInputError(where, value, f"a number above 0 and up to {up_to:g}")
    perimeter_m = 2 * (length_mm + width_mm) / 1000
    return MCKEE * ect_kn_per_m * 1000 * math.sqrt(caliper_mm / 1000 * perimeter_m)


def box_strength(ect_kn_per_m: float, caliper_mm: float, length_mm: float, width_mm: float) -> BoxStrength:
    """Collapse and working load, both to be shown as rough."""
    collapse = collapse_load_n(ect_kn_per_m, caliper_mm, length_mm, width_mm)
    return BoxStrength(collapse, collapse / WORKING_DIVISOR)
