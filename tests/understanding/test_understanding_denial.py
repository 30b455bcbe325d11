"""Denials: what is said not to be. Scope rules after NegEx (Chapman et al. 2001); sentences are our own."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest


@pytest.mark.parametrize(
    ("text", "fact", "value"),
    [
        pytest.param("no smoke", "smoke_or_smell", "no", id="no"),
        pytest.param("no smoke or burning smell", "smoke_or_smell", "no", id="no-or"),
        pytest.param("there was never any smoke", "smoke_or_smell", "no", id="never-any"),
        pytest.param("without any smell", "smoke_or_smell", "no", id="without"),
        pytest.param("it isn't smoking", "smoke_or_smell", "no", id="isnt"),
        pytest.param("Any burning smell? No.", "smoke_or_smell", "no", id="question-no"),
        pytest.param("smoke: no", "smoke_or_smell", "no", id="colon-no"),
        pytest.param("hasn't been dropped", "dropped", "no", id="hasnt-been"),
        pytest.param("not dropped, opened or wet", "dropped", "no", id="list-first"),
        pytest.param("not dropped, not wet", "liquid_inside", "no", id="repeated-not"),
        pytest.param("the disc is not stuck", "disc_stuck", "no", id="inside-the-phrase"),
        pytest.param("the battery isn't swollen", "battery_swollen", "no", id="inside-battery"),
        pytest.param("it has never got wet", "liquid_inside", "no", id="never-wet"),
        pytest.param("nothing was spilled on it", "liquid_inside", "no", id="nothing"),
        pytest.param("no error message", "error_message", "no", id="no-error"),
        pytest.param("I haven't opened it", "opened", "nobody", id="havent-opened"),
        pytest.param("nobody has soldered anything", "soldered", "nobody", id="nobody-soldered"),
    ],
)
def test_a_denied_fact_is_heard_as_no(
    values: Callable[..., dict[str, Any]], text: str, fact: str, value: str
) -> None:
    assert values(text).get(fact) == value


@pytest.mark.parametrize(
    ("text", "fact", "value"),
    [
        pytest.param("no power", "no_power", "yes", id="no-power-is-a-symptom"),
        pytest.param("no picture but there is a grinding noise", "noise", "grinding", id="but-ends-it"),
        pytest.param("it doesn't grind, just clicks", "noise", "clicking", id="just-ends-it"),
        pytest.param("it won't stop spinning", "spins", "yes", id="wont-stop"),
        pytest.param("not only does it skip, it smells burnt", "smoke_or_smell", "yes", id="not-only"),
        pytest.param("can't get the stuck disc out", "disc_stuck", "yes", id="cannot-get-out"),
        pytest.param(
            "it doesn't turn on since I spilled tea on it", "liquid_inside", "yes", id="since-ends-it"
        ),
        pytest.param("no sound because I dropped it", "dropped", "yes", id="because-ends-it"),
    ],
)
def test_a_denial_ends_where_it_should(
    values: Callable[..., dict[str, Any]], text: str, fact: str, value: str
) -> None:
    assert values(text).get(fact) == value


def test_a_denied_choice_is_ruled_out_and_nothing_is_put_in_its_place(hear: Callable[..., Any]) -> None:
    heard = hear("it doesn't grind")

    assert heard.fact("noise") is None
    assert [(fact.fact, fact.value) for fact in heard.ruled_out] == [("noise", "grinding")]


def test_silence_is_never_a_no(values: Callable[..., dict[str, Any]]) -> None:
    assert "no" not in values("hello, can you help me with my player please").values()


HAZARDS = [
    "there was smoke coming out of the back", "it smells like burning", "a burny smell", "smell of burnt plastic", "an electrical smell",
    "it stinks of burning when it's on", "sparks flew out of the plug", "it went pop and died", "the case is melted at the back", "i could smell burning rubber",
    "funny smell when its on", "loud bang then dead", "spilt wine on it", "my cat knocked a glass of water over it", "coffee went inside", "it got rained on",
    "the kids poured juice into the slot", "dropped it in the bath", "the dog peed on it", "batteries leaked inside", "the battery has swollen up",
    "battery is bulging", "the battery is bloated and pushing the case apart", "pack looks a bit puffed up", "it gave me an electric shock", "got zapped by it",
    "i felt a tingle touching the casing", "gives you a shock when you touch it", "there waz smok", "its smokin", "SMOKE!!!", "burning smel", "spiled tea on it",
]  # fmt: skip


@pytest.mark.parametrize("text", HAZARDS)
def test_a_hazard_is_never_missed(hear: Callable[..., Any], family: Any, text: str) -> None:
    hazards = {fact.id for fact in family.facts.values() if fact.role == "hazard"}

    heard = hear(text)
    noticed = [
        fact for fact in (*heard.facts, *heard.proposals) if fact.fact in hazards and fact.value == "yes"
    ]
    assert noticed, "neither taken at its word nor asked about"


NO_HAZARDS = [
    "no smoke, no smell, no sparks", "never smelled of burning", "didn't smell anything", "haven't noticed any smell", "it's from a smoke free home", "we smoke at home",
    "none of us smoke", "my dad is a smoker", "no shocks or tingles", "hasn't been near water", "burned discs don't work", "can't read burnt CDs", "i was shocked at the price",
    "it hasn't had any drinks spilt on it", "never been wet", "I have not spilled anything in it", "if it starts to smoke what do I do",
]  # fmt: skip


@pytest.mark.parametrize("text", NO_HAZARDS)
def test_no_hazard_is_made_up(hear: Callable[..., Any], family: Any, text: str) -> None:
    hazards = {fact.id for fact in family.facts.values() if fact.role == "hazard"}

    assert not any(fact.fact in hazards and fact.value == "yes" for fact in hear(text).facts)
