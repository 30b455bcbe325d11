"""What whole sentences say: one table a phenomenon. Sentences are our own; expected facts were read by hand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

Values = Callable[..., dict[str, Any]]


def has(got: dict[str, Any], wanted: dict[str, Any]) -> None:
    assert {fact: got.get(fact, "(nothing)") for fact in wanted} == wanted


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        pytest.param("It doesn't read any discs", {"disc_not_read": "yes"}, id="not-read"),
        pytest.param("won't switch on at all", {"no_power": "yes"}, id="no-power"),
        pytest.param(
            "There is sound but no picture", {"no_display": "yes", "no_sound": "no"}, id="no-picture"
        ),
        pytest.param("it turns itself off after ten minutes", {"shuts_off": "yes"}, id="shuts-off"),
        pytest.param("my DVD skips and freezes", {"skips": "yes"}, id="skips"),
        pytest.param("a disc is stuck inside", {"disc_stuck": "yes"}, id="stuck"),
        pytest.param("the tray won't open", {"wont_eject": "yes"}, id="tray-shut"),
        pytest.param("the drawer does not close any more", {"tray_wont_close": "yes"}, id="tray-open"),
        pytest.param("it spits the game straight back out", {"ejects_by_itself": "yes"}, id="spits"),
        pytest.param("it no longer accepts discs", {"disc_not_accepted": "yes"}, id="not-accepted"),
        pytest.param("the disc doesn't spin", {"spins": "no"}, id="no-spin"),
        pytest.param("the computer can't find the dvd drive", {"drive_not_detected": "yes"}, id="undetected"),
        pytest.param("my discs come out scratched", {"scratches_discs": "yes"}, id="scratches"),
        pytest.param(
            "sometimes it reads, sometimes it doesn't", {"intermittent_read": "yes"}, id="sometimes"
        ),
        pytest.param("some of my discs won't play", {"some_discs_fail": "yes"}, id="some-discs"),
        pytest.param("the screen says disc read error", {"error_message": "yes"}, id="error"),
        pytest.param("it got dropped on the floor", {"dropped": "yes"}, id="dropped"),
        pytest.param("bought it second hand", {"bought_used": "yes"}, id="used"),
        pytest.param("tried a factory reset", {"software_reset": "yes"}, id="reset"),
        pytest.param("games come up as a dvd film", {"games_seen_as_video": "yes"}, id="game-as-film"),
    ],
)
def test_a_plain_symptom_is_heard(values: Values, text: str, wanted: dict[str, str]) -> None:
    has(values(text), wanted)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        pytest.param("reads CDs but no DVDs", {"cd_result": "plays", "dvd_result": "fails"}, id="but-no"),
        pytest.param("CDs work, DVDs don't", {"cd_result": "plays", "dvd_result": "fails"}, id="comma-dont"),
        pytest.param(
            "my console plays DVDs and CDs but not Blu-rays or games",
            {"dvd_result": "plays", "cd_result": "plays", "bluray_result": "fails", "game_result": "fails"},
            id="two-lists",
        ),
        pytest.param(
            "it won't read blu-rays or games",
            {"bluray_result": "fails", "game_result": "fails"},
            id="or-list",
        ),
        pytest.param(
            "sorry, I meant dvds don't work, cds do", {"dvd_result": "fails", "cd_result": "plays"}, id="do"
        ),
    ],
)
def test_contrast_and_lists_of_disc_classes_are_told_apart(
    values: Values, text: str, wanted: dict[str, str]
) -> None:
    has(values(text), wanted)


def test_a_class_word_on_a_device_of_that_name_means_that_class_and_any_disc(values: Values) -> None:
    got = values("CD player won't read the CD")

    assert (got["disc_not_read"], got["cd_result"]) == ("yes", "fails")


def test_a_class_word_is_meant_when_another_class_plays(values: Values) -> None:
    got = values("DVD player won't play CDs but DVDs are fine")

    assert (got["cd_result"], got["dvd_result"]) == ("fails", "plays")
    assert "disc_not_read" not in got


def test_a_film_without_a_class_says_nothing_about_a_class(values: Values) -> None:
    got = values("it won't play my film")

    assert not {"cd_result", "dvd_result", "bluray_result", "game_result"} & set(got)


def test_a_plural_on_a_device_of_several_classes_means_that_class_only(values: Values) -> None:
    got = values("my DVD player won't play DVDs")

    assert got["dvd_result"] == "fails"
    assert "disc_not_read" not in got


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        pytest.param(
            "I opened it and cleaned the lens", {"opened": "owner", "lens_cleaned": "owner"}, id="i"
        ),
        pytest.param("my brother opened it up", {"opened": "friend"}, id="brother"),
        pytest.param("a repair shop replaced the laser", {"pickup_replaced": "shop"}, id="shop"),
        pytest.param(
            "the laser was replaced by a technician", {"pickup_replaced": "shop"}, id="by-technician"
        ),
        pytest.param("it has been opened before", {"opened": "someone"}, id="passive"),
        pytest.param("the previous owner soldered something", {"soldered": "someone"}, id="previous-owner"),
        pytest.param("took it to a shop and they swapped the drive", {"drive_replaced": "shop"}, id="they"),
        pytest.param("before that I had cleaned the lens", {"lens_cleaned": "owner"}, id="before-that"),
        pytest.param("nobody has opened it", {"opened": "nobody"}, id="nobody"),
        pytest.param("it has never been opened", {"opened": "nobody"}, id="never"),
        pytest.param("not sure if it's been opened", {"opened": None}, id="unsure-whether"),
    ],
)
def test_who_did_it_is_read_from_the_sentence(values: Values, text: str, wanted: dict[str, Any]) -> None:
    has(values(text), wanted)


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("should I clean the lens?", id="should-i"),
        pytest.param("I was going to open it up", id="going-to"),
        pytest.param("I want to replace the laser", id="want-to"),
        pytest.param("could you swap the drive for me", id="could-you"),
        pytest.param("I don't want to open it", id="do-not-want"),
        pytest.param("does it need a new laser?", id="does-it-need"),
    ],
)
def test_a_plan_or_question_is_no_attempt(values: Values, text: str) -> None:
    attempts = {"opened", "lens_cleaned", "soldered", "drive_replaced", "board_swapped", "pickup_replaced"}

    assert not {fact for fact, value in values(text).items() if fact in attempts and value != "nobody"}


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("if it stops reading discs, what does it cost?", id="if"),
        pytest.param("my other player won't read discs", id="other-player"),
        pytest.param("my brother's console won't read discs", id="brothers-console"),
        pytest.param("it used to skip", id="used-to"),
        pytest.param("could it be that it won't read?", id="could-it-be"),
    ],
)
def test_what_is_supposed_past_or_about_another_device_is_not_taken(values: Values, text: str) -> None:
    assert not {"disc_not_read", "skips"} & set(values(text))


@pytest.mark.parametrize(
    ("sure", "doubtful"),
    [
        pytest.param("it skips", "I think it skips", id="i-think"),
        pytest.param("it was dropped", "it might have been dropped", id="might"),
        pytest.param(
            "it is the original board", "should be the original board, I think", id="between-commas"
        ),
    ],
)
def test_a_hedge_lowers_the_certainty(hear: Callable[..., Any], sure: str, doubtful: str) -> None:
    plain, hedged = hear(sure).facts[0], hear(doubtful).facts[0]

    assert hedged.certainty < plain.certainty


def test_a_sometimes_is_not_a_never(values: Values) -> None:
    got = values("Intermittently the CD won't play")

    assert got["intermittent_read"] == "yes"
    assert "disc_not_read" not in got


@pytest.mark.parametrize(
    "text",
    [
        "WONT EJECT THE DISC!!!! STUCK INSIDE",
        "wont eject the disc stuck inside",
        "won`t eject the disc... stuck inside",
    ],
    ids=["shouting", "no-punctuation", "odd-apostrophe"],
)
def test_shouting_and_missing_punctuation_change_nothing(values: Values, text: str) -> None:
    has(values(text), {"disc_stuck": "yes", "wont_eject": "yes"})


def test_a_long_story_is_read_whole(values: Values) -> None:
    got = values(
        "Hi, my console (slot loading) wont read any blu-rays or games but dvds are fine, bought it 3 years ago, a shop "
        "already replaced the laser. I can spend max £90, need it back before christmas. jo@example.com"
    )

    has(got, {"loading": "slot", "bluray_result": "fails", "game_result": "fails", "dvd_result": "plays", "age_years": 3,
              "pickup_replaced": "shop", "email": "jo@example.com"})  # fmt: skip


def test_every_quote_stands_in_the_original_at_its_span(hear: Callable[..., Any]) -> None:
    text = "Ｈｉ!  My  café’s DVD\u200b player won’t eject — the disc’s STUCK… and it smells burnt 😡"

    heard = hear(text)

    assert {fact.fact for fact in heard.facts} >= {"disc_stuck", "smoke_or_smell"}
    assert all(text[fact.span[0] : fact.span[1]] == fact.quote for fact in heard.facts)


def test_known_device_tells_what_a_vague_complaint_means(values: Values) -> None:
    assert values("CD player not working", known={"device_kind": "hifi_system"}).get("disc_not_read") == "yes"
    assert "disc_not_read" not in values("CD player not working", known={"device_kind": "cd_player"})


def test_a_correction_in_the_same_message_wins(values: Values) -> None:
    assert values("my brother opened it, no wait, actually I opened it")["opened"] == "owner"
