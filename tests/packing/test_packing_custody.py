"""Hand-overs: append-only, in order, each with who and when; what came in goes out again."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intakebot.definitions.model import Family
from intakebot.errors import BadInputError, ConflictError
from intakebot.packing.custody import (
    CustodyLog,
    Differences,
    HandOver,
    StuckDisc,
    arrival_differences,
    hand_over,
    holder,
    open_items,
    stuck_disc,
)

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)


def entry(item: str, to: str, hours: int) -> HandOver:
    return HandOver(item, to, "sam", NOON + timedelta(hours=hours))  # type: ignore[arg-type]


def test_the_disc_is_followed_from_the_customer_and_back() -> None:
    log: CustodyLog = ()
    for step in (entry("disc", "carrier", 0), entry("disc", "shop", 48), entry("board", "shop", 48)):
        log = hand_over(log, step)
    held = open_items(log)

    log = hand_over(log, entry("disc", "carrier", 90))

    assert (held, open_items(log), holder(log, "disc")) == (("disc", "board"), ("board",), "carrier")


def test_what_was_never_noted_is_with_nobody() -> None:
    assert holder((), "disc") is None


@pytest.mark.parametrize(
    ("bad", "reason"),
    [
        pytest.param(entry("disc", "shop", -1), "before the last entry", id="earlier"),
        pytest.param(entry("disc", "carrier", 1), "with the carrier already", id="same-holder"),
    ],
)
def test_a_hand_over_that_cannot_be_is_a_conflict(bad: HandOver, reason: str) -> None:
    log = hand_over((), entry("disc", "carrier", 0))

    with pytest.raises(ConflictError, match=reason):
        hand_over(log, bad)


@pytest.mark.parametrize(
    ("bad", "where"),
    [
        pytest.param(HandOver("disc", "shop", " ", NOON), "actor", id="nobody"),
        pytest.param(HandOver("", "shop", "sam", NOON), "item", id="nothing"),
        pytest.param(HandOver("disc", "shop", "sam", datetime(2026, 11, 25, 12)), "at", id="no-zone"),
    ],
)
def test_a_hand_over_names_who_what_and_when(bad: HandOver, where: str) -> None:
    with pytest.raises(BadInputError, match=where):
        hand_over((), bad)


def test_differences_count_each_item() -> None:
    differences = arrival_differences(["lead", "board", "board"], ["board", "lead", "remote"])

    assert differences == Differences(missing=("board",), extra=("remote",))
    assert differences.any


@given(st.lists(st.sampled_from("abc")), st.lists(st.sampled_from("abc")))
def test_expected_less_missing_is_found_less_extra(expected: list[str], found: list[str]) -> None:
    differences = arrival_differences(expected, found)

    assert sorted([*found, *differences.missing]) == sorted([*expected, *differences.extra])
    assert not set(differences.missing) & set(differences.extra)


def test_the_stuck_disc_is_read_by_role(build: SimpleNamespace, family: Family) -> None:
    answers = build.answers(stuck="yes", stuck_class="dvd", stuck_title="Harbour Lights", stuck_wanted="no")

    assert stuck_disc(family, answers) == StuckDisc("dvd", "Harbour Lights", False)
    assert stuck_disc(family, build.answers(stuck="yes")) == StuckDisc(None, None, None)
    assert stuck_disc(family, build.answers(stuck="no", stuck_class="dvd")) is None
