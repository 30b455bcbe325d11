"""Opt-outs are recognised, and words about the device are not taken for one (47 CFR 64.1200(a)(10), 2025)."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import yaml

from intakebot.conversation.controls import compile_words, control_of

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
STILL_MISSED = ["Your messages wake the baby. Stop them please, for good."]
"""What is to stop is said a sentence earlier."""


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

    assert (len(OPENED), wrong) == (640, STILL_MISSED)


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
