"""Bench plans: money, parts, board trials, earlier attempts, results and re-planning, reasons."""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal

import pytest

from intakebot.definitions import Texts
from intakebot.definitions.facts import Answer
from intakebot.definitions.model import Fact, Fault, GivingUp, Level, OddsChange, PairedPart, PlayTest, Step
from intakebot.errors import BadInputError
from intakebot.triage import (
    Reason,
    StepResult,
    bench_plan,
    bench_problem,
    diagnose,
    percent,
    replan,
    say_reason,
)
from intakebot.triage.bench import MOST_TRIALS
from tests.triage.families import DAY, INVENTED, answers, family, finding, hourly, said
from tests.triage.test_triage_diagnosis import alone

LEVELS = [
    Level("outside", None, 0.0, 0.0, True, INVENTED),
    Level("drive", "outside", 3.0, 2.0, False, INVENTED),
]
STEPS = [
    Step("clean", "drive", 1.0, 0.0, {"dirt": 0.99}, INVENTED),
    Step("swap", "drive", 6.0, 0.0, {"pickup": 0.99}, INVENTED),
    Step("belt", "outside", 2.0, 0.0, {"tray": 0.99}, INVENTED),
]
SHARES = [alone("dirt", 0.5), alone("pickup", 0.3), alone("tray", 0.2)]


def small(**changes):
    """The drive worked by hand, at 60 an hour: minutes are money."""
    built = family(SHARES, [], STEPS, LEVELS, test_minutes=0.0, give_up=(0.0, "100.00"))
    return replace(built, **changes)


def shop(definitions):
    return definitions.pricing, hourly(definitions.pricing, "60.00")


def planned(definitions, built, facts=None, results=(), **more):
    pricing, card = shop(definitions)
    known = facts or {}
    return bench_plan(built, pricing, card, diagnose(built, known), known, results, day=DAY, **more)


def test_drive_worked_by_hand_in_money(definitions):
    # Order belt, clean, swap (10.1 with sure repairs, see the published plans); .99 adds a little: each .01 stays broken.
    found = planned(definitions, small())

    assert found.key == "belt>clean>swap"
    belt, clean, swap = (group[0] for group in found.groups)
    assert (belt.access_minutes, clean.access_minutes, clean.close_minutes) == (0.0, 3.0, 2.0)
    assert (belt.cost, clean.cost, swap.cost) == pytest.approx((2.0, 1.0, 6.0))
    assert belt.solves == pytest.approx(0.198)  # .2 * .99
    assert clean.solves == pytest.approx(0.495 / 0.802)
    assert swap.solved_so_far == pytest.approx(0.99)
    assert belt.cost_so_far == pytest.approx(2.0)
    assert clean.cost_so_far == pytest.approx(2.0 + 0.802 * 6.0)


def test_outcomes_carry_what_the_price_needs(definitions):
    found = planned(definitions, small())

    first, second, third, unrepaired = found.outcomes
    assert (first.steps, first.open_minutes, first.close_minutes, first.minutes) == (("belt",), 0.0, 0.0, 2.0)
    assert (second.steps, second.open_minutes, second.close_minutes) == (("belt", "clean"), 3.0, 2.0)
    assert (third.open_minutes, third.close_minutes, third.minutes) == (6.0, 4.0, 19.0)  # 2+1+6 + 6 + 4
    assert not unrepaired.repaired
    assert unrepaired.probability == pytest.approx(0.01)
    assert sum(each.probability for each in found.outcomes) == pytest.approx(1.0)
    assert sum(each.probability * each.cost for each in found.outcomes) == pytest.approx(found.expected_cost)


def test_parts_and_expected_minutes_enter_the_cost(definitions):
    pricing, _ = shop(definitions)
    step = Step("swap", "outside", 10.0, 0.4, {"pickup": 0.9}, INVENTED, parts=("pickup_unit",))
    built = family([alone("pickup", 1.0)], [], [step], give_up=(0.0, "900.00"))
    part = float(pricing.parts["pickup_unit"][-1].price)

    found = planned(definitions, built)

    # log-normal mean: 10 * exp(.4^2 / 2) minutes at 1 a minute
    assert found.groups[0][0].cost == pytest.approx(10.0 * math.exp(0.08) + part)
    assert found.parts == ("pickup_unit",)
    assert found.outcomes[0].step_minutes == (("swap", 10.0, 0.4),)


def test_part_without_a_price_is_refused(definitions):
    step = Step("swap", "outside", 10.0, 0.4, {"pickup": 0.9}, INVENTED, parts=("unobtainium",))

    with pytest.raises(BadInputError, match="unobtainium"):
        planned(definitions, family([alone("pickup", 1.0)], [], [step]))


def test_part_price_is_the_one_in_force_on_the_day(definitions):
    pricing, _ = shop(definitions)
    from intakebot.triage.bench import part_price

    dated = pricing.parts["pickup_unit"]
    assert len(dated) > 1
    for price in dated:
        assert part_price(pricing, "pickup_unit", price.effective_from) == float(price.price)


def test_work_done_by_a_shop_lowers_the_chance_and_by_someone_only_a_little(definitions):
    tried = (
        OddsChange(said("cleaned", "shop"), 0.35, INVENTED),
        OddsChange(said("cleaned", "someone"), 0.85, INVENTED),
    )
    steps = [replace(STEPS[0], tried=tried), *STEPS[1:]]
    built = small(steps={step.id: step for step in steps})
    pricing, card = shop(definitions)

    def chance(facts) -> float:
        problem = bench_problem(built, pricing, card, diagnose(built, facts), facts, day=DAY)
        return next(step.fixes["dirt"] for step in problem.steps if step.id == "clean")

    assert chance({}) == pytest.approx(0.99)
    assert chance(answers(cleaned="someone")) == pytest.approx(0.99 * 0.85)
    assert chance(answers(cleaned="shop")) == pytest.approx(0.99 * 0.35)
    assert chance({"cleaned": Answer("shop", "heard", 0.5)}) == pytest.approx(0.99 * 0.675)  # half sure


def test_step_is_planned_only_when_its_condition_may_hold(definitions):
    refit = replace(STEPS[2], only_when=said("board", "in_box"))
    built = small(steps={step.id: step for step in [*STEPS[:2], refit]})
    pricing, card = shop(definitions)

    def offered(facts):
        problem = bench_problem(built, pricing, card, diagnose(built, facts), facts, day=DAY)
        return {step.id for step in problem.steps}

    assert "belt" in offered({})
    assert "belt" in offered(answers(board="in_box"))
    assert "belt" not in offered(answers(board="lost"))


# ---- board trials --------------------------------------------------------------------------------------------------


def boards(count: int, chance: float = 0.99):
    part = PairedPart("board", "place", {}, 0.1, "wrong_board", INVENTED, candidates_fact="boards")
    step = Step("trial_board", "outside", 10.0, 0.0, {"wrong_board": chance}, INVENTED, trial_of="board")
    facts = [Fact("boards", "count", (), ("packing",), "high", role="part_candidates", part="board")]
    built = family([alone("wrong_board", 1.0)], [], [step], facts=facts, give_up=(0.0, "9000.00"))
    return replace(built, paired_parts={"board": part}), answers(boards=count)


@pytest.mark.parametrize("count", [2, 3, 5, 8])
def test_look_alike_boards_are_tried_one_by_one_and_half_of_them_on_average(definitions, count):
    built, facts = boards(count)

    found = planned(definitions, built, facts)

    assert [group[0].id for group in found.groups] == [
        f"trial_board#{trial}" for trial in range(1, count + 1)
    ]
    assert all(len(group) == 1 for group in found.groups)
    # Each board is the original with 1/k: P(first passes) = .99/k, ..., and (k+1)/2 trials on average when it is sure.
    passed = [each.probability for each in found.outcomes if each.repaired]
    assert passed == pytest.approx([0.99 / count] * count)
    trials = sum(each.probability * len(each.steps) for each in found.outcomes)
    assert trials == pytest.approx(0.99 * (count + 1) / 2 + 0.01 * count)


def test_many_look_alikes_share_the_last_trial(definitions):
    built, facts = boards(14)

    found = planned(definitions, built, facts)

    assert len(found.groups) == MOST_TRIALS
    assert found.chance_repaired == pytest.approx(0.99)


def test_trials_are_never_two_before_one_test_even_when_testing_is_dear(definitions):
    built, facts = boards(3)
    built = replace(built, play_test=PlayTest(500.0, INVENTED))

    assert all(len(group) == 1 for group in planned(definitions, built, facts).groups)


# ---- results -------------------------------------------------------------------------------------------------------


def test_failed_test_moves_the_chance_to_what_is_left(definitions):
    pricing, card = shop(definitions)

    left, rest = replan(small(), pricing, card, {}, [StepResult("belt", "test_failed")], day=DAY)

    # tray .2*.01 = .002 remains against .5 and .3: of .802
    assert left.marginals == pytest.approx(
        {"dirt": 0.5 / 0.802, "pickup": 0.3 / 0.802, "tray": 0.002 / 0.802}
    )
    assert rest.key == "clean>swap"
    assert not rest.finished


def test_replanned_rest_costs_what_the_whole_plan_said(definitions):
    """Bellman: the plan after a failed first test is the rest of the plan, at the conditional cost."""
    pricing, card = shop(definitions)
    whole = planned(definitions, small())

    _, rest = replan(small(), pricing, card, {}, [StepResult("belt", "test_failed")], day=DAY)

    first = whole.groups[0][0]
    broken = 1.0 - first.solved_so_far
    assert whole.expected_cost == pytest.approx(first.cost + broken * rest.expected_cost)


def test_both_of_two_faults_may_remain_after_a_failed_test(definitions):
    pricing, card = shop(definitions)
    steps = [
        Step("a", "outside", 1.0, 0.0, {"x": 0.8}, INVENTED),
        Step("b", "outside", 1.0, 0.0, {"y": 0.5}, INVENTED),
    ]
    built = family({"x": 0.4, "y": 0.4}, [], steps, give_up=(0.0, "50.00"))

    left, _ = replan(built, pricing, card, {}, [StepResult("a", "test_failed")], day=DAY)

    # Prior sets x, y, xy with odds 2/3, 2/3, 4/9 (of 16/9): 6/16, 6/16, 4/16. After a (.8): x stays .2; xy leaves xy .2,
    # y .8. Weights: x 6*.2 = 1.2; y 6 + 4*.8 = 9.2; xy 4*.2 = .8; of 11.2.
    sets = {frozenset(each.faults): each.probability for each in left.sets}
    assert sets[frozenset("x")] == pytest.approx(1.2 / 11.2)
    assert sets[frozenset("y")] == pytest.approx(9.2 / 11.2)
    assert sets[frozenset("xy")] == pytest.approx(0.8 / 11.2)


def test_passed_test_finishes_the_plan(definitions):
    pricing, card = shop(definitions)

    _, rest = replan(
        small(),
        pricing,
        card,
        {},
        [StepResult("belt", "test_failed"), StepResult("clean", "test_passed")],
        day=DAY,
    )

    assert rest.finished
    assert (rest.groups, rest.chance_repaired, rest.expected_cost, rest.stop.code) == (
        (),
        1.0,
        0.0,
        "finished",
    )


def test_step_done_but_not_tested_stays_at_no_cost_and_keeps_the_drive_open(definitions):
    pricing, card = shop(definitions)

    _, rest = replan(small(), pricing, card, {}, [StepResult("clean", "done")], day=DAY)

    first = rest.groups[0]
    assert [step.id for step in first if step.pending] == ["clean"]
    assert all(step.access_minutes == 0.0 for step in first)
    # The drive stands open: shutting it for the test (2) is all the access that is left in the first group.
    assert sum(step.close_minutes for step in first) == 2.0


def test_step_that_could_not_be_done_is_dropped_and_holds_up_nothing(definitions):
    pricing, card = shop(definitions)
    steps = [STEPS[0], replace(STEPS[1], after=("clean",)), STEPS[2]]
    built = small(steps={step.id: step for step in steps})

    _, rest = replan(built, pricing, card, {}, [StepResult("clean", "could_not")], day=DAY)

    assert "clean" not in rest.plan.steps
    assert "swap" in rest.plan.steps


def test_what_was_seen_moves_the_diagnosis_and_the_plan(definitions):
    pricing, card = shop(definitions)
    film = replace(finding("film", {"dirt": 0.95}, 0.02), stage="bench")
    built = family(SHARES, [film], STEPS, LEVELS, give_up=(0.0, "100.00"))

    before = planned(definitions, built)
    left, after = replan(
        built, pricing, card, {}, [StepResult("belt", "test_failed", {"film": "yes"})], day=DAY
    )

    assert before.key == "belt>clean>swap"
    assert next(iter(left.marginals)) == "dirt"
    assert left.marginals["dirt"] > 0.95
    assert after.plan.steps[0] == "clean"


@pytest.mark.parametrize(
    "results",
    [
        [StepResult("belt", "test_passed"), StepResult("clean", "done")],
        [StepResult("belt", "exploded")],  # type: ignore[arg-type]
    ],
)
def test_results_that_cannot_be_are_refused(definitions, results):
    with pytest.raises(BadInputError, match="results"):
        planned(definitions, small(), results=results)


def test_steps_beyond_the_authorised_are_left_out(definitions):
    found = planned(definitions, small(), without=frozenset({"swap"}))

    assert "swap" not in found.plan.steps
    assert found.chance_repaired == pytest.approx(0.99 * 0.7)


def test_dear_giving_up_makes_the_plan_longer(definitions):
    cheap = planned(definitions, small(giving_up=GivingUp(0.0, Decimal("5.00"), INVENTED)))
    dear = planned(definitions, small(giving_up=GivingUp(0.0, Decimal("500.00"), INVENTED)))

    assert len(cheap.plan.steps) < len(dear.plan.steps)


def test_fault_that_no_step_repairs_stays_broken(definitions):
    built = family([alone("dirt", 0.5), Fault("dead", 1 / 3, False, INVENTED, alone=True)], [], STEPS, LEVELS)
    built = replace(built, giving_up=GivingUp(0.0, Decimal("100.00"), INVENTED))

    found = planned(definitions, built)

    assert found.chance_repaired == pytest.approx(0.5 * 0.99)
    assert found.stop.code in ("all_tried", "not_worth_more")


# ---- reasons -------------------------------------------------------------------------------------------------------


def test_first_reason_tells_access_and_share(definitions):
    found = planned(definitions, small())

    belt, clean, _ = (group[0].reasons[0] for group in found.groups)
    assert (belt.code, belt.values["minutes"]) == ("nothing_to_open", 2.0)
    assert (clean.code, clean.values["access"], clean.values["level"]) == ("opens", 3.0, "drive")


def test_steps_that_share_an_opening_say_so(definitions):
    found = planned(definitions, small(play_test=PlayTest(10.0, INVENTED)))

    group = next(group for group in found.groups if len(group) > 1)
    codes = {reason.code for step in group for reason in step.reasons}
    assert "opens_for_several" in codes
    assert "open_anyway" in codes
    assert "tested_together" in codes


def test_steps_that_help_only_together_say_so(definitions):
    steps = [
        Step("laser_swap", "outside", 4.0, 0.0, {"laser": 0.99}, INVENTED),
        Step("motor_swap", "outside", 4.0, 0.0, {"motor": 0.99}, INVENTED),
    ]
    built = family({"laser": 0.999, "motor": 0.999}, [], steps, give_up=(0.0, "500.00"))

    found = planned(definitions, built)

    assert found.groups[0][0].reasons[0].code in ("only_together", "nothing_to_open")
    assert found.groups[0][0].solves < 0.01


def test_second_best_plan_starts_otherwise_and_costs_more(definitions):
    found = planned(definitions, small())

    assert found.second is not None
    assert found.second.groups[0] != tuple(step.id for step in found.groups[0])
    assert found.second.expected_cost >= found.expected_cost


@pytest.mark.parametrize("locale", ["en", "de"])
def test_every_reason_can_be_said_in_every_language(definitions, locale):
    disc, card = definitions.families["disc_drive"], definitions.pricing.rate_cards[-1]
    texts = Texts(definitions, "disc_drive", locale)
    for facts in (answers(disc_not_read="yes"), answers(wont_eject="yes"), answers(no_power="yes"), {}):
        found = bench_plan(disc, definitions.pricing, card, diagnose(disc, facts), facts, day=DAY)
        lines = [
            say_reason(texts, reason) for group in found.groups for step in group for reason in step.reasons
        ]
        lines.append(say_reason(texts, found.stop))
        assert all("{" not in line and line for line in lines)


CODES = [
    "nothing_to_open", "open_anyway", "opens", "opens_for_several", "only_together", "prepares", "already_done", "trial",
    "must_precede", "tested_together", "finished", "nothing_left", "all_tried", "not_worth_starting", "not_worth_more",
]  # fmt: skip


@pytest.mark.parametrize("code", CODES)
@pytest.mark.parametrize("locale", ["en", "de"])
def test_every_code_has_a_text(definitions, locale, code):
    values: dict[str, str | float] = {
        "minutes": 3.4, "solves": 0.41, "level": "drive_open", "access": 10.0, "sharing": 2.0, "other": "replace_pickup",
        "trial": 1.0, "trials": 3.0, "count": 2.0, "left": 0.3,
    }  # fmt: skip

    line = say_reason(Texts(definitions, "disc_drive", locale), Reason(code, values))

    assert "{" not in line


def test_share_is_shown_without_claiming_certainty():
    assert [percent(share) for share in (0.0, 0.004, 0.41, 0.996, 1.0)] == [
        "0 %",
        "< 1 %",
        "41 %",
        "> 99 %",
        "100 %",
    ]


def test_shipped_plan_cleans_the_lens_before_replacing_the_pickup(definitions):
    """Common practice, no source: clean before replacing; the rule lives in `after`."""
    disc, card = definitions.families["disc_drive"], definitions.pricing.rate_cards[-1]
    facts = answers(disc_not_read="yes", no_power="no", age_years=12, slow_decline="yes")

    steps = bench_plan(disc, definitions.pricing, card, diagnose(disc, facts), facts, day=DAY).plan.steps

    assert "clean_lens" in steps
    if "replace_pickup" in steps:
        assert steps.index("clean_lens") < steps.index("replace_pickup")
