"""How a heard fact is taken: by stake and doubt; corrections, derived facts and hazards.

Understanding is replaced by a set answer, so that each case is exactly what it says.
"""

from __future__ import annotations

import pytest

from intakebot.conversation import FactsEntered
from intakebot.understanding import Heard, HeardFact
from tests.conversation.doubles import SetAssessor, Talk, ready

ASKS = SetAssessor(asks=("age_years", "noise"))


def heard_fact(fact, value, certainty=0.95, negated=False):
    return HeardFact(fact, value, certainty, (0, 4), "words", negated)


@pytest.fixture
def hear(monkeypatch):
    """Make the next messages be understood as given."""

    def set_heard(*facts, proposals=(), correction=False, reply=None, ruled_out=()):
        def understand(text, *_args, **_values):
            return Heard(
                text,
                text,
                facts=tuple(facts),
                proposals=tuple(proposals),
                correction=correction,
                reply=reply,
                ruled_out=tuple(ruled_out),
            )

        monkeypatch.setattr("intakebot.conversation.reading.understand", understand)

    return set_heard


@pytest.fixture
def talk(definitions):
    return ready(definitions, ASKS)


def test_a_low_stake_fact_is_taken_silently(talk, hear):
    hear(heard_fact("rattles", "yes"))

    talk.say("words")

    assert (talk.value("rattles"), talk.status("rattles")) == ("yes", "heard")
    assert "rattle" not in talk.said.lower()


@pytest.mark.parametrize("certainty", [0.95, 0.6])
def test_a_medium_stake_fact_is_taken_and_echoed_with_the_next_question(talk, hear, certainty):
    hear(heard_fact("bought_used", "yes", certainty))

    talk.say("words")

    assert talk.value("bought_used") == "yes"
    assert talk.texts[-1].startswith("Got it. It was bought used.")
    assert talk.turn.asked == "age_years"


def test_a_sure_high_stake_fact_is_echoed_and_stands_in_the_recap(talk, hear):
    hear(heard_fact("opened", "shop"))

    talk.say("words")
    hear()
    talk.say("not sure")
    talk.say("not sure")

    assert "Opened before by: a shop" in talk.turns[-3].replies[-1].text
    assert talk.kinds == ["recap"]
    assert "change:opened" in [choice.value for choice in talk.turn.replies[-1].choices]


def test_a_doubtful_high_stake_fact_is_asked_as_yes_or_no_and_never_only_echoed(talk, hear):
    hear(heard_fact("original_board_place", "in_device", 0.6))

    talk.say("words")

    assert talk.kinds == ["confirm"]
    assert talk.conversation.pending.fact == "original_board_place"
    hear(reply="yes")
    talk.say("yes")
    assert talk.status("original_board_place") == "confirmed"


def test_no_to_a_checked_choice_takes_the_value_back(talk, hear):
    hear(heard_fact("original_board_place", "in_device", 0.6))
    talk.say("words")

    hear(reply="no")
    talk.say("no")

    assert "original_board_place" not in talk.conversation.facts


def test_no_to_a_checked_yes_or_no_turns_it_round(talk, hear):
    hear(heard_fact("disc_stuck", "yes", 0.6))
    talk.say("words")

    hear(reply="no")
    talk.say("no")

    assert (talk.value("disc_stuck"), talk.status("disc_stuck")) == ("no", "confirmed")


def test_a_guess_is_asked_and_counts_only_after_a_yes(talk, hear):
    hear(proposals=[heard_fact("noise", "grinding", 0.5)])
    talk.say("it sounds like a coffee mill")
    assert "noise" not in talk.conversation.facts

    talk.tap("age_years:new")
    assert talk.kinds == ["confirm"]
    assert talk.conversation.pending.value == "grinding"
    talk.tap("check:noise:yes")
    assert (talk.value("noise"), talk.status("noise")) == ("grinding", "confirmed")


def test_a_new_value_replaces_the_old_one_and_is_said(talk, hear):
    hear(heard_fact("bought_used", "yes"))
    talk.say("words")

    hear(heard_fact("bought_used", "no"), correction=True)
    talk.say("actually ...")

    assert talk.value("bought_used") == "no"
    assert "Changed. Bought used: No." in talk.said
    assert [(h.fact, h.before, h.value) for h in talk.turn.heard] == [("bought_used", "yes", "no")]


def test_a_doubtful_value_against_a_confirmed_one_is_asked_first(talk, hear):
    talk.send(FactsEntered("f1", {"bought_used": "yes"}))

    hear(heard_fact("bought_used", "no", 0.5))
    talk.say("words")

    assert talk.value("bought_used") == "yes"
    assert talk.conversation.pending.kind == "confirm"


def test_what_the_bench_verified_is_not_changed_by_chat(talk, hear):
    talk.send(FactsEntered("f1", {"bought_used": "yes"}, by="staff", verified=True))

    hear(heard_fact("bought_used", "no"), correction=True)
    talk.say("actually ...")

    assert talk.value("bought_used") == "yes"
    assert "Our bench saw this itself" in talk.said


def test_a_derived_fact_follows_its_support_and_goes_with_it(talk, hear):
    hear(heard_fact("disc_not_read", "yes"))
    talk.say("words")
    assert (talk.value("no_power"), talk.conversation.facts["no_power"].source) == ("no", "derived")

    hear(heard_fact("disc_not_read", "no"), heard_fact("skips", "no"), correction=True)
    talk.say("actually ...")

    assert "no_power" not in talk.conversation.facts
    assert "derived_dropped" in [entry.kind for entry in talk.turn.log]
    assert "I took back what I had worked out from it: It does not turn on: No" in talk.said


def test_a_stated_fact_is_never_overwritten_by_a_derived_one(talk, hear):
    hear(heard_fact("no_power", "yes"))
    talk.say("words")

    hear(heard_fact("disc_not_read", "yes"))
    talk.say("words")

    assert (talk.value("no_power"), talk.conversation.facts["no_power"].source) == ("yes", "text")


def test_a_denied_value_goes_and_nothing_takes_its_place(talk, hear):
    hear(heard_fact("noise", "grinding"))
    talk.say("words")

    hear(ruled_out=[heard_fact("noise", "grinding", negated=True)])
    talk.say("it doesn't grind")

    assert "noise" not in talk.conversation.facts


def test_someone_never_replaces_a_named_person(talk, hear):
    hear(heard_fact("lens_cleaned", "shop"))
    talk.say("words")

    hear(heard_fact("lens_cleaned", "someone"))
    talk.say("words")

    assert talk.value("lens_cleaned") == "shop"


def test_a_hazard_stops_everything(talk, hear):
    talk = Talk(talk.definitions, ASKS)
    hear(heard_fact("smoke_or_smell", "yes"), heard_fact("skips", "yes"))

    talk.say("smoke!")

    assert talk.kinds == ["safety"]
    assert talk.effects == ["HandOff"]
    assert (talk.conversation.floor, talk.conversation.holds) == ("person", ("safety",))
    assert talk.conversation.pending is None


def test_a_hazard_word_after_a_clear_no_is_checked_with_a_warning(talk, hear):
    hear(heard_fact("smoke_or_smell", "yes"))

    talk.say("we smoke at home")

    assert "Please keep it off and unplugged for now." in talk.said
    assert talk.conversation.pending.fact == "smoke_or_smell"
    talk.tap("check:smoke_or_smell:yes")
    assert talk.kinds == ["safety"]


def test_the_stop_sign_stays_until_a_person_lifts_it(talk, hear):
    talk = Talk(talk.definitions, ASKS)
    hear(heard_fact("smoke_or_smell", "yes"))
    talk.say("smoke!")

    hear(heard_fact("smoke_or_smell", "no"), correction=True)
    talk.say("actually no smoke")
    assert talk.conversation.holds == ("safety",)

    talk.send(FactsEntered("s1", {"smoke_or_smell": "no"}, by="staff"))
    assert talk.conversation.holds == ()


def test_resume_does_not_pass_a_stop_sign(talk, hear):
    talk = Talk(talk.definitions, ASKS)
    hear(heard_fact("smoke_or_smell", "yes"))
    talk.say("smoke!")

    talk.say("go on")

    assert talk.conversation.floor == "person"
    assert talk.kinds == ["safety"]


def test_a_value_that_does_not_fit_its_fact_is_not_taken(talk, hear):
    hear(
        heard_fact("age_years", 5000),
        heard_fact("loading", "sideways"),
        heard_fact("seen_coin", "yes"),
        heard_fact("no_such_fact", "yes"),
    )

    talk.say("words")

    assert not {"age_years", "loading", "seen_coin", "no_such_fact"} & set(talk.conversation.facts)


def test_a_high_stake_value_in_passing_against_a_confirmed_one_is_asked_first(talk, hear):
    talk.send(FactsEntered("f1", {"disc_stuck": "yes"}))

    hear(heard_fact("disc_stuck", "no"))
    talk.say("words")

    assert talk.value("disc_stuck") == "yes"
    assert (talk.conversation.pending.kind, talk.conversation.pending.value) == ("confirm", "no")


def test_the_thirtieth_message_without_an_estimate_brings_a_person(talk, hear):
    for number in range(30):
        hear(heard_fact("rattles", ("yes", "no")[number % 2]))
        talk.say("words")
        if talk.conversation.floor == "person":
            break

    assert talk.conversation.messages_in == 30
    assert talk.turn.effects[0].reason == "too_long"


def test_an_answer_that_could_only_be_guessed_at_is_asked_back(definitions):
    talk = ready(definitions, SetAssessor(asks=("where_on_disc",)))
    assert talk.turn.asked == "where_on_disc"

    talk.say("wherever it fancies")

    pending = talk.conversation.pending
    assert (pending.kind, pending.fact, pending.value) == ("confirm", "where_on_disc", "anywhere")
    talk.say("yes")
    assert (talk.value("where_on_disc"), talk.status("where_on_disc")) == ("anywhere", "confirmed")


@pytest.mark.parametrize(
    ("said", "value"), [("nope", "no"), ("no", "no"), ("yep", "yes"), ("nein", "no"), ("ja", "yes")]
)
def test_a_bare_yes_or_no_counts_in_every_shipped_language(definitions, said, value):
    talk = ready(definitions, SetAssessor(asks=("bought_used",)))
    talk.say("auf Deutsch bitte")

    talk.say(said)

    assert (talk.conversation.locale, talk.value("bought_used")) == ("de", value)


@pytest.mark.parametrize("answer", ["tap", "not sure", "i really could not say"])
def test_who_is_not_sure_of_a_hazard_they_spoke_of_gets_a_person_and_the_caution(definitions, answer):
    talk = Talk(definitions, text="my dvd player skips and there was a nasty smell like a hairdryer")
    assert talk.conversation.pending.fact == "smoke_or_smell"
    assert "off and unplugged" in talk.said

    talk.tap("check:smoke_or_smell:not_sure") if answer == "tap" else talk.say(answer)

    assert "HandOff" in talk.effects
    assert "safety" in talk.conversation.holds
    assert "off and unplugged" in talk.said
