"""Value of a question: worked numbers, laws, and what it says on the shipped family."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest

from intakebot.definitions.facts import AllOf, Answer
from intakebot.definitions.model import Choice, Question, Step
from intakebot.triage import bench_plan, diagnose, value_of_questions
from intakebot.triage.questions import answers_to
from intakebot.triage.value import best_cost, evpi, evsi_of_answers
from tests.triage.families import DAY, INVENTED, answers, family, finding, hourly, no_parts
from tests.triage.test_triage_diagnosis import alone

# Plans: clean then swap, swap then clean. Faults: dirt, pickup.


def orders(clean: float, swap: float) -> np.ndarray:
    return np.array([[clean, clean + swap], [swap + clean, swap]])


def test_question_that_flips_the_order_is_worth_2_6():
    """Dirt .6, pickup .4; clean 20, swap 25; P(yes | dirt) .8, P(yes | pickup) .3 (confirmed by an influence diagram)."""
    weights, yes = np.array([0.6, 0.4]), np.array([0.8, 0.3])
    cost = orders(20, 25)

    # 20 + .4*25 = 30; yes (.6) posterior .8/.2: 20 + .2*25 = 25; no (.4) .3/.7: 25 + .3*20 = 31; .6*25 + .4*31 = 27.4
    assert best_cost(cost, weights) == pytest.approx(30.0)
    assert evsi_of_answers(cost, weights, [yes, 1 - yes]) == pytest.approx(2.6, abs=1e-12)


def test_question_that_cannot_flip_the_order_is_worth_nothing():
    weights, yes = np.array([0.6, 0.4]), np.array([0.8, 0.3])
    cost = orders(10, 60)

    assert best_cost(cost, weights) == pytest.approx(34.0)  # 10 + .4*60
    assert evsi_of_answers(cost, weights, [yes, 1 - yes]) == pytest.approx(0.0, abs=1e-12)


PRICES = np.array([95.0, 120.0, 220.0])
PRIORS = np.array([0.60, 0.25, 0.15])
WRONG_PLAN = PRICES[None, :] + 45.0 * (1 - np.eye(3))


@pytest.mark.parametrize(
    ("yes", "worth"),
    [([0.9, 0.1, 0.5], 7.4250), ([0.02, 0.05, 0.6], 3.5100), ([0.5, 0.5, 0.5], 0.0)],
    ids=["spins", "smell", "colour"],
)
def test_three_plans_with_a_penalty_for_the_wrong_one(yes, worth):
    """Pickup .60, motor .25, board .15; prices 95/120/220, penalty 45: V = 138, EVPI = 18 (worked with the definition)."""
    chance = np.array(yes)

    assert best_cost(WRONG_PLAN, PRIORS) == pytest.approx(138.0)  # .6*95 + .25*165 + .15*265
    assert evpi(WRONG_PLAN, PRIORS) == pytest.approx(18.0)  # 45 * .4
    assert evsi_of_answers(WRONG_PLAN, PRIORS, [chance, 1 - chance]) == pytest.approx(worth, abs=1e-4)


@pytest.mark.parametrize(("spins", "worth"), [(True, 2.4047), (False, 4.2188)])
def test_smell_after_spins_is_worth_asking_only_after_no(spins, worth):
    turns = np.array([0.9, 0.1, 0.5]) if spins else np.array([0.1, 0.9, 0.5])
    after = PRIORS * turns / float(PRIORS @ turns)
    smell = np.array([0.02, 0.05, 0.6])

    assert evsi_of_answers(WRONG_PLAN, after, [smell, 1 - smell]) == pytest.approx(worth, abs=1e-4)


def test_two_questions_can_be_worth_something_only_together():
    """A .7, B .3, equal prices, penalty 50, twice P(yes | A) = .35, P(yes | B) = .65: each 0, the pair 2.05."""
    cost = 50.0 * (1 - np.eye(2))
    weights, yes = np.array([0.7, 0.3]), np.array([0.35, 0.65])
    pair = [one * other for one in (yes, 1 - yes) for other in (yes, 1 - yes)]

    assert evsi_of_answers(cost, weights, [yes, 1 - yes]) == pytest.approx(0.0, abs=1e-12)
    # Both yes: .7*.1225 = .08575 against .3*.4225 = .12675; the plan flips and saves 50*.041 = 2.05.
    assert evsi_of_answers(cost, weights, pair) == pytest.approx(2.05, abs=1e-12)


def test_two_states_two_acts_with_a_signal():
    """States .7/.3; A pays 100/-50, B 40/40; signal right .8/.7: best 55, EVPI 27, EVSI 10.5 (worked with the definition)."""
    cost = -np.array([[100.0, -50.0], [40.0, 40.0]])
    weights, signal = np.array([0.7, 0.3]), np.array([0.8, 0.3])

    assert best_cost(cost, weights) == pytest.approx(-55.0)
    assert evpi(cost, weights) == pytest.approx(27.0)
    assert evsi_of_answers(cost, weights, [signal, 1 - signal]) == pytest.approx(10.5, abs=1e-9)


def test_one_look_at_a_uniform_chance():
    """Stake theta against a sure 1/2, theta uniform: EVSI 1/12, EVPI 1/8 (closed form); on a grid of 2,000 thetas."""
    theta = (np.arange(2000) + 0.5) / 2000
    weights = np.full(2000, 1 / 2000)
    cost = -np.array([theta, np.full(2000, 0.5)])

    assert evsi_of_answers(cost, weights, [theta, 1 - theta]) == pytest.approx(1 / 12, abs=1e-6)
    assert evpi(cost, weights) == pytest.approx(1 / 8, abs=1e-6)


@pytest.mark.parametrize("seed", range(50))
def test_a_question_is_never_worth_less_than_nothing_or_more_than_certainty(seed):
    """Raiffa & Schlaifer 1961 (from memory): 0 <= EVSI <= EVPI."""
    rng = np.random.default_rng(seed)
    cost, weights = rng.uniform(0, 100, (6, 5)), rng.dirichlet(np.ones(5))
    answer = rng.dirichlet(np.ones(3), 5).T

    worth = evsi_of_answers(cost, weights, list(answer))

    assert 0.0 <= worth <= evpi(cost, weights) + 1e-9


# ---- through the whole engine --------------------------------------------------------------------------------------


def dirt_or_pickup(clean: float, swap: float):
    """The first worked case as a family: minutes at 60 an hour are money; steps are made sure and never given up."""
    steps = [
        Step("clean", "outside", clean, 0.0, {"dirt": 1.0}, INVENTED),
        Step("swap", "outside", swap, 0.0, {"pickup": 1.0}, INVENTED),
    ]
    asked = finding("worse_cold", {"dirt": 0.8, "pickup": 0.3}, 0.0)
    small = family([alone("dirt", 0.6), alone("pickup", 0.4)], [asked], steps, give_up=(0.0, "5000.00"))
    question = Question("worse_cold", ("worse_cold",), "triage", AllOf(()), 1.0, INVENTED)
    empty = replace(
        question, id="colour", choices=(Choice("red", {"colour": "red"}), Choice("blue", {"colour": "blue"}))
    )
    return replace(small, questions={"worse_cold": question, "colour": empty})


def test_worked_question_through_the_engine(definitions):
    small = dirt_or_pickup(20, 25)
    pricing, card = no_parts(definitions.pricing), hourly(definitions.pricing, "60.00")

    found = value_of_questions(
        small, pricing, card, diagnose(small, {}), {}, ["worse_cold", "colour"], day=DAY
    )

    # 2.6 as above; steps are capped at .99 and the leak at .001, hence the tolerance.
    assert found["worse_cold"].evsi == pytest.approx(2.6, abs=0.1)
    assert found["worse_cold"].plan_changes
    assert found["worse_cold"].separates == ("clean>swap", "swap>clean")
    assert [(each.answer, round(each.probability, 2)) for each in found["worse_cold"].answers] == [
        ("yes", 0.6),
        ("no", 0.4),
    ]
    assert (found["colour"].evsi, found["colour"].answers, found["colour"].plan_changes) == (0.0, (), False)


def test_question_that_keeps_the_plan_through_the_engine(definitions):
    small = dirt_or_pickup(10, 60)
    pricing, card = no_parts(definitions.pricing), hourly(definitions.pricing, "60.00")

    found = value_of_questions(small, pricing, card, diagnose(small, {}), {}, ["worse_cold"], day=DAY)[
        "worse_cold"
    ]

    assert found.evsi == pytest.approx(0.0, abs=1e-9)
    assert not found.plan_changes
    assert found.price_move > 5.0  # it cannot change the plan, but it moves the price


def shipped(definitions, **facts):
    """Values of every triage question of the shipped family for a case."""
    disc, card = definitions.families["disc_drive"], definitions.pricing.rate_cards[-1]
    known = answers(**facts)
    diagnosis = diagnose(disc, known)
    planned = bench_plan(disc, definitions.pricing, card, diagnosis, known, day=DAY)
    asked = [question.id for question in disc.questions.values() if question.tier == "triage"]
    return value_of_questions(
        disc, definitions.pricing, card, diagnosis, known, asked, day=DAY, planned=planned
    )


def test_answers_of_every_question_are_a_distribution(definitions):
    for value in shipped(definitions, disc_not_read="yes", no_power="no").values():
        if value.answers:
            assert sum(each.probability for each in value.answers) == pytest.approx(1.0, abs=1e-6), (
                value.question
            )
        assert value.evsi >= 0.0
        assert value.best_pair >= value.evsi


def test_pairs_are_looked_at_for_the_best_eight(definitions):
    found = shipped(definitions, disc_not_read="yes", no_power="no")

    with_partner = [value for value in found.values() if value.partner]
    assert 2 <= len(with_partner) <= 8
    assert all(value.partner in found for value in with_partner)


def test_questions_about_contact_or_packing_are_worth_nothing(definitions):
    disc, card = definitions.families["disc_drive"], definitions.pricing.rate_cards[-1]
    asked = [
        question.id
        for question in disc.questions.values()
        if "name" in question.fills or "email" in question.fills
    ]

    found = value_of_questions(disc, definitions.pricing, card, diagnose(disc, {}), {}, asked, day=DAY)

    assert all(value.evsi == 0.0 and not value.plan_changes for value in found.values())


def test_values_are_the_same_each_time_and_with_or_without_the_plan_at_hand(definitions):
    one = shipped(definitions, wont_eject="yes")
    other = shipped(definitions, wont_eject="yes")

    assert one == other


def test_answers_of_a_count_question_stand_on_both_sides_of_the_thresholds(definitions):
    disc = definitions.families["disc_drive"]
    question = Question("years", ("age_years",), "triage", AllOf(()), 1.0, INVENTED)

    values = [int(label) for label, _ in answers_to(disc, question)]

    assert 7 in values
    assert 8 in values


def test_full_posterior_after_each_answer_costs_what_the_pool_says(definitions):
    """Asking is valued by a pool of plans; re-planning exactly for each answer must not find much more."""
    disc, card = definitions.families["disc_drive"], definitions.pricing.rate_cards[-1]
    rng = random.Random(7)
    facts = [fact.id for fact in disc.facts.values() if fact.type == "yes_no" and "triage" in fact.purposes]
    for fact in rng.sample(facts, 8):
        for answer in ("yes", "no"):
            known = {"disc_not_read": Answer("yes"), fact: Answer(answer)}
            diagnosis = diagnose(disc, known)
            planned = bench_plan(disc, definitions.pricing, card, diagnosis, known, day=DAY)
            value = value_of_questions(disc, definitions.pricing, card, diagnosis, known, ["noise"], day=DAY)
            assert value["noise"].price <= planned.expected_cost + 1e-6
