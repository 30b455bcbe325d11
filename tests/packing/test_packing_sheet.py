"""The packing sheet as a whole: what is asked, in which order, and what stops the label."""

from __future__ import annotations

import dataclasses
import json
from datetime import date
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intakebot.definitions.facts import Comparison
from intakebot.definitions.model import Caution, Definitions, Family
from intakebot.errors import BadInputError
from intakebot.packing.bench_queue import Queue
from intakebot.packing.billable import NotCarried, Postage
from intakebot.packing.cautions import attached, shown_cautions, stop_signs
from intakebot.packing.parcel import NoParcel, ParcelPlan
from intakebot.packing.sheet import PackingSheet, packing_sheet, parse_size
from intakebot.packing.sheet_words import inside_slip, packing_document
from intakebot.sheets import Sheet, sheet_text

TODAY = date(2026, 11, 25)
QUEUE = Queue(2.0, 0.4, 0.3, 3)


def sheet_for(toy: Definitions, answers: Any, **more: Any) -> PackingSheet:
    return packing_sheet(toy, "toy", answers, TODAY, quote_expires=date(2026, 12, 29), queue=QUEUE, **more)


def document_for(build: SimpleNamespace, sheet: PackingSheet, locale: str = "en") -> Sheet:
    return packing_document(sheet, build.texts(locale), reference="TD-1042", shop=build.shop)


def ids(document: Sheet) -> list[str]:
    return [section.id for section in document.sections]


# ---- cautions ----------------------------------------------------------------------------------------------------------


def test_stop_outranks_warning_outranks_note(build: SimpleNamespace, family: Family) -> None:
    shown = shown_cautions(family, build.answers(smoke="yes", has_remote="yes", board_place="loose"))

    assert [caution.id for caution in shown] == ["smoke_stop", "no_force", "board_static", "keep_dry"]
    assert attached(shown, "enclose.board") == ("board_static",)


def test_a_caution_nobody_can_judge_yet_is_not_shown(build: SimpleNamespace, family: Family) -> None:
    assert [caution.id for caution in shown_cautions(family, build.answers(smoke=None))] == ["no_force"]


def test_a_hazard_without_its_own_stop_sign_still_stops(build: SimpleNamespace, family: Family) -> None:
    gap = dataclasses.replace(family, cautions={})

    assert stop_signs(gap, build.answers(smoke="yes")) == ("smoke",)
    assert stop_signs(gap, build.answers(smoke="no")) == ()


def test_a_stop_without_condition_never_blocks_every_label(build: SimpleNamespace, family: Family) -> None:
    always = Caution("never_force", "stop", "learned", None, ("stuck_disc",))

    assert (
        stop_signs(dataclasses.replace(family, cautions={"never_force": always}), build.answers(smoke="no"))
        == ()
    )


# ---- the sheet ---------------------------------------------------------------------------------------------------------


def test_original_parts_come_first_with_their_protection_and_cautions(
    toy: Definitions, build: SimpleNamespace
) -> None:
    sheet = sheet_for(
        toy, build.answers(device_kind="console", board_place="loose", boards=2, has_remote="yes")
    )

    assert [(item.id, item.original_part, item.protection, item.cautions) for item in sheet.enclosures] == [
        ("board", True, "antistatic", ("board_static",)),
        ("lead", False, "none", ()),
    ]
    assert [item.id for item in sheet.leave_outs] == ["remote"]
    assert sheet.photos == ("front", "labels", "original_parts", "in_box", "sealed")


def test_box_postage_and_dates_fit_together(toy: Definitions, build: SimpleNamespace) -> None:
    sheet = sheet_for(toy, build.answers(device_kind="player"))

    assert isinstance(sheet.parcel, ParcelPlan)
    assert isinstance(sheet.postage, Postage)
    # medium box 460 x 420 x 215 mm -> 46 x 42 x 22 / 5000 = 8.5 -> 9 kg at 14.90; 2 days on the way from Thu 26 Nov
    assert (sheet.parcel.box.id, sheet.postage.billable_kg, sheet.postage.price) == (
        "medium",
        9,
        Decimal("14.90"),
    )
    assert (sheet.dates.post_on, sheet.dates.arrives) == (date(2026, 11, 26), date(2026, 11, 30))


@pytest.mark.parametrize(
    ("answers", "blocks"),
    [
        pytest.param({"device_kind": "console", "board_place": "inside"}, (), id="all-clear"),
        pytest.param({"device_kind": "console", "board_place": "thinks"}, (), id="doubt-is-no-block"),
        pytest.param({"device_kind": "player", "smoke": "yes"}, ("stop",), id="smoke"),
        pytest.param(
            {"device_kind": "console", "board_place": "away"}, ("pairing_hold",), id="part-elsewhere"
        ),
        pytest.param({"device_kind": "console", "board_place": "lost"}, ("pairing_cannot",), id="part-lost"),
        pytest.param(
            {"device_kind": "console", "board_place": "away", "smoke": "yes"},
            ("stop", "pairing_hold"),
            id="both",
        ),
    ],
)
def test_what_stands_in_the_way_of_a_label(
    toy: Definitions, build: SimpleNamespace, answers: dict[str, str], blocks: tuple[str, ...]
) -> None:
    sheet = sheet_for(toy, build.answers(**answers))
    cleared = sheet_for(toy, build.answers(**answers), person_cleared=True)

    assert sheet.label_blocks == blocks
    assert cleared.label_allowed


def test_there_is_no_ship_by_date_while_nothing_may_be_sent(toy: Definitions, build: SimpleNamespace) -> None:
    stopped = sheet_for(toy, build.answers(device_kind="player", smoke="yes"))
    cleared = sheet_for(toy, build.answers(device_kind="player", smoke="yes"), person_cleared=True)

    assert (stopped.ship_by, cleared.ship_by) == (None, date(2026, 12, 23))
    assert (stopped.to_mapping()["ship_by"], cleared.to_mapping()["ship_by"]) == (None, "2026-12-23")


def test_a_battery_that_must_not_be_posted_is_not_cleared_by_a_person(build: SimpleNamespace) -> None:
    power_pack = build.device("pack", lithium={"chemistry": "ion", "watt_hours": 150, "how": "in_equipment"})
    definitions = build.definitions(build.family(devices={"pack": power_pack}))

    sheet = sheet_for(definitions, build.answers(device_kind="pack"), person_cleared=True)

    assert sheet.label_blocks == ("lithium",)


def test_an_unknown_device_has_no_box_yet(toy: Definitions, build: SimpleNamespace) -> None:
    sheet = sheet_for(toy, build.answers())

    assert (sheet.parcel, sheet.postage, sheet.assumed) == (None, None, ("device", "country"))


def test_the_customers_own_figures_are_used(toy: Definitions, build: SimpleNamespace) -> None:
    sheet = sheet_for(
        toy, build.answers(device_kind="player", weight_kg=Decimal("1.2"), size_text="19 x 15 x 4 cm")
    )

    assert isinstance(sheet.parcel, ParcelPlan)
    assert (sheet.parcel.box.id, sheet.parcel.stands_mm, sheet.assumed) == (
        "small",
        (190, 150, 40),
        ("country",),
    )


@pytest.mark.parametrize(
    ("values", "assumed"),
    [
        pytest.param({"weight_kg": Decimal("-3")}, ("weight", "size"), id="negative-weight"),
        pytest.param({"weight_kg": Decimal("5000")}, ("weight", "size"), id="absurd-weight"),
        pytest.param({"weight_kg": Decimal(3), "size_text": "0 x 10 x 10"}, ("size",), id="flat"),
        pytest.param({"weight_kg": Decimal(3), "size_text": "99999 x 10 x 10"}, ("size",), id="endless"),
        pytest.param({"weight_kg": Decimal(3), "size_text": "quite big"}, ("size",), id="words"),
    ],
)
def test_absurd_figures_fall_back_to_the_kind_of_device_and_say_so(
    toy: Definitions, build: SimpleNamespace, values: dict[str, Any], assumed: tuple[str, ...]
) -> None:
    sheet = sheet_for(toy, build.answers(device_kind="player", **values))

    assert isinstance(sheet.parcel, ParcelPlan)
    assert (sheet.parcel.stands_mm, sheet.assumed) == ((340, 300, 85), (*assumed, "country"))


@pytest.mark.parametrize("text", ["", "340x300", "340 x 300 x 85 inches", "-3 x 4 x 5", "340 x 300 x 85 x 2"])
def test_sizes_that_are_none_are_refused(text: str) -> None:
    with pytest.raises(BadInputError, match="three whole numbers"):
        parse_size(text)


def test_sizes_are_read_in_millimetres_and_centimetres() -> None:
    assert (parse_size("340x300X85"), parse_size(" 34 × 30 * 9 cm")) == ((340, 300, 85), (340, 300, 90))


def test_a_device_no_box_holds(build: SimpleNamespace) -> None:
    definitions = build.definitions(parcels=build.parcels[:1])

    sheet = sheet_for(definitions, build.answers(device_kind="player"))

    assert isinstance(sheet.parcel, NoParcel)
    assert sheet.parcel.needed_inner_mm == (440, 400, 190)
    assert sheet.postage is None


def test_a_country_without_a_price_still_gets_a_sheet(toy: Definitions, build: SimpleNamespace) -> None:
    sheet = sheet_for(toy, build.answers(device_kind="player", country="AU"))

    assert sheet.postage == NotCarried("no_zone")
    assert sheet.label_allowed


def test_a_closed_shop_is_refused(build: SimpleNamespace) -> None:
    definitions = build.definitions(calendar=build.calendar(working_weekdays=()))

    with pytest.raises(BadInputError, match="at least one working day"):
        sheet_for(definitions, build.answers(device_kind="player"))


VALUES = {
    "device_kind": st.sampled_from(["console", "player", "portable"]),
    "smoke": st.sampled_from(["yes", "no"]),
    "board_place": st.sampled_from(["inside", "loose", "away", "lost", "thinks"]),
    "boards": st.integers(0, 8),
    "stuck": st.sampled_from(["yes", "no"]),
    "stuck_class": st.sampled_from(["cd", "dvd"]),
    "has_remote": st.sampled_from(["yes", "no"]),
    "weight_kg": st.decimals("0.1", "59", places=1),
    "country": st.sampled_from(["GB", "DE", "AU"]),
    "deadline": st.dates(date(2026, 11, 1), date(2027, 6, 1)),
}


@given(values=st.fixed_dictionaries({}, optional=VALUES), cleared=st.booleans())
def test_any_answers_give_a_sheet_that_is_json_and_never_a_label_under_a_stop_sign(
    build: SimpleNamespace, values: dict[str, Any], cleared: bool
) -> None:
    sheet = sheet_for(build.definitions(), build.answers(**values), person_cleared=cleared)

    assert json.loads(json.dumps(sheet.to_mapping()))["label_allowed"] is sheet.label_allowed
    assert not (values.get("smoke") == "yes" and sheet.label_allowed and not cleared)


# ---- in words ----------------------------------------------------------------------------------------------------------

FULL = {
    "device_kind": "console",
    "board_place": "loose",
    "boards": 3,
    "stuck": "yes",
    "stuck_class": "cd",
    "stuck_title": "Harbour Lights",
    "stuck_wanted": "yes",
    "has_remote": "yes",
    "deadline": date(2027, 1, 20),
}


def test_the_sheet_opens_with_what_goes_in_originals_on_top(toy: Definitions, build: SimpleNamespace) -> None:
    document = document_for(build, sheet_for(toy, build.answers(**FULL)))
    put_in = document.section("put_in")

    assert ids(document)[0] == "put_in"
    assert put_in.ticks
    assert put_in.items[1] == ("Original part: The original drive board. Hold it by its edges.")


def test_the_stuck_disc_stays_and_nothing_is_forced(toy: Definitions, build: SimpleNamespace) -> None:
    disc = document_for(build, sheet_for(toy, build.answers(**FULL))).section("stuck_disc")

    assert disc.tone == "warning"
    assert disc.paragraphs == (
        "Please leave the disc where it is. Do not pull, pry or shake. We take it out safely.",
        "Please use no force.",
    )
    assert ("Title", "Harbour Lights") in disc.rows


def test_the_boxs_strength_is_said_to_be_rough(toy: Definitions, build: SimpleNamespace) -> None:
    # 5.87 * 5600 N/m * sqrt(.004 m * 2 * (.46 + .42) m) = 2758 N; / 4 = 690 N = 70 kg
    notes = document_for(build, sheet_for(toy, build.answers(**FULL))).section("box").notes

    assert "The box itself bears about 70 kg on top. That is a rough guess." in notes


def test_no_stuck_disc_no_word_about_it(toy: Definitions, build: SimpleNamespace) -> None:
    document = document_for(build, sheet_for(toy, build.answers(device_kind="player")))

    assert "stuck_disc" not in ids(document)
    assert "no force" not in sheet_text(document)


def test_a_stop_sign_takes_the_place_of_everything_that_invites_to_send(
    toy: Definitions, build: SimpleNamespace
) -> None:
    document = document_for(build, sheet_for(toy, build.answers(device_kind="player", smoke="yes")))

    assert ids(document) == ["stop"]
    assert document.section("stop").tone == "stop"
    assert document.section("stop").paragraphs[0].startswith("Unplug it at the wall if that is safe.")
    assert "4 Quay Lane" not in sheet_text(document)
    assert document.subtitle == "For your disc player."


def test_a_heavy_device_without_a_listed_second_box_is_told_what_the_price_is_for(
    build: SimpleNamespace,
) -> None:
    definitions = build.definitions(parcels=build.parcels[:2])
    sheet = sheet_for(definitions, build.answers(device_kind="player", weight_kg=Decimal("5.5")))
    notes = document_for(build, sheet).section("box").notes

    assert "We list no second box of that size. The price below is for one box." in notes


def test_a_part_that_is_elsewhere_holds_the_box_but_says_what_belongs_in_it(
    toy: Definitions, build: SimpleNamespace
) -> None:
    document = document_for(build, sheet_for(toy, build.answers(device_kind="console", board_place="away")))

    assert ids(document) == ["stop", "put_in"]
    assert "drive board" in document.section("stop").paragraphs[0]


def test_a_lost_original_asks_to_talk_first_and_describes_no_packing(
    toy: Definitions, build: SimpleNamespace
) -> None:
    document = document_for(build, sheet_for(toy, build.answers(device_kind="console", board_place="lost")))

    assert ids(document) == ["stop"]
    assert "Please talk to us first" in document.section("stop").paragraphs[0]


def test_after_a_person_has_answered_the_warning_stays_on_the_sheet(
    toy: Definitions, build: SimpleNamespace
) -> None:
    sheet = sheet_for(toy, build.answers(device_kind="player", smoke="yes"), person_cleared=True)
    document = document_for(build, sheet)

    assert document.section("cleared").tone == "warning"
    assert "address" in ids(document)


def test_days_have_month_names_and_money_its_sign(toy: Definitions, build: SimpleNamespace) -> None:
    english = sheet_text(document_for(build, sheet_for(toy, build.answers(**FULL))))
    german = sheet_text(document_for(build, sheet_for(toy, build.answers(**FULL)), "de"))

    assert "Please post it by: Wednesday, 23 December 2026" in english
    assert "Price to send one box: £14.90" in english
    assert "Bitte aufgeben bis: Mittwoch, 23. Dezember 2026" in german
    assert "14,90\xa0£" in german or "14,90 £" in german


def test_an_overloaded_bench_gives_no_date_and_says_so(toy: Definitions, build: SimpleNamespace) -> None:
    sheet = packing_sheet(toy, "toy", build.answers(device_kind="player"), TODAY, queue=Queue(3.0, 0.4, 0.3))
    dates = document_for(build, sheet).section("dates")

    assert not [label for label, _ in dates.rows if "back with you" in label]
    assert any("we give no date yet" in note for note in dates.notes)


def test_the_slip_names_both_sides_and_the_contents(toy: Definitions, build: SimpleNamespace) -> None:
    slip = inside_slip(
        sheet_for(toy, build.answers(**FULL)),
        build.texts("en"),
        reference="TD-1042",
        shop=build.shop,
        sender=("Ada Example", "1 Hill Road"),
    )

    assert slip.section("from").paragraphs == ("Ada Example", "1 Hill Road")
    assert slip.section("contents").items == (
        "games console",
        "The original drive board.",
        "The power lead.",
        "A disc is stuck inside: CD, Harbour Lights",
    )


def test_a_device_of_the_family_with_a_condition_on_the_device_is_enclosed_only_then(
    toy: Definitions, build: SimpleNamespace
) -> None:
    assert Comparison("device_kind", "exists") == toy.families["toy"].enclosures[0].when
    assert sheet_for(toy, build.answers()).enclosures == ()
