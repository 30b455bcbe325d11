"""The shipped family and shop, packed: every device, country and hazard gives a complete sheet in both languages."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from intakebot.definitions import Definitions, Texts
from intakebot.definitions.facts import Answer
from intakebot.packing.bench_queue import Queue
from intakebot.packing.billable import Postage
from intakebot.packing.cautions import shown_cautions
from intakebot.packing.parcel import ParcelPlan
from intakebot.packing.roles import facts_with
from intakebot.packing.sheet import PackingSheet, packing_sheet
from intakebot.packing.sheet_words import packing_document
from intakebot.sheets import sheet_text

TODAY = date(2026, 11, 25)
FAMILY = "disc_drive"
LOCALES = ("en", "de")


def sheet_of(definitions: Definitions, **values: Any) -> PackingSheet:
    answers = {fact: value if isinstance(value, Answer) else Answer(value) for fact, value in values.items()}
    return packing_sheet(
        definitions, FAMILY, answers, TODAY, quote_expires=date(2026, 12, 29), queue=Queue(1.2, 0.5, 0.4, 3)
    )


def text_of(definitions: Definitions, sheet: PackingSheet, locale: str) -> str:
    texts = Texts(definitions, FAMILY, locale)
    return sheet_text(packing_document(sheet, texts, reference="TD-1", shop=definitions.pricing.shop))


def test_every_device_fits_a_listed_box_lying_flat(definitions: Definitions) -> None:
    """Also with a disc stuck inside, when it may not be turned on its side."""
    homeless = [
        (device, stuck)
        for device in definitions.families[FAMILY].devices
        for stuck in ("yes", "no")
        if not isinstance(sheet_of(definitions, device_kind=device, disc_stuck=stuck).parcel, ParcelPlan)
    ]

    assert homeless == []


def test_every_device_has_a_price_to_every_country_of_the_tariff(definitions: Definitions) -> None:
    countries = [c for codes in definitions.pricing.tariffs[-1].zones.values() for c in codes if c != "*"]
    without = [
        (device, country)
        for device in definitions.families[FAMILY].devices
        for country in countries
        if not isinstance(sheet_of(definitions, device_kind=device, country=country).postage, Postage)
    ]

    assert without == []


def test_cushions_are_at_least_five_centimetres_and_boxes_carry_the_parcel(definitions: Definitions) -> None:
    for device in definitions.families[FAMILY].devices:
        plan = sheet_of(definitions, device_kind=device).parcel
        assert isinstance(plan, ParcelPlan)
        assert plan.cushion.thickness_mm >= 50
        assert plan.strength.working_kg > plan.gross_kg


@pytest.mark.parametrize("locale", LOCALES)
def test_every_device_gets_a_whole_sheet_in_each_language(definitions: Definitions, locale: str) -> None:
    for device in definitions.families[FAMILY].devices:
        text = text_of(
            definitions,
            sheet_of(
                definitions,
                device_kind=device,
                disc_stuck="yes",
                stuck_disc_class="unknown_kind",
                original_board_place="loose_in_box",
                board_candidates=3,
                opened="owner",
                deadline=date(2026, 12, 18),
                weight_kg=Decimal("2.5"),
            ),
            locale,
        )
        assert "{" not in text
        assert definitions.pricing.shop.address[0] in text


@pytest.mark.parametrize("locale", LOCALES)
def test_any_hazard_stops_the_label_and_says_what_to_do(definitions: Definitions, locale: str) -> None:
    family = definitions.families[FAMILY]
    for fact in facts_with(family, "hazard"):
        sheet = sheet_of(definitions, device_kind="portable_player", **{fact.id: "yes"})
        text = text_of(definitions, sheet, locale)
        assert not sheet.label_allowed
        assert sheet.stops
        assert definitions.pricing.shop.address[0] not in text
        assert Texts(definitions, FAMILY, locale).say("packing.block.next").split(".")[0] in " ".join(
            text.split()
        )


def test_a_heard_hazard_stops_too(definitions: Definitions) -> None:
    assert not sheet_of(definitions, smoke_or_smell=Answer("yes", "heard", 0.6)).label_allowed


# What the reply must and must not hold: common practice and the safety rules of the cautions' own sources.
@pytest.mark.parametrize(
    ("fact", "must", "must_not"),
    [
        ("smoke_or_smell", ("nplug", "if that is safe", "fire service"), ("try it", "test it", "price")),
        ("liquid_inside", ("nplug", "rice", "what got in"), ("turn it on to check", "price")),
        ("battery_swollen", ("not charge", "post", "fire service"), ("label", "press it flat")),
        ("electric_shock", ("nplug", "electrician"), ("open it", "screw")),
    ],
)
def test_stop_signs_hold_what_they_must(
    definitions: Definitions, fact: str, must: tuple[str, ...], must_not: tuple[str, ...]
) -> None:
    texts = Texts(definitions, FAMILY, "en")
    family = definitions.families[FAMILY]
    said = " ".join(
        texts.say(f"caution.{caution.id}.customer")
        for caution in shown_cautions(family, {fact: Answer("yes")})
        if caution.severity == "stop"
    )

    assert [word for word in must if word not in said] == []
    assert [word for word in must_not if word in said] == []


def test_the_battery_of_a_portable_player_may_travel_inside_it(definitions: Definitions) -> None:
    sheet = sheet_of(definitions, device_kind="portable_player")

    assert (sheet.lithium.status, sheet.lithium.un, sheet.label_allowed) == ("no_mark", "UN3481", True)


@pytest.mark.parametrize(
    ("place", "allowed"),
    [
        ("in_device", True),
        ("loose_in_box", True),
        ("thinks_in_device", True),
        ("with_someone", False),
        ("lost", False),
    ],
)
def test_a_console_is_sent_only_with_its_original_board(
    definitions: Definitions, place: str, allowed: bool
) -> None:
    assert (
        sheet_of(definitions, device_kind="console_slot", original_board_place=place).label_allowed is allowed
    )


def test_a_disc_player_has_no_paired_board_to_ask_for(definitions: Definitions) -> None:
    assert sheet_of(definitions, device_kind="cd_player").gate.parts == ()


def test_original_parts_are_listed_before_everything_else(definitions: Definitions) -> None:
    sheet = sheet_of(
        definitions,
        device_kind="console_tray",
        original_board_place="loose_in_box",
        drive_replaced="owner",
        old_parts_kept="yes",
    )
    flags = [item.original_part for item in sheet.enclosures]

    assert flags[0]
    assert flags == sorted(flags, reverse=True)
    assert "power_adapter" in [item.id for item in sheet.enclosures]
