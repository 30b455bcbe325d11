"""Learning from finished jobs: the Dirichlet and Beta rules, on lessons written by hand."""

from __future__ import annotations

import pytest

from intakebot.cli import main
from intakebot.workshop.lessons import learned_priors, learned_steps, report


def lesson(causes, *steps):
    return {
        "causes": list(causes),
        "steps": [{"step": step, "result": result, "minutes": "10"} for step, result in steps],
    }


@pytest.fixture
def family(definitions):
    return definitions.families["disc_drive"]


def test_no_lessons_move_nothing(family):
    assert learned_priors(family, []) == ()
    assert "Nothing to learn yet" in report(family, [])


def test_found_cause_becomes_likelier_and_all_others_less(family):
    moved = {row.what: row for row in learned_priors(family, [lesson(["sled_or_rail"])] * 10)}

    assert moved["sled_or_rail"].after > moved["sled_or_rail"].before
    assert all(row.after < row.before for what, row in moved.items() if what != "sled_or_rail")
    assert moved["sled_or_rail"].count == 10


def test_step_chance_is_the_beta_mean_of_single_step_tests(family):
    lessons = [lesson(["lens_dirty"], ("clean_lens", "test_passed"))] * 3 + [
        lesson(["lens_dirty"], ("clean_lens", "test_failed"))
    ]
    before = family.steps["clean_lens"].fixes["lens_dirty"]

    (row,) = learned_steps(family, lessons)

    # Beta(20 q, 20 (1 - q)) after 3 of 4: (20 q + 3) / 24
    assert row.after == pytest.approx((20 * before + 3) / 24)


def test_test_after_two_steps_says_nothing_about_either(family):
    assert (
        learned_steps(
            family, [lesson(["lens_dirty"], ("clean_lens", "done"), ("grease_rails", "test_passed"))]
        )
        == ()
    )


def test_learn_command_reads_the_shops_own_records(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("INTAKEBOT_DATA_DIR", str(tmp_path / "data"))

    assert main(["learn"]) == 0
    assert capsys.readouterr().out.startswith("0 finished jobs in disc_drive.")


def test_simulate_command_is_wired(capsys):
    assert main(["simulate", "--customers", "1", "--seed", "5"]) in (0, 2)
    assert "completion" in capsys.readouterr().out
