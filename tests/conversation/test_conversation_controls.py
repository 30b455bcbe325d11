"""Controls work on the whole message only, in both shipped languages."""

from __future__ import annotations

from datetime import timedelta

import pytest

from intakebot.conversation import (
    EstimateDecided,
    GivenBack,
    HandOff,
    MessageReceived,
    StaffReplied,
    TakenOver,
)
from intakebot.conversation.controls import compile_words, control_of
from tests.conversation.doubles import SetAssessor, Talk, ready

ASKS = SetAssessor(asks=("age_years", "noise", "error_message"))


@pytest.mark.parametrize(
    ("message", "name"),
    [
        ("STOP", "stop"), ("stopp", "stop"), ("Help!", "help"), ("Hilfe", "help"), ("can I talk to a person?", "person"),
        ("Ich möchte mit jemandem sprechen", "person"), ("go back", "back"), ("zurück", "back"), ("skip this", "skip"),
        ("überspringen", "skip"), ("I don't know", "not_sure"), ("weiß ich nicht", "not_sure"), ("later please", "pause"),
        ("später", "pause"), ("I'm back", "resume"), ("bin wieder da", "resume"), ("start over", "start_again"),
        ("von vorn", "start_again"), ("delete my data", "erase"), ("meine Daten löschen", "erase"), ("say that again", "repeat"),
        ("wie bitte?", "repeat"), ("that's wrong", "wrong"), ("stimmt nicht", "wrong"), ("how much is it?", "price"),
        ("was kostet das?", "price"), ("español", "other_language"), ("go ahead", "accept"), ("zu teuer", "decline"),
    ],
)  # fmt: skip
def test_a_whole_message_is_a_control(definitions, message, name):
    control = control_of(message, compile_words(definitions))

    assert control is not None
    assert control.name == name


@pytest.mark.parametrize(
    "message",
    [
        "it won't stop spinning", "help, the disc is stuck", "a person at a shop opened it", "the disc comes back out", "it skips",
        "not sure if it spins but it clicks", "it pauses on its own", "I erased the hard drive", "it starts again and again",
        "the price was 80", "it goes back to the menu", "it was wrong from the start",
    ],
)  # fmt: skip
def test_a_control_word_inside_a_sentence_is_content(definitions, message):
    assert control_of(message, compile_words(definitions)) is None


@pytest.mark.parametrize(
    ("message", "locale"),
    [("auf Deutsch bitte", "de"), ("German please", "de"), ("English please", "en"), ("auf Englisch", "en")],
)
def test_asking_for_a_language_names_it(definitions, message, locale):
    control = control_of(message, compile_words(definitions))

    assert (control.name, control.locale) == ("language", locale)


def test_back_asks_the_question_before_again_and_shows_the_old_answer(definitions):
    talk = ready(definitions, ASKS)
    talk.tap("age_years:old")

    talk.say("back")

    assert talk.turn.asked == "age_years"
    assert "You said 10 before." in talk.said
    talk.tap("age_years:new")
    assert talk.value("age_years") == 1


def test_back_at_the_first_question_says_so_and_asks_it_again(definitions):
    talk = Talk(definitions, ASKS)
    talk.say("my dvd player skips")

    talk.say("back")

    assert "There is no earlier question." in talk.said
    assert talk.turn.asked == "hazards"


def test_skip_leaves_the_fact_declined_and_never_asks_it_again(definitions):
    talk = ready(definitions, ASKS)

    talk.say("skip")

    assert (talk.status("age_years"), talk.turn.asked) == ("declined", "noise")
    asked = []
    for _ in range(4):
        asked.append(talk.turn.asked)
        talk.say("not sure")
    assert "age_years" not in asked


def test_a_skipped_question_that_must_be_asked_is_asked_once_more_with_the_reason(definitions):
    talk = Talk(definitions, SetAssessor())
    talk.say("it skips, it was never opened")
    talk.tap("hazards:none")
    assert talk.turn.asked == "device_group"

    talk.say("skip")
    assert talk.turn.asked == "device_group"
    assert "I need this one for the price." in talk.said

    talk.say("skip")
    assert talk.turn.asked != "device_group"


def test_not_sure_is_an_answer(definitions):
    talk = ready(definitions, ASKS)

    talk.say("no idea")

    assert (talk.status("age_years"), talk.turn.asked) == ("not_known", "noise")


def test_a_person_is_one_message_away_and_gets_a_card(definitions):
    talk = ready(definitions, ASKS)

    talk.say("person please")

    effect = talk.turn.effects[0]
    assert isinstance(effect, HandOff)
    assert talk.conversation.floor == "person"
    assert effect.reason == "asked"
    assert effect.card.pending_question == "age_years"
    assert effect.card.open_questions[:2] == ("age_years", "noise")
    assert ("skips", "Yes", "heard") in effect.card.facts


def test_while_a_person_has_the_floor_facts_still_land_and_nothing_is_asked(definitions):
    talk = ready(definitions, ASKS)
    talk.say("person")

    talk.say("it makes a grinding noise")

    assert talk.value("noise") == "grinding"
    assert talk.conversation.pending is None
    assert talk.kinds == ["handover"]


def test_once_the_person_writes_the_engine_keeps_quiet_until_the_floor_is_given_back(definitions):
    talk = ready(definitions, ASKS)
    talk.send(TakenOver("t1"))
    talk.send(StaffReplied("t2", "Hello, Ana from the bench here."))
    assert talk.texts == ["Hello, Ana from the bench here."]

    talk.say("thanks Ana")
    assert talk.texts == []

    talk.send(GivenBack("t3"))
    assert talk.turn.asked == "age_years"
    assert "FloorReturned" in talk.effects


def test_pause_keeps_the_question_and_any_message_goes_on(definitions):
    talk = ready(definitions, ASKS)

    talk.say("later")
    assert (talk.conversation.floor, talk.conversation.pending) == ("paused", None)

    talk.say("about 10 years")
    assert talk.conversation.floor == "self"
    assert talk.value("age_years") == 10
    assert talk.turn.asked == "noise"


def test_after_a_day_the_answer_begins_with_a_short_recap(definitions):
    talk = ready(definitions, ASKS)

    talk.say("10 years old", after=timedelta(hours=25))

    assert talk.said.startswith("Welcome back. So far I have this. ")
    assert "DVD player" in talk.texts[0]


def test_within_a_day_there_is_no_recap(definitions):
    talk = ready(definitions, ASKS)

    talk.say("10 years old", after=timedelta(hours=23))

    assert "Welcome back" not in talk.said


def test_the_language_changes_at_once_and_nothing_is_lost(definitions):
    talk = ready(definitions, ASKS)
    before = dict(talk.conversation.facts)

    talk.say("auf Deutsch bitte")

    assert talk.conversation.locale == "de"
    assert talk.turn.asked == "age_years"
    assert "Gut, ab hier auf Deutsch." in talk.said
    assert dict(talk.conversation.facts) == before


def test_an_unsupported_language_gets_a_person_and_the_form(definitions):
    talk = ready(definitions, ASKS, links={"form": "https://example.com/f"})

    talk.say("español")

    assert talk.conversation.floor == "person"
    assert "https://example.com/f" in talk.said


def test_start_again_is_asked_first_and_forgets_the_answers(definitions):
    talk = ready(definitions, ASKS)
    talk.say("start again")
    assert talk.kinds == ["confirm"]
    assert talk.value("skips") == "yes"

    talk.say("yes")

    assert dict(talk.conversation.facts) == {}
    assert talk.conversation.pending.kind == "story"


def test_no_to_start_again_changes_nothing(definitions):
    talk = ready(definitions, ASKS)
    talk.say("start again")

    talk.say("no")

    assert talk.value("skips") == "yes"
    assert talk.turn.asked == "age_years"


def test_erase_is_asked_first_and_then_leaves_nothing(definitions):
    talk = ready(definitions, ASKS)
    talk.say("erase everything")

    talk.tap("confirm_erase:yes")

    assert talk.effects == ["EraseEverything"]
    assert (dict(talk.conversation.facts), talk.conversation.phase) == ({}, "withdrawn")


def test_repeat_asks_the_open_question_again_without_counting_it_as_a_miss(definitions):
    talk = ready(definitions, ASKS)

    talk.say("say that again")

    assert (talk.turn.asked, talk.conversation.misses, talk.conversation.pending.tries) == ("age_years", 0, 0)


def test_help_names_the_shop_and_asks_on(definitions):
    talk = ready(definitions, ASKS)

    talk.say("help")

    assert definitions.pricing.shop.name in talk.texts[0]
    assert talk.turn.asked == "age_years"


def test_thats_wrong_shows_the_lines_to_change(definitions):
    talk = ready(definitions, ASKS)

    talk.say("that's wrong")

    assert talk.kinds == ["recap"]
    assert "change:device_kind" in [choice.value for choice in talk.turn.replies[0].choices]


def test_the_price_so_far_is_told_and_the_question_stays_open(definitions):
    talk = ready(definitions, ASKS)

    talk.say("how much is it?")

    assert "£70.00 to £140.00" in talk.said
    assert talk.turn.asked == "age_years"


def test_stop_is_confirmed_once_and_then_nothing_is_sent_by_text_message(definitions):
    talk = ready(definitions, ASKS, channel="sms")
    talk.say("STOP")
    assert (talk.effects, len(talk.texts), talk.conversation.consent) == (["OptOut"], 1, "opted_out")

    talk.say("it is 10 years old")
    assert talk.texts == []
    assert talk.value("age_years") == 10

    talk.say("START")
    assert (talk.effects, talk.conversation.consent) == (["OptIn"], "allowed")
    assert talk.turn.asked == "age_years" or talk.turn.asked == "noise"


def test_cancel_ends_the_messages_by_text_but_means_no_to_an_open_yes_or_no_on_the_web(definitions):
    by_text = ready(definitions, ASKS, channel="sms")
    by_text.say("erase")
    by_text.say("cancel")
    on_web = ready(definitions, ASKS)
    on_web.say("erase")
    on_web.say("cancel")

    assert by_text.conversation.consent == "opted_out"
    assert on_web.conversation.consent == "allowed"


def test_two_messages_in_the_other_language_are_read_and_going_on_in_it_is_offered(definitions):
    talk = ready(definitions, ASKS)
    talk.say("das Gerät ist mir auf den Boden gefallen und es geht nicht")
    assert talk.value("dropped") == "yes"

    talk.say("ich habe es nicht selbst geöffnet und mein Bruder auch nicht")
    assert talk.conversation.pending.kind == "confirm_language"
    assert "Sollen wir auf Deutsch weitermachen?" in talk.said
    assert "We can go on in German if you like." in talk.said

    talk.tap("confirm_language:yes")
    assert talk.conversation.locale == "de"
    assert talk.turn.asked == "age_years"


def test_no_to_the_other_language_goes_on_as_before(definitions):
    talk = ready(definitions, ASKS)
    talk.say("das Gerät ist mir auf den Boden gefallen und es geht nicht")
    talk.say("ich habe es nicht selbst geöffnet und mein Bruder auch nicht")

    talk.say("no")

    assert (talk.conversation.locale, talk.turn.asked) == ("en", "age_years")


def test_two_angry_messages_bring_a_person_and_one_kind_clause(definitions):
    talk = ready(definitions, ASKS)
    talk.say("this is ridiculous")
    first = talk.said

    talk.say("useless")

    assert "That is annoying." in first
    assert "That is annoying." not in talk.said
    assert talk.conversation.floor == "person"


def test_an_event_that_does_not_fit_the_state_changes_nothing(definitions):
    talk = ready(definitions, ASKS)
    before = talk.conversation

    talk.send(GivenBack("g1"))

    assert (talk.conversation, talk.texts) == (before, [])


def test_the_same_event_gives_the_same_bytes(definitions):
    one, two = ready(definitions, ASKS), ready(definitions, ASKS)
    event = MessageReceived("x", "it makes a grinding noise and it is 10 years old")

    assert one.send(event).conversation.to_mapping() == two.send(event).conversation.to_mapping()
    assert one.texts == two.texts


@pytest.mark.parametrize(
    ("sign", "value"), [("👍", "yes"), ("👍🏽", "yes"), ("✅", "yes"), ("👎", "no"), ("❌", "no")]
)
def test_a_thumb_answers_an_open_yes_or_no(definitions, sign, value):
    talk = ready(definitions, SetAssessor(asks=("bought_used",)))

    talk.say(sign)

    assert talk.value("bought_used") == value


def test_a_thumb_without_a_yes_or_no_question_is_no_answer(definitions):
    talk = ready(definitions, ASKS)

    talk.say("👍")

    assert talk.turn.asked == "age_years"
    assert "Sorry, I did not get that." in talk.said


def test_a_thumb_on_an_estimate_only_leads_to_the_explicit_question(definitions):
    talk = ready(definitions, SetAssessor())
    talk.say("👍")
    assert talk.conversation.phase == "estimated"

    talk.say("👍")

    assert talk.effects == []
    assert talk.conversation.pending.kind == "confirm_accept"
    assert "Do you agree to the repair" in talk.said


@pytest.mark.parametrize(
    "text", ["Liked “Did you notice any smoke?”", 'Loved "It grinds"', "Reacted 👍 to “Does it spin?”"]
)
def test_a_reaction_that_arrives_as_text_is_no_answer_and_needs_none(definitions, text):
    talk = ready(definitions, ASKS)
    before = dict(talk.conversation.facts)

    talk.say(text)

    assert (dict(talk.conversation.facts), talk.texts) == (before, [])


def test_no_after_a_yes_goes_to_a_person(definitions):
    talk = ready(definitions, SetAssessor())
    talk.say("yes")
    talk.send(EstimateDecided("d1", "accepted"))

    talk.say("cancel the repair")

    assert talk.turn.effects[0].reason == "wants_out"
