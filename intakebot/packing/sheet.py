"""The packing sheet: everything a customer needs before the box is closed, as codes and numbers.

It is composed from the answers alone: enclosures with the original parts first, what stays at home, the stuck disc, box and
cushion, postage, the lithium rule, dates, cautions attached to what is asked, and stop signs. While a stop sign or an
open pairing question stands there is no shipping label, until a person of the shop has answered.
Words are added by `packing_document` (sheet_words.py).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Literal

from intakebot.definitions.facts import Answers, holds
from intakebot.definitions.model import Definitions, Device, Enclosure, Family
from intakebot.errors import BadInputError
from intakebot.packing.bench_queue import Queue, turnaround
from intakebot.packing.billable import NotCarried, Postage, postage
from intakebot.packing.cautions import ShownCaution, attached, shown_cautions, stop_signs
from intakebot.packing.cushion import DropTable
from intakebot.packing.custody import StuckDisc, stuck_disc
from intakebot.packing.dates import PackingDates, packing_dates
from intakebot.packing.lithium import LithiumRule, cells_of, lithium_rule
from intakebot.packing.pairing import Gate, pairing_gate
from intakebot.packing.parcel import Load, NoParcel, ParcelPlan, Size, choose_parcel
from intakebot.packing.roles import device_of, value_for

Protection = Literal["none", "antistatic", "rigid", "disc_sleeve"]
LabelBlock = Literal["stop", "pairing_hold", "pairing_cannot", "lithium"]
Assumed = Literal["device", "weight", "size", "country"]
UNKNOWN_TRANSIT_DAYS = 5
"""Business days in transit when no tariff covers the way (common practice, no source)."""
_SIZE = re.compile(r"\s*(\d{1,5})\s*[xX*×]\s*(\d{1,5})\s*[xX*×]\s*(\d{1,5})\s*(mm|cm)?\s*")


@dataclass(frozen=True)
class PackItem:
    """Something to enclose or to leave out, with the cautions that belong to it."""

    id: str
    original_part: bool
    protection: Protection
    cautions: tuple[str, ...]

    def to_mapping(self) -> dict[str, Any]:
        return {
            "id": self.id,
            "original_part": self.original_part,
            "protection": self.protection,
            "cautions": list(self.cautions),
        }


@dataclass(frozen=True)
class PackingSheet:
    """See the module. assumed: what the customer did not say: size and weight are then the usual ones of the kind of device, the
    country is the shop's own.

    label_blocks: why there is no label, empty when there is one. postage: None without a parcel or a country.
    photos: codes of the photos to take before sealing (texts `packing.photo.<code>`).
    """

    family: str
    device: str | None
    gate: Gate
    stops: tuple[str, ...]
    label_blocks: tuple[LabelBlock, ...]
    cautions: tuple[ShownCaution, ...]
    enclosures: tuple[PackItem, ...]
    leave_outs: tuple[PackItem, ...]
    stuck_disc: StuckDisc | None
    parcel: ParcelPlan | NoParcel | None
    postage: Postage | NotCarried | None
    lithium: LithiumRule
    dates: PackingDates
    photos: tuple[str, ...]
    assumed: tuple[Assumed, ...]

    @property
    def label_allowed(self) -> bool:
        return not self.label_blocks

    @property
    def ship_by(self) -> date | None:
        """Last day to post; None also while nothing may be sent, so that no calendar entry contradicts a stop sign."""
        return self.dates.ship_by if self.label_allowed else None

    def cautions_for(self, instruction: str) -> tuple[str, ...]:
        """Ids of the cautions attached to `ship`, `stuck_disc`, `enclose.<x>` or `leave_out.<x>`."""
        return attached(self.cautions, instruction)

    @property
    def general_cautions(self) -> tuple[ShownCaution, ...]:
        """Cautions with a condition that belong to no single instruction on this sheet."""
        shown = {f"enclose.{item.id}" for item in self.enclosures}
        shown |= {f"leave_out.{item.id}" for item in self.leave_outs}
        shown |= {"ship", "stuck_disc"} if self.stuck_disc else {"ship"}
        return tuple(
            caution for caution in self.cautions if not caution.always and not shown & set(caution.asked)
        )

    def to_mapping(self) -> dict[str, Any]:
        """The sheet as JSON values, codes only."""
        return {
            "family": self.family,
            "device": self.device,
            "pairing": self.gate.to_mapping(),
            "stops": list(self.stops),
            "label_allowed": self.label_allowed,
            "label_blocks": list(self.label_blocks),
            "ship_by": self.ship_by.isoformat() if self.ship_by else None,
            "cautions": [
                {"id": caution.id, "severity": caution.severity, "asked": list(caution.asked)}
                for caution in self.cautions
            ],
            "enclosures": [item.to_mapping() for item in self.enclosures],
            "leave_outs": [item.to_mapping() for item in self.leave_outs],
            "stuck_disc": self.stuck_disc.to_mapping() if self.stuck_disc else None,
            "parcel": self.parcel.to_mapping() if self.parcel else None,
            "cushion": self.parcel.cushion.to_mapping() if self.parcel else None,
            "postage": self.postage.to_mapping() if self.postage else None,
            "lithium": self.lithium.to_mapping(),
            "dates": self.dates.to_mapping(),
            "photos": list(self.photos),
            "assumed": list(self.assumed),
        }


def packing_sheet(
    definitions: Definitions,
    family_id: str,
    answers: Answers,
    today: date,
    *,
    quote_expires: date | None = None,
    queue: Queue | None = None,
    person_cleared: bool = False,
    drop_table: DropTable = "ista_1a",
) -> PackingSheet:
    """The packing sheet for a case on a day.

    Args:
        quote_expires: last day the quote may be accepted, from the written estimate.
        queue: the bench as seen now; None gives no expected-back date.
        person_cleared: a person of the shop has answered the stop signs and open pairing questions.
    Raises:
        BadInputError: the shop's calendar has no working day. Absurd weights and sizes from the customer do not raise:
            the device's usual figures are taken instead and named in `assumed`.
    """
    family, pricing = definitions.families[family_id], definitions.pricing
    device = device_of(family, answers)
    gate = pairing_gate(family, answers)
    cautions, stops = shown_cautions(family, answers), stop_signs(family, answers)
    disc = stuck_disc(family, answers)
    load, assumed = _load(family, answers, device, keep_level=disc is not None)
    parcel = choose_parcel(pricing.parcels, load, drop_table) if load else None
    country = value_for(family, answers, "country")
    if country is None:
        assumed = (*assumed, "country")
    fee = (
        postage(
            pricing.tariffs,
            today,
            parcel.shipped.outer_mm,
            parcel.gross_kg,
            str(country or pricing.shop.country),
        )
        if isinstance(parcel, ParcelPlan)
        else None
    )
    dates = packing_dates(
        pricing.calendar,
        today,
        fee.days if isinstance(fee, Postage) else UNKNOWN_TRANSIT_DAYS,
        turnaround(queue, pricing.calendar.turnaround_percentile),
        quote_expires=quote_expires,
        deadline=_deadline(family, answers),
    )
    lithium = lithium_rule(cells_of(device) if device else None, dates.post_on)
    enclosures = _items("enclose", family.enclosures, answers, cautions)
    return PackingSheet(
        family=family_id,
        device=device.id if device else None,
        gate=gate,
        stops=stops,
        label_blocks=_label_blocks(stops, gate, lithium, person_cleared),
        cautions=cautions,
        enclosures=tuple(sorted(enclosures, key=lambda item: not item.original_part)),
        leave_outs=tuple(_items("leave_out", family.leave_outs, answers, cautions)),
        stuck_disc=disc,
        parcel=parcel,
        postage=fee,
        lithium=lithium,
        dates=dates,
        photos=_photos(enclosures, disc),
        assumed=assumed,
    )


def parse_size(text: str) -> Size:
    """Three sides from '340 x 300 x 85', in millimetres unless 'cm' is said.

    Raises: BadInputError for anything else.
    """
    match = _SIZE.fullmatch(text)
    if match is None:
        raise BadInputError("size", text, "three whole numbers, such as 340 x 300 x 85 mm")
    factor = 10 if match[4] == "cm" else 1
    return (int(match[1]) * factor, int(match[2]) * factor, int(match[3]) * factor)


def _load(
    family: Family, answers: Answers, device: Device | None, keep_level: bool
) -> tuple[Load | None, tuple[Assumed, ...]]:
    """What is to be sent: the customer's figures where usable, else the device's; None while the device is unknown."""
    if device is None:
        return None, ("device",)
    weight = value_for(family, answers, "weight_kg")
    size = value_for(family, answers, "size_mm")
    assumed: list[Assumed] = []
    try:
        weight_kg = _weight(weight)
        Load(device.size_mm, weight_kg, device.fragility_g)
    except BadInputError:
        weight_kg = device.weight_kg
        assumed.append("weight")
    try:
        size_mm = parse_size(size if isinstance(size, str) else "")
        Load(size_mm, weight_kg, device.fragility_g)
    except BadInputError:
        size_mm = device.size_mm
        assumed.append("size")
    return Load(size_mm, weight_kg, device.fragility_g, keep_level), tuple(assumed)


def _weight(value: object) -> float:
    if not isinstance(value, int | Decimal):
        raise BadInputError("weight_kg", value, "a weight in kg")
    return float(value)


def _items(
    kind: Literal["enclose", "leave_out"],
    entries: Iterable[Enclosure],
    answers: Answers,
    cautions: tuple[ShownCaution, ...],
) -> list[PackItem]:
    return [
        PackItem(entry.id, entry.original_part, entry.protection, attached(cautions, f"{kind}.{entry.id}"))
        for entry in entries
        if holds(entry.when, answers) is True
    ]


def _label_blocks(
    stops: tuple[str, ...], gate: Gate, lithium: LithiumRule, person_cleared: bool
) -> tuple[LabelBlock, ...]:
    """Why there is no label. A person may clear everything but cells that must not be posted."""
    blocks: list[LabelBlock] = []
    if stops and not person_cleared:
        blocks.append("stop")
    if gate.decision == "hold" and not person_cleared:
        blocks.append("pairing_hold")
    if gate.decision == "cannot" and not person_cleared:
        blocks.append("pairing_cannot")
    if lithium.status in ("not_by_post", "never"):
        blocks.append("lithium")
    return tuple(blocks)


def _photos(enclosures: Iterable[PackItem], disc: StuckDisc | None) -> tuple[str, ...]:
    photos = ["front", "labels"]
    if any(item.original_part for item in enclosures):
        photos.append("original_parts")
    if disc is not None:
        photos.append("disc_slot")
    return (*photos, "in_box", "sealed")


def _deadline(family: Family, answers: Answers) -> date | None:
    value = value_for(family, answers, "deadline")
    return value if isinstance(value, date) else None
