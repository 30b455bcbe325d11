"""Typos on the words that matter are repaired; ordinary words are left alone."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest


@pytest.mark.parametrize(
    ("text", "fact", "value"),
    [
        ("teh disc is stcuk", "disc_stuck", "yes"), ("wont ejcet", "wont_eject", "yes"), ("it wont reconise discs", "disc_not_read", "yes"), ("cleaned the lense", "lens_cleaned", "owner"),
        ("there was smoek", "smoke_or_smell", "yes"), ("burnign smell", "smoke_or_smell", "yes"), ("grinidng noise", "noise", "grinding"), ("dosnt turn on", "no_power", "yes"),
        ("it skipps", "skips", "yes"), ("the drawr wont open", "wont_eject", "yes"), ("doesnt reed discs", "disc_not_read", None), ("it freezs mid film", "skips", "yes"),
        ("i droped it", "dropped", "yes"), ("spiled coffee in it", "liquid_inside", "yes"), ("intermitent reading of discs", "intermittent_read", "yes"), ("no pwoer", "no_power", "yes"),
        ("bluray dont play, dvds do", "bluray_result", "fails"), ("discdrive not recognised by laptop", "drive_not_detected", "yes"), ("repalced the laser", "pickup_replaced", "owner"),
        ("the battary is swollen", "battery_swollen", "yes"),
    ],
)  # "reed" is a word of its own: not repaired  # fmt: skip
def test_a_typo_is_read_as_the_word_meant(
    values: Callable[..., dict[str, Any]], text: str, fact: str, value: str | None
) -> None:
    assert values(text).get(fact) == value


@pytest.mark.parametrize(
    "text", ["the crack in the case", "my clock radio", "greetings from a reader", "I like reading books"]
)
def test_ordinary_words_are_not_bent_towards_the_domain(hear: Callable[..., Any], text: str) -> None:
    assert hear(text).repaired == {}


def test_a_repair_is_reported(hear: Callable[..., Any]) -> None:
    assert hear("the disc is stcuk").repaired == {"stcuk": "stuck"}
