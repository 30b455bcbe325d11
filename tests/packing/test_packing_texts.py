"""The words customers read: short, plain, in an alphabet that fits a text message, the same in both languages.

Sources: GSM 7-bit default alphabet, 3GPP TS 23.038; Flesch-Kincaid grade, Kincaid et al. 1975 (from memory), with a rough
syllable count; what must never be asked of a customer: common practice and the safety sources named in the cautions.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import yaml

from intakebot.definitions import Definitions
from intakebot.definitions.texts import PLACEHOLDER, flatten

COMMON = Path(__file__).parents[2] / "flows" / "common" / "texts"
GSM = set(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§"
    "¿abcdefghijklmnopqrstuvwxyzäöñüà"
)


def texts(locale: str, name: str = "packing") -> dict[str, str]:
    flat = flatten(yaml.safe_load((COMMON / locale / f"{name}.yaml").read_text(encoding="utf-8")))
    return {key: text for key, text in flat.items() if isinstance(text, str)}


def sentences(text: str) -> list[str]:
    return [part for part in re.split(r"(?<=[.!?:])\s+", PLACEHOLDER.sub("30", text)) if part.strip()]


def syllables(word: str) -> int:
    """Groups of vowels, a silent last e left out; at least one."""
    groups = len(re.findall(r"[aeiouy]+", word.lower()))
    silent = word.lower().endswith("e") and not word.lower().endswith(("le", "ee")) and groups > 1
    return max(groups - silent, 1)


def grade(text: str) -> float:
    """Flesch-Kincaid grade: 0.39 words per sentence + 11.8 syllables per word - 15.59."""
    words = re.findall(r"[A-Za-z']+", PLACEHOLDER.sub("it", text))
    return 0.39 * len(words) / len(sentences(text)) + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


def test_the_grade_formula_on_a_known_sentence() -> None:
    # "The cat sat on the mat." has 6 words, 1 sentence, 6 syllables: .39 * 6 + 11.8 * 1 - 15.59 = -1.45
    assert round(grade("The cat sat on the mat."), 2) == -1.45


def test_english_packing_texts_are_at_grade_six_or_below() -> None:
    together = " ".join(
        text if text.endswith((".", "?", "!")) else f"{text}." for text in texts("en").values()
    )

    assert grade(together) <= 6


@pytest.mark.parametrize("name", ["packing", "documents"])
def test_no_paragraph_alone_is_above_grade_six(name: str) -> None:
    long = {key: text for key, text in texts("en", name).items() if len(text.split()) >= 10}

    assert {key: round(grade(text), 1) for key, text in long.items() if grade(text) > 6} == {}


@pytest.mark.parametrize("locale", ["en", "de"])
def test_sentences_are_short(locale: str) -> None:
    long = [
        sentence
        for text in texts(locale).values()
        for sentence in sentences(text)
        if len(sentence.split()) > 20
    ]

    assert long == []


@pytest.mark.parametrize("locale", ["en", "de"])
@pytest.mark.parametrize("name", ["packing", "documents"])
def test_texts_keep_to_the_alphabet_of_text_messages(locale: str, name: str) -> None:
    outside = {
        key: sorted(set(PLACEHOLDER.sub("", text)) - GSM)
        for key, text in texts(locale, name).items()
        if set(PLACEHOLDER.sub("", text)) - GSM
    }

    assert outside == {}


@pytest.mark.parametrize("name", ["packing", "documents"])
def test_both_languages_have_the_same_keys_and_placeholders(name: str) -> None:
    english, german = texts("en", name), texts("de", name)

    assert {key: sorted(PLACEHOLDER.findall(text)) for key, text in english.items()} == {
        key: sorted(PLACEHOLDER.findall(text)) for key, text in german.items()
    }


NEVER = {
    "en": r"\bopen (it|the device|the lid)\b|\bunscrew|\bscrewdriver|\bturn it on to\b|\bpower it up\b|\brice\b|\bhair ?dryer",
    "de": r"\böffnen Sie das Gerät|\bschrauben Sie|\bSchraubenzieher|\bschalten Sie es ein\b|\bReis\b|\bFöhn",
}


@pytest.mark.parametrize("locale", ["en", "de"])
@pytest.mark.parametrize("name", ["packing", "documents"])
def test_customers_are_never_told_to_open_force_or_power(locale: str, name: str) -> None:
    """Every sentence with such words forbids or comes before it (`do not open`, `before you turn it on`)."""
    told = [
        sentence
        for text in texts(locale, name).values()
        for sentence in sentences(text)
        if re.search(NEVER[locale], sentence, re.IGNORECASE)
        and not re.search(r"\b(do not|never|before|nicht|nie|bevor)\b", sentence, re.IGNORECASE)
    ]

    assert told == []


@pytest.mark.parametrize(
    ("locale", "bad"),
    [
        ("en", "Open it and look."),
        ("en", "Turn it on to see."),
        ("de", "Öffnen Sie das Gerät."),
        ("de", "Legen Sie es in Reis."),
    ],
)
def test_the_rule_above_would_find_such_a_sentence(locale: str, bad: str) -> None:
    assert re.search(NEVER[locale], bad, re.IGNORECASE)


@pytest.mark.parametrize("locale", ["en", "de"])
def test_the_stuck_disc_text_forbids_force(locale: str) -> None:
    leave = texts(locale)["packing.disc.leave"]

    assert all(
        word in leave
        for word in {"en": ["not pull", "pry", "shake"], "de": ["Nicht ziehen", "hebeln"]}[locale]
    )


@pytest.mark.parametrize("locale", ["en", "de"])
def test_local_rules_come_first_in_the_footer(locale: str) -> None:
    footer = texts(locale)["packing.footer"]

    assert {"en": "Local law and your carrier's own rules come first", "de": "gehen vor"}[locale] in footer


def test_the_cautions_customers_read_are_at_grade_six_or_below(definitions: Definitions) -> None:
    family = definitions.families["disc_drive"]
    said = {
        caution: str(family.texts["en"].get(f"caution.{caution}.customer", ""))
        for caution in family.cautions
        if f"caution.{caution}.customer" in family.texts["en"]
    }

    assert len(said) > 10
    assert {caution: round(grade(text), 1) for caution, text in said.items() if grade(text) > 6} == {}
