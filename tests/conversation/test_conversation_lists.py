"""Checklists: one message, several facts; by ticks, numbers, letters, labels or own words; undone as a whole."""

from __future__ import annotations

from dataclasses import replace

import pytest

from intakebot.conversation import plain_text, sms_parts, sms_text
from intakebot.conversation.state import Proposal
from tests.conversation.doubles import NOW, SetAssessor, Talk, ready

ASKS = SetAssessor(asks=("noticed",))


def listed(talk: Talk) -> list[str]:
    return [choice.value.partition(":")[2] for choice in talk.turn.replies[-1].choices]


def held(talk: Talk) -> dict[str, object]:
    """Entries without their times: what follows from others is worked out anew after a change."""
    return {fact: replace(entry, at=NOW) for fact, entry in talk.conversation.facts.items()}


@pytest.fixture
def talk(definitions) -> Talk:
    """A DVD player that skips, never opened, before its first list."""
    found = ready(definitions, ASKS)
    assert found.turn.asked == "noticed"
    return found


def test_a_list_is_marked_has_at_most_ten_choices_and_none_and_not_sure_at_the_end(talk):
    reply = talk.turn.replies[-1]

    assert reply.several
    assert 2 <= len(reply.choices) - 2 <= 10
    assert listed(talk)[-2:] == ["none", "not_sure"]
    assert reply.text.endswith("Pick all that fit.")


@pytest.mark.parametrize("said", ["1, 3", "1 and 3", "A C", "(1) 3.", "a, c", "1+3", "number 1 and number 3"])
def test_numbers_and_letters_pick_several(talk, said):
    first, _, third = listed(talk)[:3]

    talk.say(said)

    facts = talk.definitions.families["disc_drive"].questions["noticed"]
    sets = {choice.id: choice.sets for choice in facts.choices}
    for choice in (first, third):
        for fact, value in sets[choice].items():
            assert (talk.value(fact), talk.status(fact)) == (value, "confirmed")


def test_labels_pick_several_and_what_is_left_is_held_as_heard(talk):
    labels = [choice.label for choice in talk.turn.replies[-1].choices]
    talk.say(f"{labels[1]}, {labels[2].lower()}")

    assert {(line.status, line.source) for line in talk.turn.heard} == {
        ("confirmed", "tap"),
        ("heard", "unpicked"),
        ("not_known", "unpicked"),  # neither "CDs play" nor "CDs fail": that says nothing
    }


@pytest.mark.parametrize("said", ["none", "none of these", "no", "nothing", "👎"])
def test_none_says_no_to_each(talk, said):
    talk.say(said)

    assert talk.turn.heard
    classes = [line for line in talk.turn.heard if line.fact.endswith("_result")]
    others = [line for line in talk.turn.heard if line not in classes]
    assert {(line.status, line.source) for line in others} == {("heard", "unpicked")}
    assert {(line.status, line.value, line.source) for line in classes} == {("not_known", None, "unpicked")}
    assert {talk.conversation.facts[line.fact].certainty for line in others} == {0.95}
    assert not {"yes", "grinding", "clicking"} & {str(line.value) for line in talk.turn.heard}


def test_not_sure_and_skip_leave_only_the_listed_facts_open(talk):
    before = set(talk.conversation.facts)
    count = len(listed(talk)) - 2

    talk.say("not sure")

    fresh = set(talk.conversation.facts) - before
    assert 0 < len(fresh) <= count
    assert {talk.status(fact) for fact in fresh} == {"not_known"}


def test_own_words_answer_a_list_too(definitions):
    talk = ready(definitions, ASKS)
    while "clicking" not in listed(talk):
        talk.say("none")

    talk.say("it clicks")

    assert (talk.value("noise"), talk.turn.asked) != (None, "noise")
    assert talk.value("noise") == "clicking"


@pytest.mark.parametrize("mask", range(64))
def test_picking_and_going_back_leaves_the_facts_as_before(definitions, mask):
    """Every subset of the six choices listed (bit k of `mask`: choice k is picked)."""
    talk = ready(definitions, ASKS)
    before, items = held(talk), listed(talk)
    chosen = [item for place, item in enumerate(items[:-2]) if mask >> place & 1]

    talk.tap(f"noticed:{'+'.join(chosen) or 'none'}")
    talk.say("back")

    assert held(talk) == before
    assert (talk.turn.asked, listed(talk)) == ("noticed", items)


def test_a_list_answered_is_not_listed_again(talk):
    first = set(listed(talk)) - {"none", "not_sure"}
    talk.tap("noticed:none")

    assert talk.turn.asked == "noticed"
    assert not first & set(listed(talk))


def test_what_was_not_listed_cannot_be_picked(talk):
    before = dict(talk.conversation.facts)

    talk.tap("noticed:made_up+none")

    assert dict(talk.conversation.facts) == before
    assert talk.turn.asked == "noticed"


def test_a_reading_in_doubt_is_a_line_of_the_next_list_and_no_question_of_its_own(definitions):
    talk = ready(definitions, ASKS)
    doubted = (Proposal("rattles", "yes", 0.4, "a bit of a rattle"),)
    talk.turns.append(replace(talk.turn, conversation=replace(talk.conversation, proposals=doubted)))

    talk.tap("noticed:none")

    assert "rattles" in listed(talk)
    talk.tap("noticed:none")
    assert (talk.value("rattles"), talk.conversation.proposals) == ("no", ())


def test_a_pick_that_was_said_with_it_is_taken(definitions):
    """On the web the safety list is ticked before the first words are read: "opened" may be known by then."""
    talk = Talk(definitions, text="My brother opened my CD player, it skips.")
    assert talk.turn.asked == "hazards"
    assert "opened" not in listed(talk)

    talk.tap("hazards:opened")

    assert talk.value("opened") == "friend"
    assert talk.turn.asked != "hazards"
    assert {talk.conversation.facts[hazard].source for hazard in HAZARDS} == {"unpicked"}


def test_the_list_before_the_estimate_names_at_most_ten_lines_and_those_worth_listing_again(definitions):
    talk = ready(definitions, replace(ASKS, items=("scratches", "bit_by_bit")))
    while talk.turn.asked == "noticed":
        talk.tap("noticed:none")

    line = next(c.label for c in talk.turn.replies[-1].choices if c.value == "unpicked:noticed")
    assert line.count(";") == 9
    assert "It scratches discs" in line
    assert "It got worse bit by bit" in line


HAZARDS = ("smoke_or_smell", "liquid_inside", "battery_swollen", "electric_shock")


def test_a_hazard_that_was_not_picked_is_asked_about_on_the_recap_and_the_estimate_waits_for_it(definitions):
    talk = Talk(definitions, SetAssessor())
    talk.say("my dvd player keeps skipping")

    talk.tap("hazards:opened")

    assert talk.value("opened") == "someone"
    assert {talk.status(fact) for fact in HAZARDS} == {"heard"}
    while talk.conversation.pending.kind == "question":
        talk.say("not sure")
    assert talk.conversation.pending.kind == "recap"
    assert "unpicked:hazards" in listed_values(talk)

    talk.tap("recap:all_right")

    assert {(talk.value(fact), talk.status(fact)) for fact in HAZARDS} == {("no", "confirmed")}
    assert talk.conversation.phase == "estimated"


def test_a_hazard_found_on_the_recap_stops_everything(definitions):
    talk = Talk(definitions, SetAssessor())
    talk.say("my dvd player keeps skipping")
    talk.tap("hazards:opened")
    while talk.conversation.pending.kind == "question":
        talk.say("not sure")

    talk.tap("unpicked:hazards")
    assert talk.turn.asked == "hazards"
    assert not set(HAZARDS) & set(talk.conversation.facts)
    talk.tap("hazards:liquid")

    assert talk.kinds == ["safety"]
    assert talk.conversation.floor == "person"


def test_what_was_not_picked_stands_in_one_line_and_can_be_picked_after_all(talk):
    first, second = listed(talk)[:2]
    talk.tap(f"noticed:{first}")
    while talk.conversation.pending.kind == "question":
        talk.tap(f"{talk.turn.asked}:none") if talk.turn.replies[-1].several else talk.say("not sure")
    if talk.conversation.pending.kind != "recap":
        talk.tap("show_recap")
    assert "unpicked:noticed" in listed_values(talk)

    talk.tap("unpicked:noticed")
    assert talk.turn.asked == "noticed"
    assert second in listed(talk)
    assert first not in listed(talk)
    talk.tap(f"noticed:{second}")

    choices = {
        choice.id: choice for choice in talk.definitions.families["disc_drive"].questions["noticed"].choices
    }
    for fact, value in choices[second].sets.items():
        assert (talk.value(fact), talk.status(fact)) == (value, "confirmed")


def test_what_was_not_picked_gives_way_to_words_and_nothing_is_called_changed(talk):
    talk.tap(f"noticed:{listed(talk)[0]}")
    left = [fact for fact, entry in talk.conversation.facts.items() if entry.source == "unpicked"]
    assert "intermittent_read" in left

    talk.say("it reads discs only now and then")

    assert talk.value("intermittent_read") == "yes"
    assert "Changed" not in talk.said


def test_what_goes_out_with_the_estimate_fits_into_messages_of_320_characters(definitions):
    talk = Talk(definitions, ASKS)
    talk.say("dvd player")
    talk.tap("hazards:none")
    while talk.conversation.pending.kind == "question":
        reply = talk.turn.replies[-1]
        talk.tap(reply.choices[0].value)
    if talk.conversation.pending.kind == "recap":
        talk.tap("recap:all_right")

    assert talk.conversation.phase == "estimated"
    assert max(len(reply.text) for turn in talk.turns for reply in turn.replies) <= 320


def listed_values(talk: Talk) -> list[str]:
    return [choice.value for choice in talk.turn.replies[-1].choices]


def test_a_picked_hazard_stops_everything(definitions):
    talk = Talk(definitions, SetAssessor())
    talk.say("my dvd player keeps skipping")

    talk.say("1 and 5")

    assert talk.kinds == ["safety"]
    assert talk.conversation.floor == "person"


def test_saying_who_opened_it_does_not_answer_the_safety_list(definitions):
    talk = Talk(definitions, SetAssessor())
    talk.say("my dvd player keeps skipping")

    talk.say("a shop opened it")

    assert talk.value("opened") == "shop"
    assert talk.turn.asked == "hazards"


def test_price_that_hangs_on_what_was_not_picked_waits_for_the_recap(definitions):
    talk = Talk(definitions, SetAssessor())
    for value in ("device_group:computer", "hazards:none", "symptom:skipping"):
        talk.tap(value)

    # nobody opened it: said by picking none, so it is confirmed and nothing waits
    assert (talk.status("opened"), talk.conversation.phase) == ("confirmed", "estimated")


@pytest.mark.parametrize("locale", ["en", "de"])
def test_a_list_by_sms_is_one_part_and_says_how_to_answer(definitions, locale):
    talk = Talk(definitions, ASKS, channel="sms", locale=locale)
    talk.say({"en": "my dvd player skips", "de": "mein DVD-Player springt"}[locale])
    for said in ("none", "none", "none"):
        if talk.turn.asked in ("hazards", "noticed"):
            reply = talk.turn.replies[-1]
            assert sms_parts(sms_text(reply)) == 1
            assert "1 3" in reply.text
            talk.say({"en": said, "de": "nichts davon"}[locale])


def test_a_list_in_a_terminal_numbers_its_choices(definitions):
    talk = ready(definitions, ASKS, channel="terminal")

    text = plain_text(talk.turn.replies[-1])

    assert "Send all numbers that fit, such as 1 3." in text
    assert "\n1  " in text


def test_an_open_list_survives_a_pause_a_change_of_language_and_json(talk):
    items = listed(talk)

    talk.say("pause")
    talk.say("go on")
    talk.say("auf Deutsch bitte")

    assert (talk.turn.asked, listed(talk)) == ("noticed", items)
    talk.tap(f"noticed:{items[0]}")
    assert talk.turn.heard
