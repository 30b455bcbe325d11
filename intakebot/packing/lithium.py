"""May a cell travel, and does the parcel need a mark?

Air rules change every year, so every rule that changed carries its date, and the carrier's own rules come first: a
parcel within a country often flies. Limits for the small-battery sections: ion (and sodium ion, from memory) cell up to
20 Wh, battery up to 100 Wh; metal cell up to 1 g, battery up to 2 g of lithium.
Source: 49 CFR 173.185 and guidance on the air packing instructions 965 to 970 and 976 to 978 (secondary pages, several
agreeing); marks and sodium-ion limits from memory. General information, not advice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal, cast

from intakebot.definitions.model import Device
from intakebot.errors import BadInputError

Chemistry = Literal["ion", "metal", "sodium_ion"]
How = Literal["alone", "packed_with", "in_equipment", "button_in_equipment"]
Status = Literal["none", "no_mark", "mark", "not_by_post", "never"]
ChargeLimit = Literal["none", "advised", "required"]

CHARGE_RULE_FROM = date(2026, 1, 1)
"""From this day cells packed *with* equipment above 2.7 Wh may be charged to 30 % at most; before it was advice."""
CHARGE_RULE_ABOVE_WH = 2.7
MOST_CHARGE_PERCENT = 30

_NUMBERS: dict[Chemistry, tuple[str, str]] = {
    "ion": ("UN3480", "UN3481"),
    "metal": ("UN3090", "UN3091"),
    "sodium_ion": ("UN3551", "UN3552"),
}
_INSTRUCTIONS: dict[Chemistry, tuple[int, int, int]] = {
    "ion": (965, 966, 967),
    "metal": (968, 969, 970),
    "sodium_ion": (976, 977, 978),
}
# Largest (cell, battery): watt-hours, or grams of lithium for metal.
_SMALL: dict[Chemistry, tuple[float, float]] = {"ion": (20, 100), "metal": (1, 2), "sodium_ion": (20, 100)}


@dataclass(frozen=True)
class Cells:
    """The cells in one package.

    amount: watt-hours per cell or battery (ion, sodium ion), or grams of lithium (metal).
    is_battery: several cells joined; False for single cells. count: how many in a package. packages: in the consignment.
    """

    chemistry: Chemistry
    how: How
    amount: float
    is_battery: bool = True
    count: int = 1
    packages: int = 1
    damaged: bool = False

    def __post_init__(self) -> None:
        if not (math.isfinite(self.amount) and 0 < self.amount <= 100_000):
            raise BadInputError("amount", self.amount, "watt-hours (or grams of lithium) above 0")
        for where, number in (("count", self.count), ("packages", self.packages)):
            if not 1 <= number <= 10_000:
                raise BadInputError(where, number, "a whole number from 1")


@dataclass(frozen=True)
class LithiumRule:
    """status: `never` = damaged, not to be posted at all; `not_by_post` = only as declared dangerous goods.

    un, packing_instruction: None without cells. charge_limit: about the 30 % state of charge.
    notes: codes of remarks, texts under `packing.lithium.note.<code>`.
    """

    status: Status
    un: str | None = None
    packing_instruction: int | None = None
    charge_limit: ChargeLimit = "none"
    notes: tuple[str, ...] = ()

    def to_mapping(self) -> dict[str, Any]:
        return {
            "status": self.status,
            "un": self.un,
            "packing_instruction": self.packing_instruction,
            "charge_limit": self.charge_limit,
            "notes": list(self.notes),
        }


def watt_hours(volts: float, ampere_hours: float) -> float:
    """Rated energy: volts x ampere-hours. Raises: BadInputError for values not above 0."""
    for where, value in (("volts", volts), ("ampere_hours", ampere_hours)):
        if not (math.isfinite(value) and 0 < value <= 10_000):
            raise BadInputError(where, value, "a number above 0")
    return volts * ampere_hours


def is_small(cells: Cells) -> bool:
    """Whether the cells are within the limits of the small-battery sections (limits included)."""
    cell, battery = _SMALL[cells.chemistry]
    return cells.amount <= (battery if cells.is_battery else cell)


def lithium_rule(cells: Cells | None, posted: date) -> LithiumRule:
    """What holds for a parcel with these cells, posted on a day."""
    if cells is None:
        return LithiumRule("none")
    alone, other = _NUMBERS[cells.chemistry]
    un = alone if cells.how == "alone" else other
    position = {"alone": 0, "packed_with": 1, "in_equipment": 2, "button_in_equipment": 2}[cells.how]
    instruction = _INSTRUCTIONS[cells.chemistry][position]
    if cells.damaged:
        return LithiumRule("never", un, instruction, notes=("damaged",))
    limit = _charge_limit(cells, posted)
    if cells.how == "alone":
        return LithiumRule("not_by_post", un, instruction, limit, ("alone_cargo_only",))
    if not is_small(cells):
        return LithiumRule("not_by_post", un, instruction, limit, ("too_large",))
    if cells.how == "button_in_equipment":
        return LithiumRule("no_mark", un, instruction, "none", ("button_cell", "button_swallow"))
    if cells.how == "in_equipment" and _few(cells):
        return LithiumRule("no_mark", un, instruction, limit, ("few_in_equipment",))
    return LithiumRule("mark", un, instruction, limit, ("mark_size",))


def cells_of(device: Device) -> Cells | None:
    """The cells that stay inside a device, from its `lithium` record; None when it has none.

    Keys: chemistry, how, watt_hours (or lithium_g for metal), cells (default 1), is_battery (default: ion yes, metal no).
    """
    record = device.lithium
    if not record:
        return None
    chemistry = cast(Chemistry, record["chemistry"])
    if chemistry not in _NUMBERS:
        raise BadInputError(f"device {device.id}, lithium, chemistry", chemistry, "ion, metal or sodium_ion")
    amount = record.get("lithium_g") if chemistry == "metal" else record.get("watt_hours")
    if amount is None and record["how"] == "button_in_equipment":
        amount = 0.1  # a coin cell on a board; its size plays no part in the rule
    if amount is None:
        raise BadInputError(
            f"device {device.id}, lithium", dict(record), "watt_hours, or lithium_g for metal"
        )
    return Cells(
        chemistry=chemistry,
        how=cast(How, record["how"]),
        amount=float(amount),
        is_battery=bool(record.get("is_battery", chemistry != "metal")),
        count=int(record.get("cells", 1)),
    )


def _charge_limit(cells: Cells, posted: date) -> ChargeLimit:
    if cells.chemistry == "metal":
        return "none"
    if cells.how == "alone":
        return "required"
    if cells.how == "packed_with" and cells.amount > CHARGE_RULE_ABOVE_WH and posted >= CHARGE_RULE_FROM:
        return "required"
    return "advised"


def _few(cells: Cells) -> bool:
    """At most 2 packages, each with at most 4 cells or 2 batteries in equipment."""
    return cells.packages <= 2 and cells.count <= (2 if cells.is_battery else 4)
