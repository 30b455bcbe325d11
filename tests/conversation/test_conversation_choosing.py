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
        choices = [choice.value for choice in talk.turn.replies[-1].choices]
        talk.tap("hazards:none" if talk.turn.asked == "hazards" else choices[0])

    assert not {"loading", "age_years", "noise"} & set(asked)
    assert talk.conversation.phase == "estimated"


def test_when_all_was_tapped_the_list_comes_with_the_estimate_and_waits_for_nothing(definitions):
    talk = Talk(definitions, SetAssessor())
    for value in ("device_group:computer", "hazards:none", "symptom:skipping"):
        talk.tap(value)

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
    assert "Changed. Opened before by: a shop." in " ".join(
        " ".join(r.text for r in t.replies) for t in talk.turns[-1:]
    )


def test_a_price_moving_fact_after_the_estimate_gives_a_revised_one_in_the_same_turn(definitions):
    talk = ready(definitions, SetAssessor(prices={"opened=shop": 220}))
    talk.say("yes")
    assert talk.conversation.estimated == ("plan for 140", "140")

    talk.say("actually a repair shop had opened it")

    revised = [effect for effect in talk.turn.effects if type(effect).__name__ == "MakeEstimate"]
    assert [effect.revises for effect in revised] == [True]
    assert "Changed. Opened before by: a shop." in talk.said
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


def test_no_message_offers_more_than_five_choices_except_lists_and_the_recap(definitions):
    talk = Talk(definitions, SetAssessor())
    talk.tap("device_group:computer")
    talk.tap("change:device_kind")

    assert len(talk.turn.replies[-1].choices) <= 9
    for turn in talk.turns:
        for reply in turn.replies:
            assert (
                len(reply.choices) <= 5
                or reply.kind in ("recap",)
                or (reply.several and len(reply.choices) <= 8)
                or talk.conversation.pending.kind == "change"
            )


def test_what_is_wrong_is_asked_even_when_a_class_that_plays_was_told(definitions):
    talk = Talk(definitions, SetAssessor())
    talk.say("my dvd player, music CDs play fine")
    talk.tap("hazards:none")

    assert talk.turn.asked == "symptom"
    # CDs that play already say that it reads some disc, so that choice is gone.
    assert "symptom:every" not in [choice.value for choice in talk.turn.replies[-1].choices]


def test_something_else_as_the_main_trouble_is_followed_up(definitions):
    talk = Talk(definitions, SetAssessor())
    for value in ("device_group:hifi", "hazards:none", "symptom:other"):
        talk.tap(value)

    assert talk.turn.asked == "other_trouble"
    talk.tap("other_trouble:power")
    assert talk.value("no_power") == "yes"


def test_a_question_with_one_choice_left_is_not_asked(definitions):
    talk = Talk(definitions, SetAssessor())
    for value in ("device_group:hifi", "hazards:none", "symptom:loading"):
        talk.tap(value)
    assert talk.turn.asked == "loading_how"
    talk.say("there is a disc stuck inside")

    # A disc inside leaves one of the five choices; what is left to ask is which kind of disc it is.
    assert talk.turn.asked == "stuck_disc_class"
    assert talk.conversation.asked.count("loading_how") == 1


def test_the_kind_of_console_is_changed_by_the_question_for_consoles(definitions):
    talk = Talk(definitions, SetAssessor())
    talk.say("my games console skips, nobody has opened it")
    for value in ("hazards:none", "console_kind:not_sure"):
        talk.tap(value)

    talk.tap("change:device_kind")

    assert talk.turn.asked == "console_kind"
    talk.tap("console_kind:slot")
    assert (talk.value("device_kind"), talk.value("loading")) == ("console_slot", "slot")


def test_a_change_that_was_not_understood_is_asked_again_and_the_recap_does_not_go_in_circles(definitions):
    talk = ready(definitions, SetAssessor())
    talk.tap("change:opened")

    talk.say("it is ten years old")

    assert talk.turn.asked == "opened"
    assert talk.conversation.pending.tries == 1
    assert talk.value("age_years") == 10
    talk.say("4")
    assert talk.value("opened") == "shop"


def test_a_safety_question_nobody_answered_comes_once_more_before_the_list(definitions):
    talk = Talk(definitions)
    talk.say("hello there")
    talk.say("my dvd player keeps skipping")  # other news twice while the safety question is open
    talk.say("it was never opened")

    said = [talk.turn.asked]
    while talk.turn.asked not in (None, "hazards") and len(said) < 8:
        talk.tap(talk.turn.replies[-1].choices[-1].value)
        said.append(talk.turn.asked)

    assert talk.turn.asked == "hazards"
    assert "recap" not in [kind for turn in talk.turns for kind in (reply.kind for reply in turn.replies)]
    talk.tap("hazards:none")
    assert talk.kinds[-1] == "recap"


def test_a_question_that_comes_again_after_other_news_says_that_the_news_arrived(definitions):
    talk = ready(definitions, SetAssessor(asks=("age_years", "noise")))

    talk.say("it rattles")  # of low stake: taken without an echo

    assert talk.turn.asked == "age_years"
    assert talk.said.startswith("Thank you, I noted that.")
