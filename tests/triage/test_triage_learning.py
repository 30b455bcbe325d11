"""Learning from outcomes: conjugate counting, worked by hand or from published examples."""

from __future__ import annotations

import numpy as np
import pytest

from intakebot.triage.learning import (
    StepTry,
    beta_mean,
    exclusive_shares,
    learn_noisy_or,
    step_chance,
    with_learned_priors,
)
from tests.triage.families import family

PRIOR = {"lens": 0.40, "pickup": 0.30, "motor": 0.15, "belt": 0.10, "other": 0.05}


def test_shares_after_thirty_boxes():
    # (20*.40 + 9)/50 = .34, (6+14)/50 = .40, (3+2)/50 = .10, (2+4)/50 = .12, (1+1)/50 = .04
    found = exclusive_shares(PRIOR, 20, {"lens": 9, "pickup": 14, "motor": 2, "belt": 4, "other": 1})

    assert list(found.values()) == pytest.approx([0.34, 0.40, 0.10, 0.12, 0.04])


def test_flat_dirichlet_of_three():
    # Dirichlet(1,1,1) + 2,1,0: 3/6, 2/6, 1/6
    found = exclusive_shares({"a": 1 / 3, "b": 1 / 3, "c": 1 / 3}, 3, {"a": 2, "b": 1})

    assert list(found.values()) == pytest.approx([1 / 2, 1 / 3, 1 / 6])


def test_poll_of_1988_gives_the_known_means():
    """Gelman et al., Bayesian Data Analysis, 1988 election poll (data from memory): 727, 583, 137 with a flat prior."""
    flat = dict.fromkeys(("first", "second", "none"), 1 / 3)

    found = exclusive_shares(flat, 3, {"first": 727, "second": 583, "none": 137})

    assert list(found.values()) == pytest.approx([0.50207, 0.40276, 0.09517], abs=5e-6)


def test_order_and_batches_of_updates_do_not_matter():
    together = exclusive_shares(PRIOR, 20, {"lens": 3, "motor": 2})
    one = exclusive_shares(exclusive_shares(PRIOR, 20, {"motor": 2}), 22, {"lens": 3})

    assert one == pytest.approx(together)


def test_birth_example_mean():
    # Beta(438, 544): mean .44603 = (437 + 1) / (980 + 2), a flat Beta(1, 1) prior (textbook example, from memory)
    assert beta_mean(0.5, 2.0, 437, 980) == pytest.approx(0.44603, abs=5e-6)


def test_try_counts_by_the_chance_that_the_fault_was_there():
    # prior .6 worth 10: (6 + 1 + .5)/(10 + 1 + .5 + .25)
    tries = [StepTry(1.0, True), StepTry(0.5, True), StepTry(0.25, False)]

    assert step_chance(0.6, 10, tries) == pytest.approx(7.5 / 11.75)


def test_learned_priors_move_towards_the_counts_and_keep_the_level():
    small = family({"lens": 0.05, "motor": 0.05})
    odds = 0.05 / 0.95

    found = with_learned_priors(small, {"lens": 20.0}, strength=20.0)

    # shares 1/2, 1/2 become (10+20)/40 = 3/4 and 1/4 of the same total odds
    assert found.faults["lens"].prior / (1 - found.faults["lens"].prior) == pytest.approx(1.5 * odds)
    assert found.faults["motor"].prior / (1 - found.faults["motor"].prior) == pytest.approx(0.5 * odds)
    assert found.faults["lens"].source.startswith("learned")


def test_no_outcomes_leave_the_priors_alone():
    small = family({"lens": 0.05, "motor": 0.2})

    found = with_learned_priors(small, {})

    assert [fault.prior for fault in found.faults.values()] == pytest.approx([0.05, 0.2])


def test_noisy_or_of_one_fault_and_no_leak_is_plain_counting():
    present = np.ones((10, 1), dtype=bool)
    seen = np.array([True] * 7 + [False] * 3)

    shown, leak = learn_noisy_or(np.array([0.5]), 1e-9, present, seen, strength=2.0, rounds=300)

    # (2*.5 + 7) / (2 + 10) = 8/12
    assert shown[0] == pytest.approx(8 / 12, abs=1e-6)
    assert leak < 1e-6


def test_noisy_or_learning_finds_the_numbers_that_made_the_data():
    """5,000 invented boxes drawn with known numbers; learned back within two hundredths."""
    rng = np.random.default_rng(1)
    true, true_leak = np.array([0.7, 0.3]), 0.1
    present = rng.random((5000, 2)) < 0.4
    absent = (1 - true_leak) * np.where(present, 1 - true, 1.0).prod(axis=1)
    seen = rng.random(5000) >= absent

    shown, leak = learn_noisy_or(np.array([0.5, 0.5]), 0.2, present, seen, strength=2.0, rounds=200)

    assert shown == pytest.approx(true, abs=0.03)
    assert leak == pytest.approx(true_leak, abs=0.02)
