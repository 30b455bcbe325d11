"""Short answers to the pending question, numbers, sums, dates and contact details."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from intakebot.definitions.texts import Texts
from intakebot.understanding import Expecting, Option, expecting_for, understand

YES_NO = Expecting(
    "dropped", "q_dropped", (Option("yes", "Yes", {"dropped": "yes"}), Option("no", "No", {"dropped": "no"}))
)
NOISES = Expecting(
    "noise",
    "q_noise",
    tuple(
        Option(code, label, {"noise": code})
        for code, label in [("none", "No noise"), ("grinding", "Grinding"), ("clicking", "Clicking"), ("whirring", "Whirring"), ("other", "Something else")]
    ),
)  # fmt: skip
SEVERAL = Expecting(
    None,
    "q_where",
    (
        Option("films", "Films fail, games play", {"bluray_result": "fails", "game_result": "plays"}),
        Option("games", "Games fail, films play", {"bluray_result": "plays", "game_result": "fails"}),
        Option("not_sure", "I'm not sure", {"bluray_result": None, "game_result": None}),
    ),
)


@pytest.mark.parametrize(
    "text",
    [
        "yes",
        "Yes.",
        "yep",
        "YEAH",
        "y",
        "it did",
        "1",
        "a",
        "a)",
        "yes it fell off the table",
        "sure",
        "afraid so",
        "I think so",
    ],
)
def test_a_yes_in_any_form_is_a_yes(hear: Callable[..., Any], text: str) -> None:
    heard = hear(text, YES_NO)

    assert (heard.choice, heard.fact("dropped").value) == ("yes", "yes")


@pytest.mark.parametrize(
    "text",
    [
        "no",
        "nope",
        "nah",
        "n",
        "never",
        "2",
        "not that I know of",
        "no it didn't",
        "I don't think so",
        "not at all",
        "no, but my brother opened it",
    ],
)
def test_a_no_in_any_form_is_a_no(hear: Callable[..., Any], text: str) -> None:
    heard = hear(text, YES_NO)

    assert (heard.choice, heard.fact("dropped").value) == ("no", "no")


@pytest.mark.parametrize(
    "text",
    [
        "dunno",
        "no idea",
        "don't know",
        "not sure sorry",
        "I have no idea",
        "can't remember",
        "idk",
        "?",
        "not a clue",
    ],
)
def test_not_knowing_is_an_answer(hear: Callable[..., Any], text: str) -> None:
    heard = hear(text, YES_NO)

    assert heard.reply == "not_known"
    assert heard.fact("dropped").value is None


@pytest.mark.parametrize("text", ["rather not say", "I'd prefer not to say", "none of your business"])
def test_a_refusal_gives_no_fact(hear: Callable[..., Any], text: str) -> None:
    heard = hear(text, YES_NO)

    assert heard.reply == "declined"
    assert heard.fact("dropped") is None


def test_a_no_that_denies_the_next_word_is_no_answer(hear: Callable[..., Any]) -> None:
    heard = hear("no power since yesterday", YES_NO)

    assert heard.reply is None
    assert heard.fact("no_power").value == "yes"


def test_an_unsure_yes_is_less_certain(hear: Callable[..., Any]) -> None:
    assert (
        hear("I think so", YES_NO).fact("dropped").certainty < hear("yes", YES_NO).fact("dropped").certainty
    )


@pytest.mark.parametrize(
    ("text", "choice"),
    [
        ("2", "grinding"), ("clicking", "clicking"), ("the first one", "none"), ("griding", "grinding"), ("it clicks", "clicking"), ("d", "whirring"),
        ("option 3", "clicking"), ("Whir", "whirring"), ("something else", "other"), ("the last one please", "other"), ("second", "grinding"), ("three", "clicking"),
        ("#4", "whirring"), ("it's grinding I think", "grinding"), ("Clicking. Very loud too.", "clicking"),
    ],
)  # fmt: skip
def test_an_option_is_picked_by_number_letter_place_label_or_near_label(
    hear: Callable[..., Any], text: str, choice: str
) -> None:
    heard = hear(text, NOISES)

    assert (heard.choice, heard.fact("noise").value) == (choice, choice)


@pytest.mark.parametrize("text", ["7", "z", "0", "the tenth one", "99"])
def test_a_place_outside_the_list_picks_nothing(hear: Callable[..., Any], text: str) -> None:
    assert hear(text, NOISES).choice is None


def test_an_option_may_set_several_facts(hear: Callable[..., Any]) -> None:
    heard = hear("2", SEVERAL)

    assert {fact.fact: fact.value for fact in heard.facts} == {
        "bluray_result": "plays",
        "game_result": "fails",
    }


def test_dont_know_picks_the_option_that_says_so(hear: Callable[..., Any]) -> None:
    assert hear("no idea", SEVERAL).choice == "not_sure"


@pytest.mark.parametrize(
    ("text", "who"),
    [("me", "owner"), ("I did", "owner"), ("a shop did", "shop"), ("my brother", "friend"), ("nobody", "nobody"), ("no", "nobody"), ("yes", "someone"), ("the previous owner", "someone")],
)  # fmt: skip
def test_who_answers_a_question_about_an_attempt(
    values: Callable[..., dict[str, Any]], text: str, who: str
) -> None:
    assert values(text, Expecting("opened"))["opened"] == who


@pytest.mark.parametrize(
    ("text", "amount"),
    [
        ("80", "80"), ("max 80", "80"), ("£120 tops", "120"), ("about 50 quid", "50"), ("no more than a hundred and twenty pounds", "120"), ("80-100", "100"),
        ("$75.50", "75.50"), ("1,200", "1200"), ("1.200,50 €", "1200.50"), ("twenty five pounds", "25"), ("between 60 and 80", "80"),
    ],
)  # fmt: skip
def test_a_sum_answers_a_question_about_money(
    values: Callable[..., dict[str, Any]], text: str, amount: str
) -> None:
    assert values(text, Expecting("spending_limit"))["spending_limit"] == Decimal(amount)


@pytest.mark.parametrize(
    ("text", "years"),
    [
        ("about 5 years", 5),
        ("bought it in 2019", 7),
        ("18 months", 2),
        ("10", 10),
        ("ten years old", 10),
        ("a decade", 10),
        ("2 yrs", 2),
    ],
)  # 2026 - 2019 = 7; 18 / 12 = 1.5, rounded half up 2
def test_an_age_is_counted_in_years(values: Callable[..., dict[str, Any]], text: str, years: int) -> None:
    assert values(text, Expecting("age_years"))["age_years"] == years


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("by friday", date(2026, 11, 27)), ("next friday", date(2026, 12, 4)), ("tomorrow", date(2026, 11, 26)), ("before christmas", date(2026, 12, 25)),
        ("15/12/2026", date(2026, 12, 15)), ("15th of december", date(2026, 12, 15)), ("december 15", date(2026, 12, 15)), ("2026-12-20", date(2026, 12, 20)),
        ("in two weeks", date(2026, 12, 9)), ("end of the month", date(2026, 11, 30)), ("next week", date(2026, 11, 30)), ("3rd january", date(2027, 1, 3)),
        ("in 10 days", date(2026, 12, 5)), ("easter", date(2027, 3, 28)), ("24.12.", date(2026, 12, 24)),
    ],
)  # counted from Wednesday 25 November 2026; Easter 2027 is 28 March (published: tables of the Gregorian Easter)  # fmt: skip
def test_a_date_answers_a_question_about_a_day(
    values: Callable[..., dict[str, Any]], text: str, day: date
) -> None:
    assert values(text, Expecting("deadline")).get("deadline") == day


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("my budget is 60 quid max and i need it by the 20th of december", {"spending_limit": Decimal(60), "deadline": date(2026, 12, 20)}),
        ("I'd pay up to £70", {"spending_limit": Decimal(70)}),
        ("it's 12 years old", {"age_years": 12}),
        ("I bought it 3 years ago", {"age_years": 3}),
        ("write to jo.bloggs@example.com", {"email": "jo.bloggs@example.com"}),
        ("call me on 01632 960123", {"phone": "+44 1632 960123"}),
    ],
)  # fmt: skip
def test_numbers_dates_and_contacts_are_heard_unasked(
    values: Callable[..., dict[str, Any]], text: str, expected: dict[str, Any]
) -> None:
    got = values(text)

    assert {fact: got.get(fact) for fact in expected} == expected


def test_a_childs_age_is_not_the_devices(values: Callable[..., dict[str, Any]]) -> None:
    assert "age_years" not in values("my 9 year old son dropped it")


def test_a_number_is_no_option_when_the_question_asks_for_a_number(hear: Callable[..., Any]) -> None:
    asked = Expecting(
        "board_candidates",
        None,
        (Option("one", "One", {"board_candidates": 1}), Option("two", "Two", {"board_candidates": 2})),
    )

    assert hear("2", asked).fact("board_candidates").value == 2


@pytest.mark.parametrize(
    ("fact", "text", "value"),
    [("name", "My name is Jo Bloggs", "Jo Bloggs"), ("name", "Jo", "Jo"), ("model_name", "it's a XR-200", "XR-200"), ("error_text", "E 42!", "E 42")],
)  # fmt: skip
def test_text_is_taken_without_its_lead_in(
    values: Callable[..., dict[str, Any]], fact: str, text: str, value: str
) -> None:
    assert values(text, Expecting(fact))[fact] == value


def test_a_sentence_full_of_symptoms_is_not_a_name(values: Callable[..., dict[str, Any]]) -> None:
    got = values("the tray won't open and it smells burnt", Expecting("name"))

    assert "name" not in got
    assert got["wont_eject"] == "yes"


def test_a_sentence_against_its_own_yes_is_doubted(hear: Callable[..., Any]) -> None:
    asked = Expecting(
        "spins", None, (Option("yes", "Yes", {"spins": "yes"}), Option("no", "No", {"spins": "no"}))
    )

    fact = hear("yes, it doesn't spin", asked).fact("spins")

    assert (fact.value, fact.certainty) == ("no", 0.5)


def test_a_class_that_was_asked_for_is_that_class(values: Callable[..., dict[str, Any]]) -> None:
    got = values("CDs don't play", Expecting("cd_result"), known={"device_kind": "cd_player"})

    assert got.get("cd_result") == "fails"
    assert "disc_not_read" not in got


@pytest.mark.parametrize(
    ("question", "locale", "reply", "option"),
    [
        ("cd_result", "en", "no", "fails"),
        ("cd_result", "en", "yes", "plays"),
        ("game_result", "en", "nope", "fails"),
        ("started_after", "en", "no", "nothing"),
        ("parts_changed", "en", "no", "neither"),
        ("hazards", "en", "no", "none"),
        ("hazards", "en", "yes", None),  # which of them is not said
        ("own_plans", "en", "no", "none"),
        ("loads_well", "en", "yes", "fine"),
        ("loads_well", "en", "no", None),
        ("dvd_result", "de", "nein", "fails"),
        ("dvd_result", "de", "ja", "plays"),
        ("which_discs", "de", "nein", None),  # "Keine läuft" is no answer in the negative
        ("console_kind", "de", "nein", None),
    ],
)
def test_a_bare_yes_or_no_is_the_one_option_that_means_it(
    definitions: Any, family: Any, question: str, locale: str, reply: str, option: str | None
) -> None:
    expecting = expecting_for(family, question, Texts(definitions, "disc_drive", locale))

    assert understand(reply, family, locale, expecting).choice == option
