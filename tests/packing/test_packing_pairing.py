"""The pairing gate: go, doubt, hold, cannot, and the number of board trials.

Source of the pairing facts: owners' reports (common practice, no source); trials: position of one original among k.
"""

from __future__ import annotations

import itertools
from statistics import mean
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intakebot.definitions.facts import Answer, Comparison
from intakebot.definitions.model import Family, PairedPart
from intakebot.packing.pairing import Gate, board_trials, pairing_gate


@pytest.mark.parametrize(
    ("place", "decision", "doubt"),
    [
        ("inside", "go", 0.0),
        ("loose", "go", 0.0),
        ("thinks", "doubt", 0.15),
        ("away", "hold", 1.0),
        ("lost", "cannot", 1.0),
    ],
)
def test_where_the_original_is_decides(
    build: SimpleNamespace, family: Family, place: str, decision: str, doubt: float
) -> None:
    gate = pairing_gate(family, build.answers(device_kind="console", board_place=place))

    assert (gate.decision, round(gate.doubt, 9)) == (decision, doubt)


def test_a_device_without_paired_parts_goes(build: SimpleNamespace, family: Family) -> None:
    assert pairing_gate(family, build.answers(device_kind="player", board_place="lost")) == Gate(
        "go", 0.0, ()
    )


@pytest.mark.parametrize("place", [None, "not asked"])
def test_not_known_and_not_asked_are_doubt_not_go(
    build: SimpleNamespace, family: Family, place: str | None
) -> None:
    answers = build.answers(device_kind="console")
    if place is None:
        answers |= build.answers(board_place=None)

    gate = pairing_gate(family, answers)

    assert (gate.decision, round(gate.doubt, 9)) == ("doubt", 0.15)
    assert gate.unanswered == (() if place is None else ("board",))


def test_an_unknown_device_is_treated_as_if_it_had_the_part(build: SimpleNamespace, family: Family) -> None:
    assert pairing_gate(family, build.answers(board_place="away")).hold_parts == ("board",)


def test_a_go_that_was_only_heard_becomes_doubt(build: SimpleNamespace, family: Family) -> None:
    answers = build.answers(device_kind="console") | {"board_place": Answer("inside", "heard", 0.9)}

    gate = pairing_gate(family, answers)

    assert (gate.decision, round(gate.doubt, 9)) == ("doubt", 0.1)


def test_doubt_and_uncertain_hearing_add_up(build: SimpleNamespace, family: Family) -> None:
    answers = build.answers(device_kind="console") | {"board_place": Answer("thinks", "heard", 0.8)}

    # 1 - (1 - .15) * (1 - .2) = 1 - .68 = .32
    assert round(pairing_gate(family, answers).doubt, 9) == 0.32


# k look-alikes, one original, each order equally likely: worst k, mean (1 + ... + k) / k
@pytest.mark.parametrize(("candidates", "expected"), [(1, 1.0), (2, 1.5), (3, 2.0), (4, 2.5), (7, 4.0)])
def test_trials_by_counting_every_order(candidates: int, expected: float) -> None:
    positions = [order.index(0) + 1 for order in itertools.permutations(range(candidates))]

    assert (mean(positions), max(positions)) == (expected, candidates)
    assert board_trials(candidates) == (expected, candidates)


def test_three_loose_boards_mean_two_trials_on_average_and_three_at_worst(
    build: SimpleNamespace, family: Family
) -> None:
    gate = pairing_gate(family, build.answers(device_kind="console", board_place="loose", boards=3))

    assert (gate.decision, gate.expected_trials, gate.worst_trials) == ("go", 2.0, 3)


def test_one_sure_board_needs_no_trial(build: SimpleNamespace, family: Family) -> None:
    gate = pairing_gate(family, build.answers(device_kind="console", board_place="inside", boards=1))

    assert (gate.expected_trials, gate.worst_trials) == (0, 0)


def test_a_doubtful_board_is_one_trial_that_may_be_in_vain(build: SimpleNamespace, family: Family) -> None:
    gate = pairing_gate(family, build.answers(device_kind="console", board_place="thinks", boards=4))

    # one is the original (85 %): 2.5 on average; none is (15 %): all 4. .85 * 2.5 + .15 * 4 = 2.725
    assert (gate.expected_trials, gate.worst_trials) == (2.5, 4)
    assert round(gate.parts[0].expected_trials_with_doubt, 9) == 2.725


@pytest.mark.parametrize("place", ["away", "lost"])
def test_nothing_is_tried_when_the_original_is_not_at_hand(
    build: SimpleNamespace, family: Family, place: str
) -> None:
    gate = pairing_gate(family, build.answers(device_kind="console", board_place=place, boards=3))

    assert (gate.expected_trials, gate.worst_trials) == (0, 0)


@pytest.mark.parametrize("absurd", [-3, 51, 10**9])
def test_absurd_numbers_of_boards_count_as_not_known(
    build: SimpleNamespace, family: Family, absurd: int
) -> None:
    gate = pairing_gate(family, build.answers(device_kind="console", board_place="loose", boards=absurd))

    assert gate.worst_trials == 0


def test_the_strictest_part_decides(build: SimpleNamespace) -> None:
    def part(name: str) -> PairedPart:
        return PairedPart(
            name, f"{name}_place", {"here": "go", "away": "hold", "lost": "cannot"}, 0.2, "f", "learned"
        )

    device = build.device("console", paired=("one", "two"))
    family = build.family(
        devices={"console": device}, paired_parts={name: part(name) for name in ("one", "two")}
    )

    def decide(one: str, two: str) -> str:
        return pairing_gate(
            family, build.answers(device_kind="console", one_place=one, two_place=two)
        ).decision

    assert [decide("here", "here"), decide("here", "away"), decide("lost", "away")] == [
        "go",
        "hold",
        "cannot",
    ]


def test_a_part_that_does_not_apply_is_not_asked_for(build: SimpleNamespace, family: Family) -> None:
    board = family.paired_parts["board"]
    only_with_remote = PairedPart(
        board.id, board.place_fact, board.places, board.doubt, board.fault, board.source, board.candidates_fact,
        Comparison("has_remote", "=", "yes"),
    )  # fmt: skip
    family = build.family(paired_parts={"board": only_with_remote})

    assert (
        pairing_gate(family, build.answers(device_kind="console", has_remote="no", board_place="lost")).parts
        == ()
    )


@given(st.integers(1, 50))
def test_the_average_lies_between_one_and_the_worst(candidates: int) -> None:
    expected, worst = board_trials(candidates)

    assert 1 <= expected <= worst == candidates


def test_no_candidate_is_refused() -> None:
    with pytest.raises(ValueError, match="expected at least 1"):
        board_trials(0)
