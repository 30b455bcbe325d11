"""Contact comes last, in one message or on the form, and is read back once because an address matters."""

from __future__ import annotations

import pytest

from intakebot.conversation import EstimateDecided, FactsEntered
from tests.conversation.doubles import SetAssessor, ready


@pytest.fixture
def talk(definitions):
    talk = ready(
        definitions,
        SetAssessor(),
        links={"form": "https://example.com/f", "packing": "https://example.com/p"},
    )
    talk.say("yes")
    talk.send(EstimateDecided("d1", "accepted"))
    return talk


def test_contact_is_asked_after_the_yes_and_never_before(talk):
    assert [turn.asked for turn in talk.turns if turn.asked == "contact"] == []
    assert talk.kinds == ["contact"]
    assert "https://example.com/f" in talk.said


@pytest.mark.parametrize(
    ("message", "name", "reach", "address"),
    [
        pytest.param("Ann Example, ann@example.com, 12 Harbour Lane, Exampletown EX1 2MP", "Ann Example", ("email", "ann@example.com"), "12 Harbour Lane, Exampletown EX1 2MP", id="commas"),
        pytest.param("My name is Ben Sample\n+44 1632 960123\n3 Mill Road\nExampletown", "Ben Sample", ("phone", "+44 1632 960123"), "3 Mill Road, Exampletown", id="lines-and-a-phone"),
        pytest.param("Name: Cleo Test; e-mail: cleo@example.com; Address: Flat 2, 9 High Street, Exampletown", "Cleo Test", ("email", "cleo@example.com"), "Flat 2, 9 High Street, Exampletown", id="labels"),
    ],
)  # fmt: skip
def test_name_reach_and_address_are_read_from_one_message_and_read_back(talk, message, name, reach, address):
    talk.say(message)

    assert (talk.value("name"), talk.value(reach[0]), talk.value("address")) == (name, reach[1], address)
    assert talk.kinds == ["confirm"]
    assert name in talk.said
    talk.say("yes")
    assert talk.status("address") == "confirmed"
    assert "https://example.com/p" in talk.said


def test_no_to_the_reading_asks_once_more_and_keeps_nothing(talk):
    talk.say("Ann Example, ann@example.com, 12 Harbour Lane")

    talk.say("no")

    assert talk.kinds == ["contact"]
    assert "address" not in talk.conversation.facts


def test_what_is_missing_is_named(talk):
    talk.say("ann@example.com")
    talk.say("yes")

    assert "I still need: " in talk.said
    assert "E-mail" not in talk.said


def test_a_street_name_is_no_symptom(talk):
    before = set(talk.conversation.facts)

    talk.say("Ann Grinding, ann@example.com, 12 Scratch Disc Lane, Skipton")

    assert set(talk.conversation.facts) - before == {"name", "email", "address"}


def test_the_form_can_give_contact_at_any_time_and_is_not_asked_again(talk):
    talk.send(
        FactsEntered(
            "f1",
            {
                "name": "Ann Example",
                "email": "ann@example.com",
                "address": "12 Harbour Lane",
                "postcode": "EX1 2MP",
                "country": "GB",
            },
        )
    )

    assert "https://example.com/p" in talk.said


def test_a_declined_estimate_closes_without_cost(definitions):
    talk = ready(definitions, SetAssessor())
    talk.say("yes")

    talk.send(EstimateDecided("d1", "declined"))

    assert talk.conversation.phase == "declined"
    assert "It costs you nothing." in talk.said


def test_an_expired_estimate_is_made_anew(definitions):
    talk = ready(definitions, SetAssessor())
    talk.say("yes")

    talk.send(EstimateDecided("d1", "expired"))

    assert talk.effects == ["MakeEstimate"]
    assert talk.turn.effects[0].revises
