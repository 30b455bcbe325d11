"""Words of hazards and accidents that mean something else, and wordings that need another fact. Sentences are our own."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

Values = Callable[..., dict[str, Any]]


@pytest.mark.parametrize(
    ("text", "fact"),
    [
        pytest.param("got a shock when I saw the price", "electric_shock", id="shock-at-a-price"),
        pytest.param("I was shocked at the quote", "electric_shock", id="shocked"),
        pytest.param("the deck has shock protection", "electric_shock", id="shock-protection"),
        pytest.param("I was watching a movie called Smoke", "smoke_or_smell", id="a-title"),
        pytest.param("we smoke at home", "smoke_or_smell", id="smokers"),
        pytest.param("what if it starts smoking", "smoke_or_smell", id="supposed"),
        pytest.param("could it catch fire?", "smoke_or_smell", id="asked"),
        pytest.param("I burned some CDs", "smoke_or_smell", id="burned-discs"),
        pytest.param("my other player smells burnt", "smoke_or_smell", id="another-device"),
        pytest.param("I dropped it off at the shop", "dropped", id="dropped-off"),
        pytest.param("can I drop it round", "dropped", id="drop-round"),
        pytest.param("I threw the board in the bin", "dropped", id="thrown-away"),
        pytest.param("the knob fell off", "dropped", id="a-part-fell"),
        pytest.param("I fell asleep watching a film", "dropped", id="fell-asleep"),
        pytest.param("it sounds like a coffee grinder", "liquid_inside", id="coffee-grinder"),
        pytest.param("I bought a second hand drive for it", "bought_used", id="a-used-part"),
        pytest.param("it makes no difference to me", "attempt_outcome", id="no-difference-to-me"),
        pytest.param("the tray was open", "opened", id="an-open-tray"),
    ],
)
def test_a_figure_of_speech_states_nothing(values: Values, text: str, fact: str) -> None:
    assert fact not in values(text)


@pytest.mark.parametrize(
    ("text", "fact", "value"),
    [
        pytest.param("I got a shock off the case", "electric_shock", "yes", id="shock"),
        pytest.param(
            "is it normal that smoke comes out of it", "smoke_or_smell", "yes", id="asked-but-there"
        ),
        pytest.param("it smells of burning plastic", "smoke_or_smell", "yes", id="smell"),
        pytest.param("Kid dropped it in the bath", "liquid_inside", "yes", id="bath"),
        pytest.param(
            "It was dry, but then coffee went all over it", "liquid_inside", "yes", id="wet-beats-dry"
        ),
        pytest.param("the dog knocked it off the table", "dropped", "yes", id="knocked"),
        pytest.param("If I put in a music CD it plays", "cd_result", "plays", id="if-that-is-a-fact"),
    ],
)
def test_what_is_meant_is_still_heard(values: Values, text: str, fact: str, value: str) -> None:
    assert values(text).get(fact) == value


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        pytest.param(
            "A disc is stuck. It is a borrowed DVD, I want it back",
            {"stuck_disc_class": "dvd", "stuck_disc_owner": "borrowed", "stuck_disc_wanted": "yes"},
            id="stuck-disc",
        ),
        pytest.param(
            "you don't need to send the disc that is stuck back", {"disc_stuck": "yes"}, id="that-is"
        ),
        pytest.param("I cleaned the lens, no difference", {"attempt_outcome": "no_change"}, id="attempt"),
        pytest.param("I cleaned the lens, ever since it skips", {"started_after": "opening"}, id="comma"),
    ],
)
def test_a_wording_counts_beside_the_fact_it_needs(values: Values, text: str, wanted: dict[str, str]) -> None:
    got = values(text)

    assert {fact: got.get(fact, "(nothing)") for fact in wanted} == wanted


@pytest.mark.parametrize(
    ("text", "fact"),
    [
        pytest.param("It is a borrowed DVD, I want it back", "stuck_disc_class", id="class"),
        pytest.param("I want it back", "stuck_disc_wanted", id="wanted"),
        pytest.param("still the same", "attempt_outcome", id="outcome"),
    ],
)
def test_the_same_wording_alone_states_nothing(values: Values, text: str, fact: str) -> None:
    assert fact not in values(text)


def test_a_known_fact_is_enough(values: Values) -> None:
    assert values("I want it back", known={"disc_stuck": "yes"})["stuck_disc_wanted"] == "yes"


def test_a_doubted_place_is_the_place_it_is_thought_to_be(values: Values) -> None:
    assert values("the original board is still inside")["original_board_place"] == "in_device"
    assert values("I think the original board is still inside")["original_board_place"] == "thinks_in_device"
