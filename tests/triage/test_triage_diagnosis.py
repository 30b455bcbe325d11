"""From answers to a posterior: soft evidence, odds, age, devices, many-valued findings, and evidence that does not fit."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from intakebot.definitions.facts import AllOf, Answer, AnyOf, Comparison
from intakebot.definitions.model import Fact, Fault, Finding, OddsChange
from intakebot.triage import Evidence, diagnose
from tests.triage.families import INVENTED, answers, family, finding, said

LENS_OR_MOTOR = {"lens": 0.2, "motor": 0.1}


def alone(name: str, share: float, **more) -> Fault:
    """Exclusive faults: with odds p/(1-p) their shares are the odds, normalised."""
    return Fault(name, share / (1 + share), True, INVENTED, alone=True, **more)


def logit(chance: float) -> float:
    return math.log(chance / (1 - chance))


def test_pattern_of_classes_moves_lens_laser_and_others():
    """An agreed table (illustrative): priors .45 .25 .30, P(405 nm fails and 650 nm passes | each) .50 .40 .05."""
    # .225, .100, .015 of .340: .6618, .2941, .0441
    pattern = Finding(
        "pattern",
        {"short_only": said("pattern", "short_only"), "other": said("pattern", "other")},
        INVENTED,
        normal="other",
        base={"short_only": 0.05, "other": 0.95},
        rows={
            "lens": {"short_only": 0.50, "other": 0.50},
            "laser": {"short_only": 0.40, "other": 0.60},
            "rest": {"short_only": 0.05, "other": 0.95},
        },
    )
    small = family([alone("lens", 0.45), alone("laser", 0.25), alone("rest", 0.30)], [pattern])

    found = diagnose(small, answers(pattern="short_only"))

    assert [round(found.marginals[name], 4) for name in ("lens", "laser", "rest")] == [0.6618, 0.2941, 0.0441]


def test_unanswered_and_declined_findings_drop_out():
    small = family(LENS_OR_MOTOR, [finding("noise", {"motor": 0.9}, 0.1)])

    silent = diagnose(small, {})

    assert silent.evidence == ()
    assert diagnose(small, {"noise": Answer(None, "not_known")}) == silent
    assert diagnose(small, {"noise": Answer(None, "declined")}) == silent


def test_hedged_answer_moves_less_than_a_plain_one_and_an_empty_one_moves_nothing():
    # P(said yes | h) = c * P(yes | h) + (1 - c) * P(yes): virtual evidence (Pearl 1988, from memory).
    small = family(
        [alone("lens", 0.5), alone("motor", 0.5)], [finding("noise", {"motor": 0.9, "lens": 0.1}, 0.001)]
    )

    def motor(certainty: float) -> float:
        return diagnose(small, {"noise": Answer("yes", "heard", certainty)}).marginals["motor"]

    # motor: P(yes) = 1 - .999*.1 = .9001; lens: 1 - .999*.9 = .1009; any: .5*(.9001 + .1009) = .5005.
    said_by_motor, said_by_lens = 0.8 * 0.9001 + 0.2 * 0.5005, 0.8 * 0.1009 + 0.2 * 0.5005
    assert motor(0.8) == pytest.approx(said_by_motor / (said_by_motor + said_by_lens), abs=1e-9)
    assert motor(1.0) == pytest.approx(0.9001 / (0.9001 + 0.1009), abs=1e-9)
    assert motor(1e-12) == pytest.approx(0.5, abs=1e-9)
    assert 0.5 < motor(0.3) < motor(0.8) < motor(1.0)


def test_certainty_of_a_composed_condition_is_its_weakest_needed_link():
    both = Finding(
        "both",
        {"yes": AllOf((said("a", "yes"), said("b", "yes"))), "no": AnyOf((said("a", "no"), said("b", "no")))},
        INVENTED,
        leak=0.1,
        raises={"lens": 0.5},
    )
    facts = [Fact(name, "yes_no", (), ("triage",), "low") for name in "ab"]
    small = family(LENS_OR_MOTOR, [both], facts=facts)

    weakest = diagnose(small, {"a": Answer("yes", "heard", 0.7), "b": Answer("yes", "heard", 0.9)})
    best = diagnose(small, {"a": Answer("no", "heard", 0.7), "b": Answer("no", "heard", 0.9)})

    assert weakest.evidence == (Evidence("both", "yes", 0.7),)
    assert best.evidence == (Evidence("both", "no", 0.9),)


def test_earlier_work_changes_the_odds():
    opened = OddsChange(said("opened", "owner"), 5.0, INVENTED)
    small = family([alone("lens", 0.8), alone("flex", 0.2, odds_when=(opened,))])

    # odds .8 against .2*5 = 1.0: flex 1/1.8
    assert diagnose(small, answers(opened="owner")).marginals["flex"] == pytest.approx(1 / 1.8, abs=1e-9)
    assert diagnose(small, answers(opened="shop")).marginals["flex"] == pytest.approx(0.2, abs=1e-9)
    # half sure: times 1 + .5*4 = 3: .6/1.4
    unsure = diagnose(small, {"opened": Answer("owner", "heard", 0.5)})
    assert unsure.marginals["flex"] == pytest.approx(0.6 / 1.4, abs=1e-9)


def test_age_and_device_shift_the_prior():
    old = OddsChange(Comparison("age_years", ">=", 8), 2.0, INVENTED)
    kind = Fact("device_kind", "choice", ("console", "player"), ("triage",), "high", role="device_kind")
    belt = alone("belt", 0.2, by_device={"console": 0.5}, odds_when=(old,))
    small = family([alone("lens", 0.8), belt], facts=[kind])

    assert diagnose(small, answers(age_years=8)).marginals["belt"] == pytest.approx(0.4 / 1.2, abs=1e-9)
    # prior .5 has odds 1: 1/1.8
    assert diagnose(small, answers(device_kind="console")).marginals["belt"] == pytest.approx(
        1 / 1.8, abs=1e-9
    )
    assert diagnose(small, answers(device_kind="player")).marginals["belt"] == pytest.approx(0.2, abs=1e-9)


def test_finding_waits_for_its_condition():
    lead = replace(finding("lead", {"motor": 0.9}, 0.01), applies_when=said("no_power", "yes"))
    small = family(LENS_OR_MOTOR, [lead])

    assert diagnose(small, answers(lead="yes")).evidence == ()
    assert diagnose(small, answers(lead="yes", no_power="no")).evidence == ()
    assert len(diagnose(small, answers(lead="yes", no_power="yes")).evidence) == 1


def test_many_valued_finding_follows_the_dominant_fault():
    noise = Finding(
        "noise",
        {value: said("noise", value) for value in ("none", "grinding", "clicking")},
        INVENTED,
        normal="none",
        base={"none": 0.9, "grinding": 0.05, "clicking": 0.05},
        rows={
            "gear": {"none": 0.2, "grinding": 0.7, "clicking": 0.1},
            "rail": {"none": 0.5, "grinding": 0.1, "clicking": 0.4},
        },
    )
    small = family({"gear": 0.5, "rail": 0.5, "lens": 0.5}, [noise])

    found = diagnose(small, answers(noise="grinding"))

    # All seven sets have the same prior weight; gear rules where it is (.7), else rail (.1), else base (.05).
    weights = {frozenset(each.faults): each.probability for each in found.sets}
    total = 4 * 0.7 + 2 * 0.1 + 0.05
    assert weights[frozenset({"gear", "rail"})] == pytest.approx(0.7 / total, abs=1e-9)
    assert weights[frozenset({"rail", "lens"})] == pytest.approx(0.1 / total, abs=1e-9)
    assert weights[frozenset({"lens"})] == pytest.approx(0.05 / total, abs=1e-9)


def test_contributions_say_how_far_each_finding_moved_each_fault():
    small = family(
        [alone("lens", 0.7), alone("motor", 0.3)],
        [
            finding("noise", {"motor": 0.8, "lens": 0.1}, 0.001),
            finding("spins", {"lens": 0.9, "motor": 0.2}, 0.001),
        ],
    )

    found = diagnose(small, answers(noise="yes", spins="no"))

    by_finding = {each.finding: each for each in found.contributions}
    # Exclusive faults: the move is the log of the likelihood ratio.
    noise = math.log((1 - 0.999 * 0.2) / (1 - 0.999 * 0.9))
    spins = math.log((0.999 * 0.8) / (0.999 * 0.1))
    assert by_finding["noise"].moved["motor"] == pytest.approx(noise, abs=1e-9)
    assert by_finding["spins"].moved["motor"] == pytest.approx(spins, abs=1e-9)
    assert logit(found.marginals["motor"]) == pytest.approx(logit(0.3) + noise + spins, abs=1e-9)


def test_evidence_that_fits_nothing_is_said_and_believed_by_half():
    """Twelve signs, each almost certain with one of two exclusive causes and almost never with the other, all present."""
    signs = [finding(f"g{n}", {"lens": 0.999} if n % 2 else {"motor": 0.999}, 0.001) for n in range(12)]
    small = family([alone("lens", 0.7), alone("motor", 0.3)], signs)

    found = diagnose(small, {f"g{n}": Answer("yes") for n in range(12)})

    assert not found.fits
    assert found.conflict > math.log(1e12)
    assert sum(found.marginals.values()) == pytest.approx(1.0)
    assert all(0.0 < chance < 1.0 for chance in found.marginals.values())


def test_evidence_that_is_only_improbable_still_fits():
    signs = [finding(f"f{n}", {"lens": 0.999, "motor": 0.999}, 0.001) for n in range(12)]
    small = family([alone("lens", 0.7), alone("motor", 0.3)], signs)

    assert diagnose(small, {f"f{n}": Answer("yes" if n % 2 else "no") for n in range(12)}).fits


def test_conflict_is_zero_without_findings_and_negative_when_they_support_each_other():
    findings = [finding(name, {"motor": 0.9}, 0.01) for name in ("whine", "slow_spin")]
    small = family([alone("lens", 0.9), alone("motor", 0.1)], findings)

    assert diagnose(small, {}).conflict == 0.0
    assert diagnose(small, answers(whine="yes", slow_spin="yes")).conflict < 0


def test_fault_that_stands_alone_is_never_in_a_set_with_others():
    small = family(
        [Fault("lens", 0.3, True, INVENTED), Fault("motor", 0.3, True, INVENTED), alone("nothing", 0.2)]
    )

    sets = {each.faults for each in diagnose(small, {}).sets}

    assert sets == {("lens",), ("motor",), ("nothing",), ("lens", "motor")}


def test_sets_sum_to_one_and_fall():
    small = family({f"d{n}": 0.05 + 0.02 * n for n in range(8)}, [finding("f", {"d3": 0.8, "d5": 0.4}, 0.05)])

    found = diagnose(small, answers(f="yes")).sets

    chances = [each.probability for each in found]
    assert sum(chances) == pytest.approx(1.0, abs=1e-6)
    assert chances == sorted(chances, reverse=True)
    assert max(len(each.faults) for each in found) == 3


def test_same_facts_give_the_same_diagnosis_whatever_the_order():
    small = family(LENS_OR_MOTOR, [finding("a", {"lens": 0.5}, 0.1), finding("b", {"motor": 0.5}, 0.1)])
    one = {"a": Answer("yes"), "b": Answer("no")}
    other = {"b": Answer("no"), "irrelevant": Answer("yes"), "a": Answer("yes")}

    assert diagnose(small, one) is diagnose(small, other)


# ---- the shipped family --------------------------------------------------------------------------------------------


def ranks(definitions, **facts) -> list[str]:
    return list(diagnose(definitions.families["disc_drive"], answers(**facts)).marginals)


def test_dead_device_suspects_lead_then_supply_then_board(definitions):
    """sci.electronics FAQ, Compact Disc Players and CDROM Drives, 'totally dead': outlet, cord, supply, controller."""
    order = ranks(definitions, no_power="yes")

    assert order.index("external_lead") < order.index("power_supply") < order.index("mainboard")


def test_skipping_suspects_lens_and_disc_before_the_laser(definitions):
    """The same FAQ, 'skipping': dirty lens, dirty or damaged disc, tracking, weak laser."""
    order = ranks(definitions, skips="yes", no_power="no", disc_not_read="no")

    assert order.index("lens_dirty") < order.index("pickup_weak")
    assert order.index("bad_disc") < order.index("pickup_weak")


def test_one_title_that_fails_is_the_disc(definitions):
    """The same FAQ and the trade: one disc fails while others of its class play: the disc first."""
    assert ranks(definitions, only_one_disc="yes", no_power="no", disc_not_read="no")[0] == "bad_disc"


def test_opened_by_its_owner_raises_flex_and_timing_and_lowers_the_pickup(definitions):
    """Common practice, no source: evidence of an earlier repair shifts the odds to flex, timing, board and solder."""
    shipped = definitions.families["disc_drive"]
    before = diagnose(shipped, answers(disc_not_accepted="yes", opened="nobody")).marginals
    after = diagnose(shipped, answers(disc_not_accepted="yes", opened="owner")).marginals

    assert after["flex_cable"] > before["flex_cable"]
    assert after["loader_mistimed"] > before["loader_mistimed"]
    assert after["pickup_weak"] < before["pickup_weak"]


def test_cleaning_disc_is_never_counted_as_a_proper_clean(definitions):
    """The same FAQ: cleaning discs are nearly useless for grease or smoke film."""
    shipped = definitions.families["disc_drive"]
    base = diagnose(shipped, answers(disc_not_read="yes")).marginals["lens_dirty"]
    with_disc = diagnose(shipped, answers(disc_not_read="yes", cleaning_disc_used="yes")).marginals[
        "lens_dirty"
    ]
    by_shop = diagnose(shipped, answers(disc_not_read="yes", lens_cleaned="shop")).marginals["lens_dirty"]

    assert with_disc == pytest.approx(base, abs=0.02)
    assert by_shop < base - 0.05


def test_video_discs_play_and_games_are_taken_for_video_points_to_the_board(definitions):
    """Owner reports: a foreign drive board plays video discs but not games."""
    shipped = definitions.families["disc_drive"]
    facts = answers(
        device_kind="console_slot", bluray_result="plays", game_result="fails", games_seen_as_video="yes"
    )

    found = diagnose(shipped, facts).marginals

    assert (
        found["wrong_board"]
        > 10 * diagnose(shipped, answers(device_kind="console_slot")).marginals["wrong_board"]
    )


def test_film_seen_on_the_lens_raises_dirt_and_a_slipping_belt_raises_the_belt(definitions):
    shipped = definitions.families["disc_drive"]
    base = diagnose(shipped, answers(disc_not_read="yes")).marginals
    film = diagnose(shipped, answers(disc_not_read="yes", seen_film_on_lens="yes")).marginals
    belt = diagnose(shipped, answers(disc_not_accepted="yes", seen_belt_slipped="yes")).marginals

    assert film["lens_dirty"] > base["lens_dirty"]
    assert next(iter(belt)) == "belt_gear_roller"
