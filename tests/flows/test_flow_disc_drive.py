"""The disc-drive family against published figures, published orders of causes and the safety rules of the trade.

Sources, named again at each check: ECMA-130 (1996), ECMA-267 (2001), the Blu-ray format white paper (2010); the
sci.electronics repair FAQ "Notes on the Troubleshooting and Repair of Compact Disc Players and CDROM Drives" (order of
causes); the Open Repair Data Standard set of October 2025, Open Repair Alliance, CC BY-SA 4.0 (shares of repairs, 95 %
Clopper-Pearson, counted on its disc slice).
"""

from __future__ import annotations

import pytest

from intakebot.definitions import Answer, holds, parse_value
from intakebot.definitions.model import Definitions, Family
from intakebot.triage import Diagnosis, diagnose
from intakebot.triage.implied import with_implied


@pytest.fixture(scope="module")
def family(definitions: Definitions) -> Family:
    return definitions.families["disc_drive"]


def told(family: Family, **facts: str | int) -> Diagnosis:
    """The diagnosis of these confirmed facts and of what follows from them."""
    answers = {fact: Answer(parse_value(family.facts[fact], value)) for fact, value in facts.items()}
    return diagnose(family, with_implied(family, answers))


def ranked(diagnosis: Diagnosis) -> list[str]:
    return sorted(diagnosis.marginals, key=lambda fault: (-diagnosis.marginals[fault], fault))


# ---- size and optics -----------------------------------------------------------------------------------------------


def test_family_has_the_breadth_a_bench_needs(family: Family) -> None:
    assert len(family.findings) >= 25
    assert len(family.faults) >= 18
    assert len(family.steps) >= 24
    assert len(family.levels) == 6
    assert len(family.questions) >= 25


def test_disc_classes_have_the_wavelengths_of_their_standards(family: Family) -> None:
    """ECMA-130: 780 nm; ECMA-267: 650 nm; Blu-ray white paper: 405 nm; game discs as the physics they are built on."""
    found = {disc.id: disc.wavelength_nm for disc in family.disc_classes.values()}

    assert found == {"cd": 780, "dvd": 650, "bluray": 405, "game": 405, "game_old": 650}


# ---- order of causes -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("facts", "order"),
    [
        # FAQ "totally dead": outlet, adapter and cord; then supply or fuse; then controller
        pytest.param({"no_power": "yes"}, ["external_lead", "power_supply", "mainboard"], id="totally-dead"),
        # FAQ "drawer will not open": belt; gummed mechanism and gears; later button, supply, controller
        pytest.param(
            {"device_kind": "cd_player", "wont_eject": "yes", "disc_stuck": "no"},
            ["belt_gear_roller", "loader_gear", "sensor_or_switch", "power_supply"],
            id="drawer-will-not-open",
        ),
        pytest.param(
            {"device_kind": "cd_player", "tray_wont_close": "yes"},
            ["belt_gear_roller", "loader_gear", "sensor_or_switch"],
            id="drawer-will-not-close",
        ),
        # FAQ "ignores buttons": button connections; controller not reset; supply voltages; controller
        pytest.param(
            {"buttons_ignored": "yes"},
            ["sensor_or_switch", "firmware_or_settings", "power_supply", "mainboard"],
            id="ignores-buttons",
        ),
        # FAQ "skipping": dirty lens; dirty or damaged disc; tracking; weak laser
        pytest.param(
            {"device_kind": "cd_player", "skips": "yes"},
            ["lens_dirty", "bad_disc", "sled_or_rail", "pickup_weak"],
            id="skipping",
        ),
    ],
)
def test_published_order_of_causes_is_kept(family: Family, facts: dict[str, str], order: list[str]) -> None:
    found = [fault for fault in ranked(told(family, **facts)) if fault in order]

    assert found == order


def test_repeating_the_same_spot_points_to_the_disc_first(family: Family) -> None:
    """FAQ "repeats one turn": first a damaged or dirty disc, second dry grease on the pickup drive."""
    found = ranked(told(family, device_kind="cd_player", skips="yes", where_on_disc="same_spot"))

    assert found[0] == "bad_disc"
    assert found.index("sled_or_rail") < found.index("pickup_weak")


# ---- lasers: what follows and what is a rule of thumb -------------------------------------------------------------------


def test_only_short_wave_failing_puts_lens_before_diode_and_a_proper_clean_reverses_it(
    family: Family,
) -> None:
    """Common practice, no source: film shows at 405 nm first; after a competent clean the diode is the likelier."""
    facts = {
        "device_kind": "bd_player",
        "bluray_result": "fails",
        "dvd_result": "plays",
        "cd_result": "plays",
    }
    untouched = told(family, **facts)
    cleaned = told(family, **facts, opened="shop", lens_cleaned="shop")

    assert ranked(untouched)[:2] == ["lens_dirty", "pickup_weak"]
    assert ranked(cleaned)[:2] == ["pickup_weak", "lens_dirty"]


def test_red_failing_while_short_wave_plays_lowers_the_dirty_lens(family: Family) -> None:
    """Common practice, no source: a film on a shared lens should hit 405 nm before 650 nm."""
    device = {"device_kind": "bd_player", "cd_result": "plays"}
    blue = told(family, **device, bluray_result="fails", dvd_result="plays").marginals
    red = told(family, **device, bluray_result="plays", dvd_result="fails").marginals

    assert red["lens_dirty"] / red["pickup_weak"] < 0.7 * blue["lens_dirty"] / blue["pickup_weak"]


@pytest.mark.parametrize("disc", ["cd_result", "dvd_result", "bluray_result", "game_result"])
def test_a_class_that_plays_clears_power_loader_and_link(family: Family, disc: str) -> None:
    """What strictly follows from a passing class: each of these becomes less likely than it was."""
    before = told(family, device_kind="console_slot").marginals
    after = told(family, device_kind="console_slot", **{disc: "plays"}).marginals

    for fault in (
        "power_supply",
        "external_lead",
        "loader_gear",
        "jammed_disc",
        "flex_cable",
        "spindle_motor",
    ):
        assert after[fault] < before[fault], fault


def test_games_failing_beside_video_of_the_same_laser_raises_the_paired_board_not_the_laser(
    family: Family,
) -> None:
    """Same laser, other result: pairing or the disc come before the laser (405 nm: Blu-ray and newer games)."""
    before = told(family, device_kind="console_slot").marginals
    after = told(family, device_kind="console_slot", bluray_result="plays", game_result="fails").marginals

    assert after["wrong_board"] > 5 * before["wrong_board"]
    assert after["pickup_weak"] < after["bad_disc"]


def test_one_failing_title_is_almost_always_the_disc(family: Family) -> None:
    """Common practice, no source: above 0.85 reads as almost always."""
    found = told(family, device_kind="dvd_player", only_one_disc="yes", disc_looks_damaged="yes")

    assert found.marginals["bad_disc"] > 0.85


# ---- work done before ------------------------------------------------------------------------------------------------


def test_signs_of_earlier_work_raise_flex_timing_solder_and_board_and_lower_the_diode(family: Family) -> None:
    """Earlier-repair evidence shifts the odds (common practice, no source)."""
    facts = {"device_kind": "console_slot", "disc_not_read": "yes"}
    untouched = told(family, **facts, opened="nobody").marginals
    worked_on = told(family, **facts, opened="owner", soldered="owner", board_swapped="owner").marginals

    for fault in ("flex_cable", "loader_mistimed", "bad_solder", "wrong_board"):
        assert worked_on[fault] > untouched[fault], fault
    assert worked_on["pickup_weak"] < untouched["pickup_weak"]


def test_no_eject_after_opening_points_to_timing_or_flex_before_the_motor(family: Family) -> None:
    """Recent self-repair and no eject: mis-timed loader or mis-seated flex over the motor (owner reports)."""
    found = told(
        family, device_kind="console_slot", wont_eject="yes", opened="owner", started_after="opening"
    )

    assert found.marginals["loader_mistimed"] > found.marginals["spindle_motor"]
    assert found.marginals["flex_cable"] > found.marginals["spindle_motor"]


def test_a_cleaning_disc_never_counts_as_a_proper_clean(family: Family) -> None:
    """FAQ: cleaning discs are nearly useless for grease or smoke film and may make it worse."""
    facts = {"device_kind": "cd_player", "disc_not_read": "yes"}

    assert told(family, **facts, cleaning_disc_used="yes").marginals == told(family, **facts).marginals


@pytest.mark.parametrize(
    ("facts", "offered"),
    [
        pytest.param({}, [], id="nobody-knows-where-it-is"),
        pytest.param({"original_board_place": "lost"}, [], id="lost"),
        pytest.param({"original_board_place": "in_device"}, [], id="inside"),
        pytest.param({"original_board_place": "loose_in_box"}, ["refit_original_board"], id="loose"),
        pytest.param(
            {"original_board_place": "loose_in_box", "board_candidates": 3},
            ["trial_board"],
            id="one-of-three",
        ),
    ],
)
def test_a_board_is_refitted_or_tried_only_when_one_comes_along(
    family: Family, facts: dict[str, str | int], offered: list[str]
) -> None:
    answers = {fact: Answer(parse_value(family.facts[fact], value)) for fact, value in facts.items()}
    curing = [step for step in family.steps.values() if "wrong_board" in step.fixes]

    assert [s.id for s in curing if s.only_when is None or holds(s.only_when, answers)] == offered


# ---- success odds ----------------------------------------------------------------------------------------------------

ORDS_INTERVALS = {
    # (step, fault): 95 % interval of the share fixed in the disc slice of the set named above
    ("clean_lens", "lens_dirty"): (0.670, 0.843),
    ("replace_belt", "belt_gear_roller"): (0.474, 0.735),
    ("replace_loader_gear", "loader_gear"): (0.583, 0.729),
    ("retime_loader", "loader_mistimed"): (0.583, 0.729),
    ("replace_switch", "sensor_or_switch"): (0.583, 0.729),
    ("clean_roller", "belt_gear_roller"): (0.474, 0.735),
    ("clean_sensor", "sensor_or_switch"): (0.583, 0.729),
    ("free_jammed_disc", "jammed_disc"): (0.583, 0.729),
    ("replace_pickup", "pickup_weak"): (0.029, 0.349),
}


@pytest.mark.parametrize(("step", "fault"), ORDS_INTERVALS)
def test_success_odds_lie_in_the_published_interval_or_say_why_not(
    family: Family, step: str, fault: str
) -> None:
    low, high = ORDS_INTERVALS[step, fault]
    chosen = family.steps[step]
    inside = low <= chosen.fixes[fault] <= high

    assert inside or "because" in chosen.source


def test_success_odds_keep_the_published_order(family: Family) -> None:
    """Lens cleaned (.765) > loading (.659) > laser without cleaning (.325) > laser called bad (.136)."""
    clean = family.steps["clean_lens"].fixes["lens_dirty"]
    loading = family.steps["replace_loader_gear"].fixes["loader_gear"]
    no_clean = family.steps["replace_pickup"].fixes["lens_dirty"]
    called_bad = family.steps["replace_pickup"].fixes["pickup_weak"]

    assert clean > loading > no_clean > called_bad


def test_a_clean_by_a_shop_lowers_the_step_a_lot_and_by_the_owner_a_little(family: Family) -> None:
    times = {str(change.when): change.times for change in family.steps["clean_lens"].tried}
    by_shop = next(value for when, value in times.items() if "shop" in when)
    by_owner = next(value for when, value in times.items() if "owner" in when)

    assert by_shop <= 0.5 < 0.8 <= by_owner < 1


# ---- safety --------------------------------------------------------------------------------------------------------


def _deep(family: Family) -> set[str]:
    deep, grown = {"drive_open", "board_level"}, True
    while grown:
        more = {level.id for level in family.levels.values() if level.parent in deep} - deep
        deep, grown = deep | more, bool(more)
    return deep


def test_every_step_in_an_open_drive_warns_of_the_laser(family: Family) -> None:
    """IEC 60825-1: opening a class 1 product defeats its class."""
    deep = _deep(family)

    missing = [s.id for s in family.steps.values() if s.level in deep and "bench_laser" not in s.hazards]

    assert missing == []


def test_no_play_test_with_the_drive_open(family: Family) -> None:
    assert [level for level in _deep(family) if family.levels[level].test_possible] == []


def test_steps_with_the_lid_off_warn_of_mains(family: Family) -> None:
    lid_off = [step for step in family.steps.values() if step.level == "lid_off"]

    assert lid_off
    assert all("bench_mains" in step.hazards for step in lid_off)


@pytest.mark.parametrize(
    ("word", "caution"),
    [("isopropyl", "bench_ipa"), ("solder", "bench_solder")],
)
def test_steps_that_name_a_hazard_carry_its_caution(family: Family, word: str, caution: str) -> None:
    """Isopropyl (NIOSH: flash point 11.7 C) and solder (fume, lead) steps show their caution."""
    texts = family.texts["en"]
    named = [step for step in family.steps.values() if word in str(texts[f"step.{step.id}.how"]).casefold()]

    assert named
    assert [step.id for step in named if caution not in step.hazards] == []


STOP_SIGNS = {
    # fact, what the customer must read, what must not stand there
    "smoke": (
        "smoke_or_smell",
        ("unplug", "fire service", "not switch it on", "person"),
        ("price", "label", "test"),
    ),
    "liquid": (
        "liquid_inside",
        ("unplug", "not switch it on", "rice", "person"),
        ("price", "label", "test it"),
    ),
    "swollen_battery": (
        "battery_swollen",
        ("stop using", "not charge", "pierce", "person"),
        ("label", "price"),
    ),
    "shock": ("electric_shock", ("unplug", "not use", "electrician", "person"), ("open", "price")),
}


@pytest.mark.parametrize("caution", STOP_SIGNS)
def test_stop_signs_say_what_to_do_and_nothing_about_price_or_self_tests(
    family: Family, caution: str
) -> None:
    fact, must, must_not = STOP_SIGNS[caution]
    sign = family.cautions[caution]
    text = str(family.texts["en"][f"caution.{caution}.customer"]).casefold()

    assert sign.severity == "stop"
    assert "ship" in sign.asked
    assert family.facts[fact].role == "hazard"
    assert [word for word in must if word not in text] == []
    assert [word for word in must_not if word in text] == []


def test_customers_are_never_asked_to_look_for_the_lens(family: Family) -> None:
    """Eye hazard: the fact is heard when volunteered, never asked."""
    assert [q.id for q in family.questions.values() if "lens_moves" in q.fills] == []


def test_a_stuck_disc_is_left_alone(family: Family) -> None:
    text = str(family.texts["en"]["caution.no_force_disc.customer"]).casefold()

    assert all(
        word in text for word in ("leave the disc", "pry", "shake", "knife", "card", "tape", "unplugged")
    )


# ---- asking ----------------------------------------------------------------------------------------------------------


def test_every_question_has_a_shorter_second_wording_in_every_language(family: Family) -> None:
    for locale, texts in family.texts.items():
        for question in family.questions:
            wordings = texts[f"question.{question}"]
            assert isinstance(wordings, tuple), (locale, question)
            assert len(wordings) == 2, (locale, question)


def test_no_question_offers_more_than_five_answers(family: Family) -> None:
    """A list to tick is cut to six lines when it is asked, whatever it could hold."""
    assert [q.id for q in family.questions.values() if len(q.choices) > 5 and not q.several] == []


def test_the_hazard_question_comes_first_and_covers_every_hazard(family: Family) -> None:
    hazards = {fact.id for fact in family.facts.values() if fact.role == "hazard"}
    question = family.questions["hazards"]

    assert question.tier == "safety"
    assert hazards <= set(question.fills)
    ticked = {fact: value for choice in question.choices for fact, value in choice.sets.items()}
    left = {fact: value for choice in question.choices for fact, value in choice.else_sets.items()}
    assert {fact: ticked[fact] for fact in hazards} == dict.fromkeys(hazards, "yes")
    assert {fact: left[fact] for fact in hazards} == dict.fromkeys(hazards, "no")
