"""How thick a cushion must be, and why.

A parcel is dropped sooner or later; the lighter it is, the higher it is thrown. Test procedures fix a drop height by
package weight. For an ideal linear cushion the energy balance m g (h + x) = k x^2 / 2 gives the peak force in units of
the weight, G = 2 + 2 h / x, so to keep G under the product's fragility the cushion must give way by x = 2 h / (G - 2).
Real foam is thicker than it gives way, so the handbook rule is t = C h / G with a cushion factor C of about 3.
Fragility here is *assumed by kind of device*, never measured.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

from intakebot.errors import BadInputError

DropTable = Literal["ista_1a", "ista_2a"]

# Source: drop heights of ISTA procedures 1A and 2A, as printed by two test houses (kilogram brackets; the pound
# brackets printed beside them do not convert exactly, so the two units are never mixed). (from kg, below kg) -> mm.
_DROPS_MM: dict[DropTable, tuple[tuple[float, float], ...]] = {
    "ista_1a": ((10, 760), (19, 610), (28, 460), (45, 310)),
    "ista_2a": ((10, 970), (19, 810), (28, 660), (45, 510)),
}
_LAST_DROP_MM: dict[DropTable, float] = {"ista_1a": 200, "ista_2a": 310}
HEAVIEST_KG = 68.0
# The same table's pound brackets -> inches (procedure 1A), for shops that weigh in pounds.
_DROPS_IN: tuple[tuple[float, float], ...] = ((21, 30), (41, 24), (61, 18), (100, 12))
_LAST_DROP_IN = 8.0
HEAVIEST_LB = 150.0

GRAVITY = 9.80665
"""Standard gravity in m/s2 (ISO 80000-3)."""
CUSHION_FACTOR = 3.0
"""C in t = C h / G; 2.5 to 4 for usual foams, 3 is a common start (FPL cushioning method, from memory)."""
CLEARANCE_MM = 50.0
"""Least space to every side and between items (postal and shippers' advice, 2 in / 5 cm)."""
DOUBLE_BOX_G, DOUBLE_BOX_KG = 40.0, 5.0
"""Double boxing is suggested below this fragility or above this weight (common practice, no source)."""
DOUBLE_BOX_GAP_MM = (50.0, 80.0)
KPA_PER_PSI = 6.894757293168
"""1 lbf/in2 = 4.4482216152605 N / 0.00064516 m2 (NIST SP 811)."""

Fragility = Literal[
    "extremely_fragile",
    "very_delicate",
    "delicate",
    "moderately_delicate",
    "moderately_rugged",
    "rugged",
]
# Upper bound (exclusive) in G, from MIL-HDBK-304, from memory; common practice as to which device is in which band.
_BANDS: tuple[tuple[float, Fragility], ...] = (
    (25, "extremely_fragile"),
    (40, "very_delicate"),
    (60, "delicate"),
    (85, "moderately_delicate"),
    (110, "moderately_rugged"),
)


@dataclass(frozen=True)
class Cushion:
    """What to put around the device.

    thickness_mm: t = C h / G, not less than the usual clearance, rounded up to whole 5 mm.
    least_mm: what C h / G alone asks for. gives_way_mm: deflection of an ideal linear cushion at that thickness's G.
    """

    drop_mm: float
    impact_m_per_s: float
    fragility_g: float
    band: Fragility
    factor: float
    least_mm: float
    gives_way_mm: float
    thickness_mm: float
    double_box: bool

    def to_mapping(self) -> dict[str, Any]:
        return {
            "drop_mm": self.drop_mm,
            "impact_m_per_s": round(self.impact_m_per_s, 2),
            "fragility_g": self.fragility_g,
            "fragility_band": self.band,
            "fragility_is": "assumed",
            "cushion_factor": self.factor,
            "least_mm": round(self.least_mm, 1),
            "gives_way_mm": round(self.gives_way_mm, 1),
            "thickness_mm": self.thickness_mm,
            "double_box": self.double_box,
        }


def drop_height_mm(weight_kg: float, table: DropTable = "ista_1a") -> float:
    """Drop height for a package weight in kilograms; a bracket includes its lower and excludes its upper bound.

    Raises: BadInputError for a weight that is not a number, not above 0, or above 68 kg.
    """
    _check("weight_kg", weight_kg, 0, HEAVIEST_KG)
    for below_kg, height in _DROPS_MM[table]:
        if weight_kg < below_kg:
            return height
    return _LAST_DROP_MM[table]


def drop_height_in(weight_lb: float) -> float:
    """Drop height in inches for a weight in pounds (ISTA 1A pound brackets). Raises: BadInputError."""
    _check("weight_lb", weight_lb, 0, HEAVIEST_LB)
    for below_lb, height in _DROPS_IN:
        if weight_lb < below_lb:
            return height
    return _LAST_DROP_IN


def impact_speed(drop_mm: float) -> float:
    """Speed in m/s after a free fall, sqrt(2 g h)."""
    _check("drop_mm", drop_mm, 0, 10_000)
    return math.sqrt(2 * GRAVITY * drop_mm / 1000)


def fragility_band(fragility_g: float) -> Fragility:
    """Name of the band that holds a fragility in G. Raises: BadInputError below 1 G or above 1000 G."""
    _check("fragility_g", fragility_g, 1, 1000)
    return next((band for below, band in _BANDS if fragility_g < below), "rugged")


def cushion_thickness(drop: float, fragility_g: float, factor: float = CUSHION_FACTOR) -> float:
    """t = C h / G, in the unit of `drop`. Rises with the drop height, falls with the fragility level."""
    _check("drop", drop, 0, 10_000)
    _check("fragility_g", fragility_g, 1, 1000)
    _check("factor", factor, 1, 20)
    return factor * drop / fragility_g


def peak_force_ratio(drop: float, deflection: float) -> float:
    """Peak force over weight of an ideal linear cushion that gives way by `deflection`: 2 + 2 h / x, exactly."""
    _check("drop", drop, 0, 10_000)
    _check("deflection", deflection, 0, 10_000)
    return 2 + 2 * drop / deflection


def linear_deflection(drop: float, fragility_g: float) -> float:
    """x = 2 h / (G - 2): how far an ideal linear cushion gives way when the peak is G.

    Raises: BadInputError for G of 2 or less: even a load laid on gently is felt twofold.
    """
    _check("drop", drop, 0, 10_000)
    _check("fragility_g", fragility_g, 2, 1000)
    return 2 * drop / (fragility_g - 2)


def bearing_area(weight: float, static_stress: float) -> float:
    """Area of cushion per side that carries a weight at a static stress, W / s, in the units given.

    Source: the packaging maker's worked method: 36 lb at 1.2 psi needs 30 square inches, at 0.4 psi 90.
    """
    _check("weight", weight, 0, 10_000)
    _check("static_stress", static_stress, 0, 10_000)
    return weight / static_stress


def static_stress_kpa(weight_kg: float, area_cm2: float) -> float:
    """Static stress W / A in kilopascal. 1 N per cm2 is 10 kPa."""
    _check("weight_kg", weight_kg, 0, 10_000)
    _check("area_cm2", area_cm2, 0, 1_000_000)
    return weight_kg * GRAVITY / area_cm2 * 10


def needs_double_box(fragility_g: float, weight_kg: float) -> bool:
    """Whether a second box around the first is suggested (5 to 8 cm of padding between them)."""
    return fragility_g < DOUBLE_BOX_G or weight_kg > DOUBLE_BOX_KG


def cushion_for(
    package_kg: float,
    fragility_g: float,
    device_kg: float,
    table: DropTable = "ista_1a",
    factor: float = CUSHION_FACTOR,
) -> Cushion:
    """The cushion for a package of this weight, never thinner than the usual clearance, in whole 5 mm.

    Raises: BadInputError for a weight or fragility outside what the tables cover.
    """
    drop = drop_height_mm(package_kg, table)
    least = cushion_thickness(drop, fragility_g, factor)
    return Cushion(
        drop_mm=drop,
        impact_m_per_s=impact_speed(drop),
        fragility_g=fragility_g,
        band=fragility_band(fragility_g),
        factor=factor,
        least_mm=least,
        gives_way_mm=linear_deflection(drop, fragility_g),
        thickness_mm=math.ceil(round(max(least, CLEARANCE_MM) / 5, 9)) * 5.0,
        double_box=needs_double_box(fragility_g, device_kg),
    )


def _check(where: str, value: float, above: float, up_to: float) -> None:
    if not (isinstance(value, int | float) and math.isfinite(value) and above < value <= up_to):
        raise BadInputError(where, value, f"a number above {above:g} and up to {up_to:g}")
