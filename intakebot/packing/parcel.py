"""Which box: the smallest one that holds the device with its cushion on every side.

A candidate's own weight decides the drop height and so the cushion it must hold, so each box is checked with its own
cushion. A device with a disc stuck inside travels level: then its height stays upright in the box.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from intakebot.definitions.model import Parcel
from intakebot.errors import BadInputError
from intakebot.packing.box import BoxStrength, box_strength
from intakebot.packing.cushion import DOUBLE_BOX_GAP_MM, Cushion, DropTable, cushion_for

Size = tuple[int, int, int]

PADDING_KG_PER_LITRE = 0.02
"""Paper, foam or air cushions, about 20 g a litre (common practice, no source)."""
LONGEST_MM, HEAVIEST_KG = 1500, 60.0
"""A device beyond this is a typing mistake or not a parcel."""


@dataclass(frozen=True)
class Load:
    """What goes into the box: outer size in mm (length, width, height as it stands), weight, assumed fragility."""

    size_mm: Size
    weight_kg: float
    fragility_g: float
    keep_level: bool = False

    def __post_init__(self) -> None:
        if len(self.size_mm) != 3 or not all(_in_range(side, LONGEST_MM) for side in self.size_mm):
            raise BadInputError("size_mm", self.size_mm, f"three sides above 0 and up to {LONGEST_MM} mm")
        if not _in_range(self.weight_kg, HEAVIEST_KG):
            raise BadInputError("weight_kg", self.weight_kg, f"a weight above 0 and up to {HEAVIEST_KG:g} kg")


@dataclass(frozen=True)
class ParcelPlan:
    """A box that fits.

    box: the box around the device. outer_box: the second one when double boxing is suggested and the shop lists one.
    stands_mm: the device's sides in the order of the box's. spare_mm: free space to each side (half of what is left),
    never below the cushion. gross_kg: everything together. padding_litres: loose padding to have ready.
    """

    box: Parcel
    outer_box: Parcel | None
    stands_mm: Size
    spare_mm: tuple[float, float, float]
    cushion: Cushion
    gross_kg: float
    padding_litres: float
    strength: BoxStrength

    @property
    def shipped(self) -> Parcel:
        """The box the carrier sees."""
        return self.outer_box or self.box

    def to_mapping(self) -> dict[str, Any]:
        return {
            "box": self.box.id,
            "outer_box": self.outer_box.id if self.outer_box else None,
            "inner_mm": list(self.box.inner_mm),
            "shipped_outer_mm": list(self.shipped.outer_mm),
            "device_mm": list(self.stands_mm),
            "spare_mm": list(self.spare_mm),
            "gross_kg": round(self.gross_kg, 2),
            "padding_litres": round(self.padding_litres),
            "box_working_load_kg_rough": round(self.strength.working_kg),
        }


@dataclass(frozen=True)
class NoParcel:
    """No listed box fits; the customer needs one with at least these inner sides."""

    needed_inner_mm: Size
    cushion: Cushion
    gross_kg: float

    def to_mapping(self) -> dict[str, Any]:
        return {
            "box": None,
            "needed_inner_mm": list(self.needed_inner_mm),
            "gross_kg": round(self.gross_kg, 2),
        }


def choose_parcel(
    parcels: Sequence[Parcel], load: Load, table: DropTable = "ista_1a"
) -> ParcelPlan | NoParcel:
    """The fitting box with the smallest outer volume; ties go to the lighter box, then by id.

    Raises: BadInputError from Load, or from the cushion tables.
    """
    fitting = [plan for parcel in parcels if (plan := _try(parcel, load, table)) is not None]
    if not fitting:
        return _own_box(load, table)
    best = min(fitting, key=lambda plan: (math.prod(plan.box.outer_mm), plan.box.tare_kg, plan.box.id))
    return _with_outer_box(best, parcels) if best.cushion.double_box else best


def _try(parcel: Parcel, load: Load, table: DropTable) -> ParcelPlan | None:
    void_litres = (math.prod(parcel.inner_mm) - math.prod(load.size_mm)) / 1e6
    if void_litres <= 0:
        return None
    gross = load.weight_kg + parcel.tare_kg + void_litres * PADDING_KG_PER_LITRE
    cushion = cushion_for(gross, load.fragility_g, load.weight_kg, table)
    stands = _stand(load, parcel.inner_mm)
    spare = tuple((inner - side) / 2 for inner, side in zip(parcel.inner_mm, stands, strict=True))
    if min(spare) < cushion.thickness_mm:
        return None
    length, width, _ = parcel.outer_mm
    return ParcelPlan(
        box=parcel,
        outer_box=None,
        stands_mm=stands,
        spare_mm=(spare[0], spare[1], spare[2]),
        cushion=cushion,
        gross_kg=gross,
        padding_litres=void_litres,
        strength=box_strength(parcel.ect_kn_per_m, parcel.caliper_mm, length, width),
    )


def _stand(load: Load, inner: Size) -> Size:
    """The device's sides in the order that matches the box's: longest to longest; upright if it must stay level."""
    if load.keep_level:
        base = sorted(load.size_mm[:2])
        return (
            (base[1], base[0], load.size_mm[2])
            if inner[0] >= inner[1]
            else (base[0], base[1], load.size_mm[2])
        )
    sides = sorted(load.size_mm)
    order = sorted(range(3), key=lambda axis: inner[axis])
    placed = [0, 0, 0]
    for axis, side in zip(order, sides, strict=True):
        placed[axis] = side
    return (placed[0], placed[1], placed[2])


def _with_outer_box(plan: ParcelPlan, parcels: Sequence[Parcel]) -> ParcelPlan:
    """The same plan in a second box with at least 5 cm around the first, if the shop lists one."""
    gap = DOUBLE_BOX_GAP_MM[0]
    first = sorted(plan.box.outer_mm)
    outer = [
        parcel
        for parcel in parcels
        if all(big >= small + 2 * gap for big, small in zip(sorted(parcel.inner_mm), first, strict=True))
    ]
    if not outer:
        return plan
    best = min(outer, key=lambda parcel: (math.prod(parcel.outer_mm), parcel.tare_kg, parcel.id))
    extra_litres = (math.prod(best.inner_mm) - math.prod(plan.box.outer_mm)) / 1e6
    gross = plan.gross_kg + best.tare_kg + extra_litres * PADDING_KG_PER_LITRE
    length, width, _ = best.outer_mm
    return ParcelPlan(
        box=plan.box,
        outer_box=best,
        stands_mm=plan.stands_mm,
        spare_mm=plan.spare_mm,
        cushion=plan.cushion,
        gross_kg=gross,
        padding_litres=plan.padding_litres + extra_litres,
        strength=box_strength(best.ect_kn_per_m, best.caliper_mm, length, width),
    )


def _own_box(load: Load, table: DropTable) -> NoParcel:
    cushion = cushion_for(load.weight_kg, load.fragility_g, load.weight_kg, table)
    needed = tuple(math.ceil((side + 2 * cushion.thickness_mm) / 10) * 10 for side in load.size_mm)
    litres = (math.prod(needed) - math.prod(load.size_mm)) / 1e6
    return NoParcel(
        (needed[0], needed[1], needed[2]), cushion, load.weight_kg + litres * PADDING_KG_PER_LITRE
    )


def _in_range(value: float, up_to: float) -> bool:
    return isinstance(value, int | float) and math.isfinite(value) and 0 < value <= up_to
