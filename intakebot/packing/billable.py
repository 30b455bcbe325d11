"""What a carrier charges for: the larger of what the parcel weighs and what its size counts as.

Volume weight = L x W x H / divisor, with the sides rounded first as the tariff of that day says, the larger of the two
weights then rounded up to the tariff's step. Sides: from 18 August 2025 two large published tariffs round every
fraction up, before that half up; so the rounding is dated data, not code. All arithmetic is Decimal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal
from typing import Any, Literal

from intakebot.definitions.model import ShippingTariff
from intakebot.errors import BadInputError

SideRounding = Literal["up", "half_up", "none"]
NoCarriage = Literal["too_heavy", "too_large", "no_zone", "no_price", "no_tariff"]
_LONGEST = Decimal(100_000)


@dataclass(frozen=True)
class Billable:
    """Sides as counted, the volume weight before the last rounding, and the weight that is charged for."""

    sides: tuple[Decimal, Decimal, Decimal]
    volume_weight: Decimal
    weight: Decimal


@dataclass(frozen=True)
class Postage:
    """What sending costs. days: business days in transit. liability: the carrier's own limit."""

    tariff: str
    zone: str
    billable_kg: Decimal
    by_size: bool
    price: Decimal
    currency: str
    days: int
    liability: Decimal

    def to_mapping(self) -> dict[str, Any]:
        return {
            "tariff": self.tariff,
            "zone": self.zone,
            "billable_kg": str(self.billable_kg),
            "charged_by": "size" if self.by_size else "weight",
            "price": str(self.price),
            "currency": self.currency,
            "transit_business_days": self.days,
            "liability_limit": str(self.liability),
        }


@dataclass(frozen=True)
class NotCarried:
    """No price: why, and the limit that stands in the way if there is one."""

    reason: NoCarriage
    limit: Decimal | None = None

    def to_mapping(self) -> dict[str, Any]:
        return {"not_carried": self.reason, "limit": None if self.limit is None else str(self.limit)}


def billable_weight(
    sides: Sequence[Decimal],
    scale_weight: Decimal,
    divisor: Decimal,
    side_rounding: SideRounding,
    step: Decimal,
    only_above_volume: Decimal | None = None,
) -> Billable:
    """Weight to be charged, in the divisor's unit (cm with kg, or inches with pounds).

    Args:
        step: the result is the next whole multiple of it.
        only_above_volume: some postal operators count size only above a volume (1728 cubic inches = 1 cubic foot).
    Raises:
        BadInputError: a side, weight, divisor or step that is not above 0, or absurdly large.
    """
    if len(sides) != 3:
        raise BadInputError("sides", len(sides), "three lengths")
    for where, value in (("scale_weight", scale_weight), ("divisor", divisor), ("step", step)):
        _check(where, value)
    counted = (
        round_side(sides[0], side_rounding),
        round_side(sides[1], side_rounding),
        round_side(sides[2], side_rounding),
    )
    volume = counted[0] * counted[1] * counted[2]
    counts = only_above_volume is None or volume > only_above_volume
    volume_weight = volume / divisor if counts else Decimal(0)
    steps = (max(volume_weight, scale_weight) / step).to_integral_value(rounding=ROUND_CEILING)
    return Billable(counted, volume_weight, steps * step)


def round_side(side: Decimal, mode: SideRounding) -> Decimal:
    """One side in whole units, as the tariff says; a side under half a unit still counts as one."""
    _check("side", side)
    if mode == "none":
        return side
    rounding = ROUND_CEILING if mode == "up" else ROUND_HALF_UP
    return max(side.to_integral_value(rounding=rounding), Decimal(1))


def length_plus_girth(sides: Sequence[Decimal]) -> Decimal:
    """Longest side + 2 x (the other two), in the unit given. Raises: BadInputError."""
    if len(sides) != 3:
        raise BadInputError("sides", len(sides), "three lengths")
    for side in sides:
        _check("side", side)
    shortest, middle, longest = sorted(sides)
    return longest + 2 * (shortest + middle)


def tariff_on(
    tariffs: Sequence[ShippingTariff], day: date, tariff_id: str | None = None
) -> ShippingTariff | None:
    """The tariff in force on a day: the latest effective one (of an id, if given); None when there is none yet."""
    matching = [
        tariff for tariff in tariffs if tariff.effective_from <= day and tariff_id in (None, tariff.id)
    ]
    return max(matching, key=lambda tariff: tariff.effective_from, default=None)


def zone_of(tariff: ShippingTariff, country: str) -> str | None:
    """The zone that lists a country code; `*` in a zone takes every country that no zone lists."""
    for zone, countries in tariff.zones.items():
        if country.upper() in (listed.upper() for listed in countries):
            return zone
    return next((zone for zone, countries in tariff.zones.items() if "*" in countries), None)


def postage(
    tariffs: Sequence[ShippingTariff],
    day: date,
    outer_mm: Sequence[int],
    gross_kg: float,
    country: str,
) -> Postage | NotCarried:
    """Price of one parcel on a day, or why there is none.

    Raises: BadInputError for sizes or weights that are not above 0.
    """
    tariff = tariff_on(tariffs, day)
    if tariff is None:
        return NotCarried("no_tariff")
    sides_cm = [Decimal(side) / 10 for side in outer_mm]
    gross = Decimal(str(gross_kg))
    billable = billable_weight(
        sides_cm, gross, Decimal(tariff.divisor_cm3_per_kg), tariff.side_rounding, tariff.weight_step_kg
    )
    if gross > tariff.maximum_kg:
        return NotCarried("too_heavy", tariff.maximum_kg)
    if length_plus_girth(billable.sides) > tariff.maximum_length_plus_girth_cm:
        return NotCarried("too_large", tariff.maximum_length_plus_girth_cm)
    zone = zone_of(tariff, country)
    if zone is None:
        return NotCarried("no_zone")
    price = next(
        (price for up_to, price in sorted(tariff.prices.get(zone, ())) if billable.weight <= up_to), None
    )
    days = tariff.transit_business_days.get(zone)
    if price is None or days is None:
        return NotCarried("no_price")
    return Postage(
        tariff=tariff.id,
        zone=zone,
        billable_kg=billable.weight,
        by_size=billable.volume_weight > gross,
        price=price,
        currency=tariff.currency,
        days=days,
        liability=tariff.liability_limit,
    )


def _check(where: str, value: Decimal) -> None:
    if not (value.is_finite() and 0 < value <= _LONGEST):
        raise BadInputError(where, value, f"a number above 0 and up to {_LONGEST}")
