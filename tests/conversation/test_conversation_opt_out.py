"""Opt-outs are recognised, and words about the device are not taken for one (47 CFR 64.1200(a)(10), 2025)."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

import pytest
import yaml

from intakebot.conversation.controls import compile_words, control_of
from intakebot.conversation.leanings import WORTH_ASKING, leanings
from tests.conversation.doubles import Talk

SENTENCES = yaml.safe_load(Path(__file__).with_name("opt_out_sentences.yaml").read_text(encoding="utf-8"))


OPENED = [
    json.loads(line)
    for line in Path(__file__).with_name("opt_out_opened.jsonl").read_text(encoding="utf-8").splitlines()
]
"""640 messages by other hands, in three batches, each scored once while unseen: opt-outs missed, others taken for one.

| batch | opt-outs | others | the closed vocabulary before | the patterns of then |
|---|---|---|---|---|
| 1 | 120 | 120 | 46, 0 | |
| 2 | 100 | 100 | 52, 0 | 12, 1, written with batch 1 open |
| 3 | 100 | 100 | | 11, 0, written with batches 1 and 2 open |

Then the last one was opened too. So about one unusual wording in ten of a new batch is still to be expected missed.
"""
WISHES = [
    json.loads(line)
    for line in Path(__file__).with_name("wishes_opened.jsonl").read_text(encoding="utf-8").splitlines()
]
"""Two batches by another hand, told to vary the wording as much as it could, and 170 sentences by the hand that wrote the code. Each
batch was scored once while unseen. Of 295 English opt-outs the patterns alone missed 119; the leanings were then fitted to these. Of what
came next, patterns and leanings together: of 90 German opt-outs 35 followed, 18 asked about, 37 missed; of 115 English wishes for a
person 41, 39 and 35, of 50 German ones 16, 20 and 14; of 450 others 7 taken for an opt-out, 35 asked about. All are opened and fitted
to now: how far that carries is told by the cross-validation of `fit_leanings.py`, not by these tests.
"""


def _stops(definitions, sentence):
    control = control_of(sentence, compile_words(definitions))
    return control is not None and control.name == "stop"


def test_there_are_two_hundred_labelled_sentences():
    assert len(SENTENCES["opt_out"]) + len(SENTENCES["not_opt_out"]) == 200
    assert not set(SENTENCES["opt_out"]) & set(SENTENCES["not_opt_out"])


def test_no_opt_out_is_missed(definitions):
    missed = [sentence for sentence in SENTENCES["opt_out"] if not _stops(definitions, sentence)]

    assert missed == []


def test_at_most_one_other_sentence_is_taken_for_an_opt_out(definitions):
    false = [sentence for sentence in SENTENCES["not_opt_out"] if _stops(definitions, sentence)]

    assert len(false) <= 1, false


def test_messages_by_another_hand_are_told_apart(definitions):
    wrong = [each["text"] for each in OPENED if _stops(definitions, each["text"]) != each["optout"]]

    assert (len(OPENED), wrong) == (640, [])


@pytest.mark.parametrize(("kind", "wish"), [("optout", "stop"), ("person", "person")])
def test_a_wish_is_followed_or_asked_about(definitions, kind, wish):
    texts = [each["text"] for each in WISHES if each["kind"] == kind]
    overheard = [text for text in texts if not _followed(definitions, text, wish) and not _asked(text, wish)]

    assert len(overheard) <= len(texts) // 100, overheard


def test_what_only_looks_like_a_wish_is_not_followed(definitions):
    texts = [each["text"] for each in WISHES if each["kind"] == "none"]
    taken = [text for text in texts if any(_followed(definitions, text, wish) for wish in ("stop", "person"))]

    assert taken == []


def _followed(definitions, text, wish):
    control = control_of(text, compile_words(definitions))
    return control is not None and control.name == wish


def _asked(text, wish):
    return leanings(text)[wish] >= WORTH_ASKING


LEANS = "I believe I have had quite enough of hearing from your little shop"


def test_a_message_that_seems_to_be_an_opt_out_is_asked_about_and_a_yes_is_one(definitions):
    talk = Talk(definitions, text="my dvd player skips", channel="sms")
    open_question = talk.turn.asked
    assert leanings(LEANS)["stop"] >= WORTH_ASKING
    assert not _followed(definitions, LEANS, "stop")

    talk.say(LEANS)
    assert talk.texts == ["Shall we stop writing to you?"]
    talk.say("yes")

    assert "OptOut" in talk.effects
    assert talk.conversation.consent == "opted_out"
    talk.say("start")
    assert talk.turn.asked == open_question


def test_after_a_no_the_talk_goes_on_where_it_was(definitions):
    talk = Talk(definitions, text="my dvd player skips", channel="sms")
    open_question = talk.turn.asked

    talk.say(LEANS)
    talk.say("no")

    assert (talk.conversation.consent, talk.turn.asked) == ("allowed", open_question)


@pytest.mark.parametrize(
    "said", ["I want a real person", "is there anybody there who isnt a machine", "Ist da jemand Echtes?"]
)
def test_a_person_comes_in_whatever_words_one_is_asked_for(definitions, said):
    talk = Talk(definitions, text="my dvd player skips")

    talk.say(said)
    if "HandOff" not in talk.effects:
        assert talk.conversation.pending.kind == "confirm_person"
        talk.say("yes")

    assert "HandOff" in talk.effects
    assert talk.conversation.floor == "person"


def test_the_weights_are_fitted_to_these_sentences():
    shipped = json.loads((files("intakebot.conversation") / "leanings.json").read_text(encoding="utf-8"))

    assert f"{len(OPENED) + len(WISHES)} labelled sentences" in shipped["source"]


@pytest.mark.parametrize(
    "sentence", ["sotp", "stooop", "STPO please", "unsubcribe", "Stopp!\nSent from my phone"]
)
def test_misspelt_words_and_signatures_are_seen_through(definitions, sentence):
    assert _stops(definitions, sentence)


@pytest.mark.parametrize(
    "sentence",
    [
        "spot",
        "shop",
        "top",
        "step",
        "resubscribe",
        "quiet",
        "Stop. Before you ship it, I forgot the remote",
        "it just quit",
    ],
)
def test_words_that_look_like_one_are_content(definitions, sentence):
    assert not _stops(definitions, sentence)


@pytest.mark.parametrize(
    "sentence",
    ["stopp", "keine Nachrichten mehr", "Hör auf mir zu schreiben", "Bitte schreiben Sie mir nicht mehr"],
)
def test_german_opt_outs_count_too(definitions, sentence):
    assert _stops(definitions, sentence)


@pytest.mark.parametrize(
    "sentence", ["es hört nicht auf zu drehen", "am Ende der Disc hängt es", "die Stopptaste geht nicht"]
)
def test_german_words_about_the_device_are_no_opt_out(definitions, sentence):
    assert not _stops(definitions, sentence)
