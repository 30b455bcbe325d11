"""A small invented family and shop, so that packing is tested without the shipped definitions."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import yaml

from intakebot.definitions.facts import Answer, Comparison
from intakebot.definitions.model import (
    Calendar,
    Caution,
    Definitions,
    Device,
    Enclosure,
    Fact,
    Family,
    GivingUp,
    PairedPart,
    Parcel,
    PlayTest,
    Pricing,
    ShippingTariff,
    Shop,
)
from intakebot.definitions.texts import Texts, flatten

COMMON = Path(__file__).parents[2] / "flows" / "common" / "texts"
DEMO = "invented for the demo"


def answers(**values: Any) -> dict[str, Answer]:
    """Confirmed answers by fact id; None = the customer does not know."""
    return {
        fact: Answer(None, "not_known") if value is None else Answer(value) for fact, value in values.items()
    }


def _fact(fact_id: str, fact_type: Any, role: Any = None, options: tuple[str, ...] = ()) -> Fact:
    return Fact(fact_id, fact_type, options, ("packing",), "low", role=role)


def a_device(device_id: str, **changes: Any) -> Device:
    values: dict[str, Any] = {
        "id": device_id,
        "discs": ("cd",),
        "loading": ("slot",),
        "weight_kg": 3.2,
        "size_mm": (340, 300, 85),
        "fragility_g": 50.0,
        "mains_inside": True,
        "paired": (),
        "source": DEMO,
    }
    return Device(**(values | changes))


def a_parcel(parcel_id: str, inner: tuple[int, int, int], tare_kg: float = 0.5) -> Parcel:
    outer = (inner[0] + 10, inner[1] + 10, inner[2] + 15)
    return Parcel(parcel_id, inner, outer, tare_kg, 5.6, 4.0, DEMO)


def a_tariff(**changes: Any) -> ShippingTariff:
    values: dict[str, Any] = {
        "id": "parcel",
        "currency": "GBP",
        "effective_from": date(2026, 1, 1),
        "source": DEMO,
        "divisor_cm3_per_kg": 5000,
        "side_rounding": "up",
        "weight_step_kg": Decimal("1"),
        "zones": {"home": ("GB",), "near": ("IE", "DE")},
        "prices": {
            "home": (
                (Decimal(5), Decimal("9.90")),
                (Decimal(15), Decimal("14.90")),
                (Decimal(30), Decimal("19.90")),
            ),
            "near": ((Decimal(10), Decimal("24.00")),),
        },
        "maximum_kg": Decimal(30),
        "maximum_length_plus_girth_cm": Decimal(300),
        "transit_business_days": {"home": 2, "near": 5},
        "liability_limit": Decimal("50.00"),
    }
    return ShippingTariff(**(values | changes))


def a_calendar(**changes: Any) -> Calendar:
    values: dict[str, Any] = {
        "country": "GB",
        "subdivision": "ENG",
        "working_weekdays": (0, 1, 2, 3, 4),
        "closures": (),
        "source": DEMO,
        "bench_hours_per_day": 6.0,
        "turnaround_percentile": 90,
    }
    return Calendar(**(values | changes))


SHOP = Shop(
    name="Tidewater Disc Repairs",
    legal_name="Tidewater Disc Repairs (invented)",
    registration="00000000",
    address=("4 Quay Lane", "Exampleton", "EX1 1AA"),
    country="GB",
    postcode="EX1 1AA",
    email="bench@example.com",
    phone="+44 1632 960100",
    website="https://example.com",
    opening_hours_key="shop.hours",
    timezone="Europe/London",
    source=DEMO,
)


def a_family(**changes: Any) -> Family:
    facts = [
        _fact("device_kind", "choice", "device_kind", ("console", "player", "portable")),
        _fact("weight_kg", "amount", "weight_kg"),
        _fact("size_text", "text", "size_mm"),
        _fact("smoke", "yes_no", "hazard"),
        _fact("board_place", "choice", "part_place", ("inside", "loose", "away", "lost", "thinks")),
        _fact("boards", "count", "part_candidates"),
        _fact("stuck", "yes_no", "stuck_disc"),
        _fact("stuck_class", "choice", "stuck_disc_class", ("cd", "dvd")),
        _fact("stuck_title", "text", "stuck_disc_title"),
        _fact("stuck_wanted", "yes_no", "stuck_disc_wanted"),
        _fact("deadline", "date", "deadline"),
        _fact("country", "choice", "country", ("GB", "DE", "AU")),
        _fact("has_remote", "yes_no"),
    ]
    devices = [
        a_device("console", paired=("board",)),
        a_device("player"),
        a_device("portable", lithium={"chemistry": "ion", "watt_hours": 18.5, "how": "in_equipment"}),
    ]
    cautions = [
        Caution("keep_dry", "note", DEMO, Comparison("has_remote", "=", "yes")),
        Caution("no_force", "warning", DEMO, None, ("stuck_disc",)),
        Caution("smoke_stop", "stop", DEMO, Comparison("smoke", "=", "yes"), ("ship",)),
        Caution("board_static", "warning", DEMO, Comparison("board_place", "=", "loose"), ("enclose.board",)),
    ]
    values: dict[str, Any] = {
        "id": "toy",
        "title_key": "family.title",
        "version": "1",
        "devices": {device.id: device for device in devices},
        "disc_classes": {},
        "facts": {fact.id: fact for fact in facts},
        "questions": {},
        "faults": {},
        "findings": {},
        "levels": {},
        "steps": {},
        "cautions": {caution.id: caution for caution in cautions},
        "paired_parts": {
            "board": PairedPart(
                "board",
                "board_place",
                {"inside": "go", "loose": "go", "away": "hold", "lost": "cannot", "thinks": "doubt"},
                0.15,
                "wrong_board",
                DEMO,
                "boards",
            )
        },
        "enclosures": (
            Enclosure("lead", Comparison("device_kind", "exists")),
            Enclosure("board", Comparison("board_place", "=", "loose"), True, "antistatic"),
        ),
        "leave_outs": (Enclosure("remote", Comparison("has_remote", "=", "yes")),),
        "play_test": PlayTest(5, DEMO),
        "giving_up": GivingUp(10, Decimal("20"), DEMO),
        "phrases": {},
        "texts": {},
    }
    return Family(**(values | changes))


PARCELS = (
    a_parcel("small", (300, 250, 200), 0.4),
    a_parcel("medium", (450, 410, 200), 0.8),
    a_parcel("large", (600, 560, 350), 1.3),
)


def some_definitions(family: Family | None = None, **pricing: Any) -> Definitions:
    values: dict[str, Any] = {
        "shop": SHOP,
        "rate_cards": (),
        "parts": {},
        "parcels": PARCELS,
        "tariffs": (a_tariff(),),
        "calendar": a_calendar(),
        "profiles": {},
        "chance_words": (),
    }
    family = family or a_family()
    core: Mapping[str, Mapping[str, str | tuple[str, ...]]] = {}
    return Definitions("test", {family.id: family}, Pricing(**(values | pricing)), ("en", "de"), core)


TOY_TEXTS = {
    "device.console": "games console",
    "device.player": "disc player",
    "device.portable": "small player with a battery",
    "enclose.lead": "The power lead.",
    "enclose.board": "The original drive board.",
    "leave_out.remote": "The remote control.",
    "paired.board": "drive board",
    "disc.cd": "CD",
    "caution.keep_dry.customer": "Keep it dry.",
    "caution.no_force.customer": "Please use no force.",
    "caution.smoke_stop.customer": "Unplug it at the wall if that is safe. Please do not turn it on again.",
    "caution.board_static.customer": "Hold it by its edges.",
}


def texts_in(locale: str) -> Texts:
    """The shipped packing and document texts with the toy family's (English) words."""
    core: dict[str, str | tuple[str, ...]] = {}
    for name in ("packing", "documents"):
        core |= flatten(yaml.safe_load((COMMON / locale / f"{name}.yaml").read_text(encoding="utf-8")))
    family = a_family(texts={locale: TOY_TEXTS})
    return Texts(dataclasses.replace(some_definitions(family), core_texts={locale: core}), "toy", locale)


BUILDERS = SimpleNamespace(
    answers=answers,
    calendar=a_calendar,
    definitions=some_definitions,
    device=a_device,
    family=a_family,
    parcel=a_parcel,
    parcels=PARCELS,
    shop=SHOP,
    tariff=a_tariff,
    texts=texts_in,
)


@pytest.fixture(scope="session")
def build() -> SimpleNamespace:
    """Builders of the toy data; keyword arguments change single values."""
    return BUILDERS


@pytest.fixture(scope="session")
def family() -> Family:
    return a_family()


@pytest.fixture(scope="session")
def toy() -> Definitions:
    return some_definitions()
