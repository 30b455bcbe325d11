"""Reading a planning problem: the public JSON shape, and one clear error for each way of getting it wrong."""

from __future__ import annotations

import copy
import json
import math
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from intakebot.errors import PlanningProblemError
from intakebot.triage import PlanningProblem, expected_cost, plan
from intakebot.triage.__main__ import main

GOOD: dict[str, Any] = {
    "hypotheses": [{"faults": ["a", "b"], "probability": 0.2}, {"faults": ["a"], "probability": 0.5}],
    "steps": [
        {"id": "clean", "cost": 2, "level": "drive", "fixes": {"a": 0.9}, "after": []},
        {"id": "swap", "cost": 9.5, "level": None, "fixes": {"b": 0.8, "a": 0.5}, "after": ["clean"]},
        {"id": "third", "cost": 1, "level": "lid", "fixes": {}, "after": []},
    ],
    "levels": [
        {"id": "lid", "parent": None, "open": 1, "close": 1, "test_possible": True},
        {"id": "drive", "parent": "lid", "open": 3, "close": 2, "test_possible": False},
    ],
    "test_cost": 1,
    "give_up_cost": 30,
    "close_at_end": True,
}


def changed(path: tuple[str | int, ...], value: Any) -> dict[str, Any]:
    problem = copy.deepcopy(GOOD)
    place: Any = problem
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    return problem


@pytest.mark.parametrize(
    ("path", "value", "where"),
    [
        (("hypotheses", 0, "probability"), 1.2, "hypotheses[0].probability"),
        (("hypotheses", 0, "probability"), -0.1, "hypotheses[0].probability"),
        (("hypotheses", 0, "probability"), math.nan, "hypotheses[0].probability"),
        (("hypotheses", 0, "probability"), True, "hypotheses[0].probability"),
        (("hypotheses", 0, "probability"), "0.2", "hypotheses[0].probability"),
        (("hypotheses", 1, "probability"), 0.9, "hypotheses"),
        (("hypotheses", 0, "faults"), [], "hypotheses[0].faults"),
        (("hypotheses", 0, "faults"), "ab", "hypotheses[0].faults"),
        (("hypotheses", 0, "faults"), ["a", "a"], "hypotheses[0].faults[1]"),
        (("hypotheses",), {}, "hypotheses"),
        (("hypotheses", 0), 3, "hypotheses[0]"),
        (("steps", 2, "cost"), -1, "steps[2].cost"),
        (("steps", 2, "cost"), math.inf, "steps[2].cost"),
        (("steps", 2, "cost"), None, "steps[2].cost"),
        (("steps", 2, "cost"), 10**400, "steps[2].cost"),
        (("steps", 1, "id"), "clean", "steps[1]"),
        (("steps", 1, "id"), "", "steps[1].id"),
        (("steps", 0, "level"), "lidd", "steps[0].level"),
        (("steps", 0, "fixes", "a"), 1.5, "steps[0].fixes.a"),
        (("steps", 0, "fixes", "a"), math.nan, "steps[0].fixes.a"),
        (("steps", 0, "fixes"), ["a"], "steps[0].fixes"),
        (("steps", 1, "after"), ["clena"], "steps[1].after[0]"),
        (("steps", 0, "after"), ["swap"], "steps[0].after"),
        (("steps", 2, "after"), ["third"], "steps[2].after"),
        (("steps", 0, "aftr"), [], "steps[0].aftr"),
        (("levels", 0, "parent"), "drive", "levels[0].parent"),
        (("levels", 0, "parent"), "lid", "levels[0].parent"),
        (("levels", 0, "parent"), "roof", "levels[0].parent"),
        (("levels", 0, "open"), -1, "levels[0].open"),
        (("levels", 1, "close"), math.nan, "levels[1].close"),
        (("levels", 1, "test_possible"), "yes", "levels[1].test_possible"),
        (("levels", 1, "id"), "lid", "levels[1]"),
        (("test_cost",), -1, "test_cost"),
        (("test_cost",), None, "test_cost"),
        (("give_up_cost",), -5, "give_up_cost"),
        (("give_up_cost",), math.nan, "give_up_cost"),
        (("close_at_end",), 1, "close_at_end"),
        (("close_at_edn",), True, "problem.close_at_edn"),
    ],
)
def test_bad_input_is_refused_naming_the_place(path, value, where):
    with pytest.raises(PlanningProblemError) as refused:
        PlanningProblem.from_mapping(changed(path, value))

    assert refused.value.where == where
    assert str(refused.value).startswith(f"{where}: found ")


def test_unknown_id_gets_a_suggestion():
    with pytest.raises(PlanningProblemError, match=r"did you mean 'clean'\?"):
        PlanningProblem.from_mapping(changed(("steps", 1, "after"), ["clena"]))


@pytest.mark.parametrize("value", [None, [], "text", 3])
def test_a_problem_that_is_no_mapping_is_refused(value):
    with pytest.raises(PlanningProblemError, match="problem"):
        PlanningProblem.from_mapping(value)


@pytest.mark.parametrize("key", ["hypotheses", "steps"])
def test_hypotheses_and_steps_are_needed(key):
    with pytest.raises(PlanningProblemError) as refused:
        PlanningProblem.from_mapping({name: value for name, value in GOOD.items() if name != key})

    assert refused.value.where == key


def test_optional_keys_have_plain_defaults():
    short = PlanningProblem.from_mapping({"hypotheses": [], "steps": [{"id": "x", "cost": 1}]})

    assert (short.levels, short.test_cost, short.give_up_cost, short.close_at_end) == ((), 0.0, None, True)
    assert (short.steps[0].level, short.steps[0].fixes, short.steps[0].after) == (None, {}, ())


def test_keys_that_mean_nothing_here_are_passed_over():
    assert PlanningProblem.from_mapping({**GOOD, "note": "console"}) == PlanningProblem.from_mapping(GOOD)


def test_nothing_to_do_costs_nothing_when_giving_up_is_not_an_option():
    found = plan(PlanningProblem.from_mapping({"hypotheses": [], "steps": []}))

    assert found.to_mapping() == {
        "groups": [],
        "expected_cost": 0.0,
        "outcomes": [{"probability": 1.0, "cost": 0.0, "repaired": False}],
    }


def test_without_giving_up_every_step_is_tried_on_what_stays_broken():
    # .5 cannot be repaired: x (fixes a .5) 1, then useless y 4 for the .5: 1 + .5*4 = 3; test free.
    mapping = {
        "hypotheses": [{"faults": ["a"], "probability": 0.5}],
        "steps": [{"id": "y", "cost": 4}, {"id": "x", "cost": 1, "fixes": {"a": 1.0}}],
        "give_up_cost": None,
    }

    found = plan(PlanningProblem.from_mapping(mapping))

    assert (found.groups, found.expected_cost) == ((("x",), ("y",)), 3.0)


def test_with_giving_up_useless_steps_are_left_out_unless_a_useful_one_follows_them():
    mapping = {
        "hypotheses": [{"faults": ["a"], "probability": 1.0}],
        "steps": [
            {"id": "useless", "cost": 1},
            {"id": "before", "cost": 1},
            {"id": "cure", "cost": 1, "fixes": {"a": 1.0}, "after": ["before"]},
        ],
        "give_up_cost": 100,
    }

    assert plan(PlanningProblem.from_mapping(mapping)).groups == (("before", "cure"),)


def test_closing_at_the_end_may_be_free():
    mapping = changed(("close_at_end",), False)
    mapping["steps"] = [{"id": "x", "cost": 2, "level": "lid", "fixes": {"a": 1.0}}]
    mapping["hypotheses"] = [{"faults": ["a"], "probability": 1.0}]

    # open 1 + 2 + test 1 = 4; with closing 5.
    assert plan(PlanningProblem.from_mapping(mapping)).expected_cost == 4.0
    assert plan(PlanningProblem.from_mapping({**mapping, "close_at_end": True})).expected_cost == 5.0


def test_levels_open_at_the_start_need_no_opening():
    mapping = changed(("open_levels",), ["lid"])
    mapping["steps"] = [{"id": "x", "cost": 2, "level": "lid", "fixes": {"a": 1.0}}]
    mapping["hypotheses"] = [{"faults": ["a"], "probability": 1.0}]

    # 2 + test 1 + close 1 = 4.
    assert plan(PlanningProblem.from_mapping(mapping)).expected_cost == 4.0


def test_a_level_open_at_the_start_that_must_be_shut_for_a_test_is_shut_once():
    mapping = changed(("open_levels",), ["drive"])
    mapping["steps"] = [{"id": "x", "cost": 2, "level": None, "fixes": {"a": 1.0}}]
    mapping["hypotheses"] = [{"faults": ["a"], "probability": 1.0}]

    # 2 + shut the drive 2 + test 1, then close the lid 1 = 6; giving up at once: 2 + 1 + 30.
    assert plan(PlanningProblem.from_mapping(mapping)).expected_cost == 6.0


def test_steps_apart_are_never_in_one_group():
    mapping = {
        "hypotheses": [{"faults": ["a"], "probability": 1.0}],
        "steps": [
            {"id": "one", "cost": 1, "fixes": {"a": 0.5}, "apart": "board"},
            {"id": "two", "cost": 1, "fixes": {"a": 0.99}, "apart": "board"},
        ],
        "test_cost": 50,
        "give_up_cost": 1000,
    }

    assert plan(PlanningProblem.from_mapping(mapping)).groups == (("two",), ("one",))


@pytest.mark.parametrize(
    ("groups", "where"),
    [
        ([["swap"]], "groups[0]"),
        ([["clean"], ["clean"]], "groups[1]"),
        ([["nobody"]], "groups[0]"),
        ([["clean"], []], "groups[1]"),
    ],
)
def test_a_plan_that_cannot_be_carried_out_is_not_costed(groups, where):
    with pytest.raises(PlanningProblemError) as refused:
        expected_cost(PlanningProblem.from_mapping(GOOD), groups)

    assert refused.value.where == where


def test_command_line_prints_one_result(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    file = tmp_path / "one.json"
    file.write_text(json.dumps(GOOD))

    status = main([str(file)])

    assert status == 0
    assert json.loads(capsys.readouterr().out) == plan(PlanningProblem.from_mapping(GOOD)).to_mapping()


def test_command_line_prints_a_list_for_a_list(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    file = tmp_path / "two.json"
    file.write_text(json.dumps([GOOD, GOOD]))

    assert main([str(file)]) == 0
    assert len(json.loads(capsys.readouterr().out)) == 2


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("{", "cannot be read as JSON"),
        (json.dumps([GOOD, changed(("steps", 0, "cost"), -1)]), "[1].steps[0].cost: found -1.0"),
        ("NaN", "problem: found nan"),
    ],
)
def test_command_line_says_what_is_wrong_and_where(tmp_path: Path, capsys, content, said):
    file = tmp_path / "bad.json"
    file.write_text(content)

    status = main([str(file)])

    output = capsys.readouterr()
    assert (status, output.out) == (2, "")
    assert said in output.err


def test_module_runs_as_a_program(tmp_path: Path, root: Path):
    file = tmp_path / "one.json"
    file.write_text(json.dumps(GOOD))

    done = subprocess.run(
        [sys.executable, "-m", "intakebot.triage", str(file)],
        capture_output=True,
        text=True,
        cwd=root,
        check=True,
    )

    assert set(json.loads(done.stdout)) == {"groups", "expected_cost", "outcomes"}
