"""A linter over all texts of flows/: what can be measured about plain wording.

Messages of the talk (keys `talk.*`, `question.*` and the estimate's lines) must be short and easy: a reading grade of 6 on average and 8
at most, 15 words a sentence, one question, 320 characters, one SMS part in the GSM alphabet with their choices. Choices have
at most 25 characters. No text blames the owner or another shop, no text is missing in a language, and both languages have
the same placeholders.

Reading grade: Flesch and Kincaid for English (Kincaid et al. 1975: 0.39 words/sentence + 11.8 syllables/word - 15.59), the
first Vienna formula for German (Bamberger and Vanecek 1984: 0.1935 MS + 0.1672 SL + 0.1297 IW - 0.0327 ES - 0.875, with
MS percent of words of three and more syllables, SL words a sentence, IW percent of words of more than six letters, ES
percent of one-syllable words); both from memory. Syllables are counted by rule, right to within a few percent.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from statistics import mean

from intakebot.conversation.rendering import GSM_BASIC, GSM_EXTENSION, gsm_text, sms_parts
from intakebot.definitions.model import Definitions, Family, Question
from intakebot.definitions.texts import PLACEHOLDER, Texts, fill
from intakebot.definitions.values import options_of

AVERAGE_GRADE = 6.0
HIGHEST_GRADE = 8.0
MOST_WORDS = 15
MOST_CHARACTERS = 320
MOST_LABEL_CHARACTERS = 25
MOST_CHOICES = 5
TALK_PREFIXES = ("talk.", "question.")
LONG_ON_SMS = ("talk.opener", "talk.opener_form")
"""Texts that SMS never gets (it has its own opener) or gets as a link."""
NOT_SPOKEN = (
    "control.",
    "talk.choice.",
    "talk.language_name.",
    "talk.thing",
    "talk.unknown_value",
    "talk.declined_value",
)

BLAME: Mapping[str, tuple[str, ...]] = {
    "en": (
        r"your fault", r"you (?:should|must) (?:not )?have", r"you failed", r"you broke", r"you caused", r"botched", r"careless",
        r"carelessly", r"sloppy", r"incompetent", r"bad job", r"poor job", r"wrongly", r"amateur", r"ruined",
        r"tampered", r"abused?", r"misused?", r"you did not listen", r"as i said", r"obviously", r"you need to understand",
        r"another shop's (?:mistake|fault)", r"they should have", r"shoddy", r"bodged?", r"your mistake",
    ),
    "de": (
        r"ihre schuld", r"selbst schuld", r"sie hätten .*(?:sollen|müssen)", r"pfusch\w*", r"fahrlässig", r"schlampig",
        r"unfähig", r"leichtsinnig", r"kaputt ?gemacht", r"verpfuscht", r"offensichtlich", r"wie gesagt", r"ihr fehler",
        r"laienhaft", r"unsachgemäß", r"dilettant\w*",
    ),
}  # fmt: skip
SAMPLES = {
    "count": "7", "low": "£60.00", "high": "£120.00", "maximum": "£140.00", "hours": "Mon-Fri 9-17",
    "things": "Device: console with slot", "label": "Opened before by", "value": "a shop", "form": "example.com/f/1",
    "packing": "example.com/p/1", "estimate": "example.com/e/1", "part": "drive board", "language": "German", "device": "console",
}  # fmt: skip
_SENTENCE = re.compile(r"[.!?:]+(?:\s+|$)|\n+")
_WORD = re.compile(r"[^\W\d_]+(?:['’-][^\W\d_]+)*")


@dataclass(frozen=True)
class Remark:
    """One finding of the linter."""

    locale: str
    key: str
    rule: str
    found: str

    def __str__(self) -> str:
        return f"{self.locale}: {self.key}: {self.rule}: {self.found}"


def lint(definitions: Definitions) -> list[Remark]:
    """Every remark about every text, sorted by language and key."""
    remarks: list[Remark] = []
    for texts, keys in _folders(definitions):
        for text_key, wordings in keys:
            for wording in wordings:
                remarks.extend(_lint_text(texts, text_key, wording, definitions))
    for locale in definitions.locales:
        grades = [grade(text, locale) for _, text in talk_texts(definitions, locale)]
        if grades and mean(grades) > AVERAGE_GRADE:
            remarks.append(Remark(locale, "talk and questions", "average grade", f"{mean(grades):.1f}"))
    for family in definitions.families.values():
        remarks.extend(_lint_questions(definitions, family))
    remarks.extend(_lint_pairs(definitions))
    return sorted(remarks, key=lambda remark: (remark.locale, remark.key, remark.rule))


def talk_texts(definitions: Definitions, locale: str) -> list[tuple[str, str]]:
    """(key, text with sample values) of every sentence the talk can say in a language."""
    return [
        (text_key, with_samples(wording, definitions))
        for texts, keys in _folders(definitions)
        if texts.locale == locale
        for text_key, wordings in keys
        if text_key.startswith(TALK_PREFIXES) and not text_key.startswith(NOT_SPOKEN)
        for wording in wordings
    ]


def with_samples(text: str, definitions: Definitions) -> str:
    shop = definitions.pricing.shop
    return fill(text, {**SAMPLES, "shop": shop.name, "phone": shop.phone})


def grade(text: str, locale: str) -> float:
    """Reading grade of a text (school years, not below 0); 0 for a text without words."""
    sentences = [part for part in _SENTENCE.split(text) if _WORD.search(part)]
    words = _WORD.findall(text)
    if not words:
        return 0.0
    syllables = [syllable_count(word, locale) for word in words]
    per_sentence = len(words) / len(sentences)
    if locale == "de":
        long_words = 100 * sum(count >= 3 for count in syllables) / len(words)
        many_letters = 100 * sum(len(word) > 6 for word in words) / len(words)
        short_words = 100 * sum(count == 1 for count in syllables) / len(words)
        return max(
            0.0,
            0.1935 * long_words
            + 0.1672 * per_sentence
            + 0.1297 * many_letters
            - 0.0327 * short_words
            - 0.875,
        )
    return max(0.0, 0.39 * per_sentence + 11.8 * sum(syllables) / len(words) - 15.59)


def syllable_count(word: str, locale: str) -> int:
    """Vowel groups, without the silent e's of English; at least 1."""
    low = word.casefold()
    if locale == "de":
        return max(1, len(re.findall(r"ie|ei|ai|au|eu|äu|aa|ee|oo|[aeiouyäöü]", low)))
    count = len(re.findall(r"[aeiou]+y?(?![aeiou])|[aeiou]+|y(?![aeiou])", low))
    if re.search(r"[^aeiouy]e$", low) and not re.search(r"[^aeiouy]le$", low) and count > 1:
        count -= 1
    if re.search(r"[^aeioutd]ed$", low) and count > 1:
        count -= 1
    if re.search(r"[^aeiouysxzgc]es$", low) and count > 1:
        count -= 1
    return max(1, count)


def _folders(definitions: Definitions) -> Iterator[tuple[Texts, list[tuple[str, tuple[str, ...]]]]]:
    for locale in definitions.locales:
        yield Texts(definitions, None, locale), _tuples(definitions.core_texts.get(locale, {}))
        for family in definitions.families.values():
            yield Texts(definitions, family.id, locale), _tuples(family.texts.get(locale, {}))


def _tuples(texts: Mapping[str, str | tuple[str, ...]]) -> list[tuple[str, tuple[str, ...]]]:
    return [
        (text_key, (text,) if isinstance(text, str) else tuple(text))
        for text_key, text in sorted(texts.items())
    ]


def _lint_text(texts: Texts, text_key: str, wording: str, definitions: Definitions) -> Iterator[Remark]:
    if text_key.startswith("control."):
        return
    locale = texts.locale
    for pattern in BLAME.get(locale, ()):
        found = re.search(rf"\b(?:{pattern})\b", wording.casefold())
        if found:
            yield Remark(locale, text_key, "blames", found.group())
    if text_key.startswith(("choice.", "talk.choice.")) and len(wording) > MOST_LABEL_CHARACTERS:
        yield Remark(locale, text_key, "longer than 25 characters", wording)
    if not text_key.startswith(TALK_PREFIXES) or text_key.startswith(NOT_SPOKEN):
        return
    text = with_samples(wording, definitions)
    if len(text) > MOST_CHARACTERS:
        yield Remark(locale, text_key, "longer than 320 characters", str(len(text)))
    if text.count("?") > 1 and text_key != "talk.recap":
        yield Remark(locale, text_key, "more than one question", text)
    level = grade(text, locale)
    if level > HIGHEST_GRADE and len(_WORD.findall(text)) >= 8:
        yield Remark(locale, text_key, "grade above 8", f"{level:.1f} {text}")
    for sentence in _SENTENCE.split(text):
        if len(_WORD.findall(sentence)) > MOST_WORDS:
            yield Remark(locale, text_key, "sentence longer than 15 words", sentence)
    outside = sorted({c for c in gsm_text(text) if c not in GSM_BASIC + GSM_EXTENSION})
    if outside:
        yield Remark(locale, text_key, "not in the GSM alphabet", "".join(outside))
    if text_key not in LONG_ON_SMS and sms_parts(gsm_text(text)) > 1:
        yield Remark(locale, text_key, "more than one SMS part", f"{len(text)} {text}")


def _lint_questions(definitions: Definitions, family: Family) -> Iterator[Remark]:
    """Each triage and safety question with its first page of choices fits one SMS."""
    for locale in definitions.locales:
        texts = Texts(definitions, family.id, locale)
        for question in family.questions.values():
            if question.tier == "logistics":
                continue
            labels = [texts.say(f"choice.{question.id}.{choice.id}") for choice in question.choices]
            if question.several:
                yield from _lint_list(texts, question, labels)
                continue
            if not labels and len(question.fills) == 1:
                fact = family.facts[question.fills[0]]
                labels = [texts.option(fact, option) for option in options_of(fact)]
            if not labels or len(labels) < MOST_CHOICES:
                labels.append(texts.say("talk.choice.not_sure"))
            shown = " ".join(f"{n} {label}" for n, label in enumerate(labels[:MOST_CHOICES], start=1))
            for wording in range(texts.wordings(f"question.{question.id}")):
                sms = gsm_text(f"{texts.say(f'question.{question.id}', wording)}\n{shown}")
                if sms_parts(sms) > 1:
                    yield Remark(
                        locale,
                        f"question.{question.id}",
                        "with its choices more than one SMS part",
                        f"{len(sms)} {sms}",
                    )


def _lint_list(texts: Texts, question: Question, labels: list[str]) -> Iterator[Remark]:
    """A checklist with its hint and "none of these" fits one SMS: a safety list whole, another one with its two longest choices
    at least (the talk lists there as many as fit)."""
    if question.tier != "safety":
        labels = sorted(labels, key=len)[-2:]
    shown = " ".join(
        f"{n} {label}" for n, label in enumerate([*labels, texts.say("talk.choice.none")], start=1)
    )
    for wording in range(texts.wordings(f"question.{question.id}")):
        asked = f"{texts.say(f'question.{question.id}', wording)} {texts.say('talk.pick_numbers_sms')}"
        sms = gsm_text(f"{asked}\n{shown}")
        if sms_parts(sms) > 1:
            yield Remark(
                texts.locale,
                f"question.{question.id}",
                "with its choices more than one SMS part",
                f"{len(sms)} {sms}",
            )


def _lint_pairs(definitions: Definitions) -> Iterator[Remark]:
    """Every key in every language, with the same placeholders."""
    groups = [definitions.core_texts, *(family.texts for family in definitions.families.values())]
    for group in groups:
        every = sorted(set().union(*(group.get(locale, {}) for locale in definitions.locales)))
        for text_key in every:
            if text_key.startswith("control."):
                continue
            held = {locale: group.get(locale, {}).get(text_key) for locale in definitions.locales}
            for locale, text in held.items():
                if text is None:
                    yield Remark(locale, text_key, "missing", "no text")
            names = {locale: _placeholders(text) for locale, text in held.items() if text is not None}
            if len(set(names.values())) > 1:
                yield Remark(
                    "all", text_key, "placeholders differ", str({k: sorted(v) for k, v in names.items()})
                )


def _placeholders(text: str | tuple[str, ...]) -> frozenset[str]:
    whole = text if isinstance(text, str) else " ".join(text)
    return frozenset(PLACEHOLDER.findall(whole))
