"""Readings of phrases are stated when they are likely right; the doubtful ones are proposals."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from intakebot.definitions.model import Family
from intakebot.understanding import Expecting, HeardFact, understand, warm
from intakebot.understanding.doubt import CLUES, Calibration, calibrations, make_doubter
from tests.understanding.test_understanding_frozen_messages import in_odd_half, read_messages

HERE = Path(__file__).parent


def test_the_chance_follows_from_the_clues_by_the_logistic_function() -> None:
    calibration = Calibration(1.0, {"model": 0.5, "late": -1.0}, 0.75, frozenset(), frozenset())

    # 1 + 0.5 * 2 - 1 * 1 = 1; 1 / (1 + exp(-1)) = 0.731
    assert calibration.chance({"model": 2.0, "late": 1.0}) == pytest.approx(0.7311, abs=1e-4)


def test_the_shipped_weights_are_those_of_the_clues() -> None:
    shipped = calibrations()

    assert {locale: set(each.weights) for locale, each in shipped.items()} == {"en": set(CLUES)}
    assert all(0.5 <= each.stated < 1 for each in shipped.values())


@pytest.mark.parametrize(
    ("text", "fact"),
    [
        pytest.param("it grinds", "noise", id="all-of-a-short-sentence"),
        pytest.param("my brother opened it", "opened", id="all-but-the-person"),
        pytest.param("I think it skips", "skips", id="all-but-the-doubt"),
        pytest.param("my console won't read any discs", "disc_not_read", id="any-disc"),
        pytest.param("DVDs are fine but games won't load on my console", "game_result", id="one-class"),
    ],
)
def test_a_plain_sentence_is_stated(hear: Callable[..., Any], text: str, fact: str) -> None:
    assert hear(text).fact(fact) is not None


@pytest.mark.parametrize(
    ("text", "fact"),
    [
        pytest.param(
            "So I watched nine videos and every one of them says something else, one says grease and one says bin it",
            "stuck_disc_wanted",
            id="somebody-elses-words",
        ),
        pytest.param("Our console won't play the newest two releases", "disc_not_read", id="not-any-disc"),
        pytest.param(
            "the DVD drawer won't close now, the film we had in it just played the rest of the evening and then quit",
            "disc_not_read",
            id="goes-on",
        ),
    ],
)
def test_a_phrase_in_a_sentence_about_something_else_states_nothing(
    hear: Callable[..., Any], text: str, fact: str
) -> None:
    assert hear(text).fact(fact) is None


def proposal(heard: Any, fact: str) -> HeardFact | None:
    return next((guess for guess in heard.proposals if guess.fact == fact), None)


def leaning(family: Family, bias: float) -> Any:
    """The reader, doubting every reading of a phrase (bias far below 0) or none."""
    reader = warm(family, "en")
    leant = replace(reader)
    calibration = replace(reader.doubter.calibration, bias=bias)
    leant.__dict__["doubter"] = replace(reader.doubter, calibration=calibration)
    return leant


def test_a_doubted_reading_is_proposed_with_its_words_before_any_guess(family: Family) -> None:
    text = "the previous owner opened the box of discs"

    heard = leaning(family, -9.0).read(text)

    doubted = [guess for guess in heard.proposals if guess.source == "phrase"]
    assert heard.proposals[: len(doubted)] == tuple(doubted)
    assert doubted == sorted(doubted, key=lambda guess: -guess.certainty)
    assert {guess.fact for guess in doubted} >= {"opened"}
    assert all(text[slice(*guess.span)] == guess.quote for guess in doubted)
    assert not {guess.fact for guess in doubted} & {fact.fact for fact in heard.facts}


def test_a_stated_reading_is_no_surer_than_its_chance(family: Family, hear: Callable[..., Any]) -> None:
    text = "a repair shop in town replaced the laser in the spring, that much I know"

    stated = {fact.fact: fact.certainty for fact in hear(text).facts}
    plain = {fact.fact: fact.certainty for fact in understand(text, family, "en", proposals=False).facts}

    assert all(stated[fact] <= plain[fact] for fact in stated)


@pytest.mark.parametrize(
    "text",
    [
        "there was some smoke coming from the back of it when the two of us were carrying the old thing down the stairs",
        "no idea about the rest of it but the other week some coffee went into the player my wife says",
    ],
)
def test_a_hazard_is_asked_or_taken_at_its_word_but_never_dropped(family: Family, text: str) -> None:
    for bias in (-9.0, 9.0):
        heard = leaning(family, bias).read(text)

        noticed = heard.facts if bias > 0 else heard.proposals
        assert {fact.fact for fact in noticed} & {"smoke_or_smell", "liquid_inside"}


def test_what_only_sounds_like_a_hazard_does_not_end_the_talk(hear: Callable[..., Any]) -> None:
    heard = hear("I nearly had smoke coming out of my ears when the shop charged me")

    assert heard.fact("smoke_or_smell") is None
    assert ("smoke_or_smell", "yes") in {(guess.fact, guess.value) for guess in heard.proposals}


def test_an_answer_to_the_pending_question_is_never_doubted(family: Family) -> None:
    text = "the previous owner opened the box of discs"
    reader = leaning(family, -9.0)
    assert proposal(reader.read(text), "opened") is not None

    asked = reader.read(text, Expecting(fact="opened"))

    assert asked.fact("opened").value == "someone"
    assert proposal(asked, "opened") is None


def test_without_the_light_model_or_enough_sentences_nothing_is_doubted(family: Family) -> None:
    lexicon = warm(family, "en").lexicon
    proposer = warm(family, "en").proposer

    assert make_doubter(lexicon, None) is None
    assert make_doubter(replace(lexicon, sentences=lexicon.sentences[:50]), proposer) is None
    assert warm(family, "de").doubter is None


def test_the_certainty_of_what_is_stated_is_honest(family: Family, hear: Callable[..., Any]) -> None:
    """On the halves that were only counted, stated facts are right about as often as their certainty says."""
    said: list[float] = []
    right = 0
    for name in ("frozen", "blind", "unseen_a"):
        for message in filter(in_odd_half, read_messages(HERE / f"messages_{name}.jsonl")):
            for fact in hear(message["text"]).facts:
                scored = fact.fact in message["facts"] or fact.fact not in message.get("open", ())
                if fact.source == "phrase" and fact.fact in warm(family, "en").proposer.places_of and scored:
                    said.append(fact.certainty)
                    right += str(message["facts"].get(fact.fact)) == str(fact.value)

    assert len(said) > 700
    assert right / len(said) == pytest.approx(sum(said) / len(said), abs=0.05)
