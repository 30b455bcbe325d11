"""Misreadings that were found and mended: each pair says what is read now, and what is not read beside it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from intakebot.understanding import Expecting

Values = Callable[..., dict[str, Any]]


@pytest.mark.parametrize(
    ("text", "locale", "said", "not_said"),
    [
        pytest.param("My Blu-ray player won't play CDs", "en", {"cd_result": "fails"}, "disc_not_read", id="one-class-of-several"),
        pytest.param("the noise comes as soon as I switch it on", "en", {"noise_at_power_on": "yes"}, "when_fails", id="noise-is-no-failure"),
        pytest.param("I cleaned the lens. It slowly got worse", "en", {"slow_decline": "yes"}, "attempt_outcome", id="decline-is-no-outcome"),
        pytest.param("It won't eject, and there is a disc in it", "en", {"disc_stuck": "yes"}, "disc_not_read", id="a-disc-is-in-it"),
        pytest.param("There is a disc in it", "en", {}, "disc_stuck", id="a-disc-in-a-device-that-opens"),
        pytest.param("It's the tray that won't open", "en", {"wont_eject": "yes"}, "asks_open_mains", id="it-is-the-asks-nothing"),
        pytest.param("It won't pull the disc in", "en", {"disc_not_accepted": "yes"}, "skips", id="wont-pull-in"),
        pytest.param("Nobody has been inside, I can promise that", "en", {"opened": "nobody"}, "soldered", id="a-promise"),
        pytest.param("mein Blu-ray-Player spielt keine CDs", "de", {"cd_result": "fails"}, "disc_not_read", id="de-one-class-of-several"),
        pytest.param("nur gebrannte gehen nicht", "de", {"burned_discs_only": "yes"}, "smoke_or_smell", id="de-burned-discs"),
        pytest.param("mit CDs geht gar nichts", "de", {"cd_result": "fails"}, "dvd_result", id="de-goes-nothing"),
    ],
)  # fmt: skip
def test_what_is_meant_is_read_and_nothing_beside_it(
    values: Values, text: str, locale: str, said: dict[str, str], not_said: str
) -> None:
    got = values(text, locale=locale)

    assert {fact: got.get(fact) for fact in said} == said
    assert not_said not in got


@pytest.mark.parametrize(
    ("text", "locale", "results"),
    [
        pytest.param("games: no", "en", {"game_result": "fails"}, id="colon"),
        pytest.param("CDs? yes", "en", {"cd_result": "plays"}, id="question-mark"),
        pytest.param("DVDs - fine", "en", {"dvd_result": "plays"}, id="dash"),
        pytest.param("Blu-ray: no, DVD: yes, CD: untested", "en",
                     {"bluray_result": "fails", "dvd_result": "plays", "cd_result": "not_tried"}, id="a-list"),
        pytest.param("Spiele: nein. CDs? ja", "de", {"game_result": "fails", "cd_result": "plays"}, id="german"),
    ],
)  # fmt: skip
def test_a_sign_between_a_class_and_its_result_stands_for_are(
    values: Values, text: str, locale: str, results: dict[str, str]
) -> None:
    assert values(text, locale=locale) == results


@pytest.mark.parametrize(
    "text", ["My discs: no idea where they are", "Is it the DVDs? I cleaned the lens - twice"]
)
def test_a_sign_before_anything_else_ends_the_sentence(values: Values, text: str) -> None:
    assert not {fact for fact in values(text) if fact.endswith("_result")}


@pytest.mark.parametrize(
    "text", ['it says "no disc"', "it says 'no disc'", "it says “no disc”", "it says «no disc»"]
)
def test_words_in_quotation_marks_are_read(values: Values, text: str) -> None:
    got = values(text)

    assert (got.get("error_message"), got.get("disc_not_read")) == ("yes", "yes")


@pytest.mark.parametrize(("text", "locale"), [("one moment please", "en"), ("einen Moment bitte", "de")])
def test_a_moment_is_no_count(values: Values, text: str, locale: str) -> None:
    assert "age_years" not in values(text, Expecting("age_years"), locale)
    assert "board_candidates" not in values(text, Expecting("board_candidates"), locale)


@pytest.mark.parametrize(
    ("text", "locale", "cause"),
    [
        pytest.param("It was dropped on the stairs. Since then it reads nothing", "en", "drop", id="drop"),
        pytest.param("Er ist vom Regal gefallen. Seitdem liest er nichts mehr", "de", "drop", id="de-drop"),
        pytest.param("It was fine until we moved to the new house", "en", "move", id="fine-until"),
    ],
)
def test_since_then_names_what_was_said_before_as_the_cause(
    values: Values, text: str, locale: str, cause: str
) -> None:
    assert values(text, locale=locale).get("started_after") == cause
