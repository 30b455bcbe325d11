"""The next question: safety first, then by worth, asked once, never what is known; the stop rule; why is stored."""

from __future__ import annotations

import pytest

from tests.conversation.doubles import SetAssessor, Talk, ready


def test_safety_is_asked_first_whatever_it_is_worth(definitions):
    talk = Talk(definitions, SetAssessor(asks=("age_years",)))

    talk.say("my dvd player keeps skipping")

    assert talk.turn.asked == "hazards"
    assert talk.conversation.pending.because.reason == "safety"


def test_the_question_worth_most_is_asked_and_why_is_stored(definitions):
    talk = ready(definitions, SetAssessor(asks=("noise", "age_years")))

    because = talk.conversation.pending.because
    assert talk.turn.asked == "noise"
    assert (because.reason, because.saving, because.burden, because.price_before) == (
        "value",
        5.0,
        1.0,
        ("70", "140"),
    )
    logged = [entry for entry in talk.turn.log if entry.kind == "asked"]
    assert logged[-1].data["because"]["saving"] == 5.0


def test_a_question_not_worth_its_burden_is_not_asked(definitions):
    talk = ready(definitions, SetAssessor())

    assert talk.kinds == ["recap"]


def test_a_question_that_could_decide_is_asked_although_it_is_worth_less_than_its_burden(definitions):
    # worth 0.6 against a burden of 1: above half of it, and an answer would change the plan or the price.
    talk = ready(definitions, SetAssessor(decisive=("noise",)))

    assert talk.turn.asked == "noise"


def test_two_questions_that_decide_only_together_are_not_missed(definitions):
    # The look-ahead vector: each question alone is worth 0, the pair is not; here each is worth half its burden.
    assessor = SetAssessor(asks=(), decisive=(), pair=("noise", "age_years"))
    worth_half = SetAssessor(asks=("", "", "", "", "noise"), pair=("noise", "age_years"))

    assert ready(definitions, assessor).kinds == ["recap"]
    assert ready(definitions, worth_half).turn.asked == "noise"
    assert ready(definitions, worth_half).conversation.pending.because.reason == "pair"


def test_nothing_known_is_asked_again(definitions):
    talk = Talk(definitions, SetAssessor(asks=("loading", "age_years", "noise")))
    talk.say("my portable cd player makes a grinding noise, it is 10 years old and skips, never opened")
    asked = []
    for _ in range(6):
        asked.append(talk.turn.asked)
        if talk.conversation.phase != "open":
            break
        talk.tap(talk.turn.replies[-1].choices[0].value)

    assert not {"loading", "age_years", "noise"} & set(asked)
    assert talk.conversation.phase == "estimated"


def test_when_all_was_tapped_the_list_comes_with_the_estimate_and_waits_for_nothing(definitions):
    talk = Talk(definitions, SetAssessor())
    for label in ("hazards:none", "device_group:computer", "symptom:skipping", "opened:nobody"):
        talk.tap(label)

    assert talk.conversation.phase == "estimated"
    assert talk.kinds == ["recap", "estimate", "estimate"]
    assert talk.effects == ["MakeEstimate"]


def test_what_was_read_from_words_waits_for_one_recap(definitions):
    talk = ready(definitions, SetAssessor())
    assert talk.conversation.phase == "open"

    talk.say("yes that's right")

    assert talk.conversation.phase == "estimated"
    assert talk.status("skips") == "confirmed"


def test_a_line_of_the_recap_can_be_changed_and_the_list_is_shown_again(definitions):
    talk = ready(definitions, SetAssessor())

    talk.tap("change:opened")
    assert talk.turn.asked == "opened"
    talk.tap("opened:shop")

    assert talk.value("opened") == "shop"
    assert "Changed: Opened before by: a shop." in " ".join(
        " ".join(r.text for r in t.replies) for t in talk.turns[-1:]
    )


def test_a_price_moving_fact_after_the_estimate_gives_a_revised_one_in_the_same_turn(definitions):
    talk = ready(definitions, SetAssessor(prices={"opened=shop": 220}))
    talk.say("yes")
    assert talk.conversation.estimated == ("plan for 140", "140")

    talk.say("actually a repair shop had opened it")

    revised = [effect for effect in talk.turn.effects if type(effect).__name__ == "MakeEstimate"]
    assert [effect.revises for effect in revised] == [True]
    assert "Changed: Opened before by: a shop." in talk.said
    assert "220" in talk.said


def test_a_fact_that_changes_nothing_keeps_the_estimate(definitions):
    talk = ready(definitions, SetAssessor(prices={"opened=shop": 220}))
    talk.say("yes")

    talk.say("it rattles when I shake it")

    assert talk.effects == []
    assert talk.conversation.pending.kind == "decision"


def test_a_missing_original_part_holds_the_box(definitions):
    talk = ready(definitions, SetAssessor(gate="hold"))

    talk.say("yes")

    assert talk.conversation.holds == ("part_missing",)
    assert "Do not send the box yet." in talk.said


@pytest.mark.parametrize("count", [1, 2])
def test_the_opener_says_what_how_long_that_it_is_free_and_who_reads(definitions, count):
    asks = ("noise", "age_years")[:count]
    talk = Talk(definitions, SetAssessor(asks=asks))

    text = talk.texts[0]
    assert definitions.pricing.shop.name in text
    assert "price range" in text
    assert "It is free." in text
    assert "Our bench team reads it." in text
    number = int("".join(c for c in text.split("about")[1][:4] if c.isdigit()))
    assert 3 <= number <= 9


def test_the_form_is_offered_in_the_opener_and_on_request(definitions):
    talk = Talk(definitions, SetAssessor(), links={"form": "https://example.com/f/1"})
    assert "https://example.com/f/1" in talk.texts[0]

    talk.say("form")

    assert "https://example.com/f/1" in talk.said


def test_no_message_offers_more_than_five_choices_except_the_recap(definitions):
    talk = Talk(definitions, SetAssessor())
    talk.tap("device_group:computer")
    talk.tap("change:device_kind")

    assert len(talk.turn.replies[-1].choices) <= 9
    for turn in talk.turns:
        for reply in turn.replies:
            assert (
                len(reply.choices) <= 5
                or reply.kind in ("recap",)
                or talk.conversation.pending.kind == "change"
            )
