"""Answers in people's own words, each read with its question pending.

answers_own_<locale>.txt were written before the wordings in flows/disc_drive/answers/ and are split by a hash into a half
that was looked at while those were made and a half that was only ever counted. answers_more_<locale>.txt came after the
wordings and were all looked at. All are development answers by the hand that made the wordings: they show that nothing
gets lost, not how strangers are understood. Labels: a choice, `fact=value`, `not_sure`, or `-` for what is no answer.
Run as a script it prints the counts, and the answers of the looked-at half that are not right.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import pytest

from intakebot.definitions import Definitions, Texts
from intakebot.understanding import Expecting, Heard, expecting_for, understand

HERE = Path(__file__).resolve().parent
KNOWN = {"device_kind": "console_slot"}
Verdict = Literal["right", "wrong", "unread"]


@dataclass(frozen=True)
class Labelled:
    question: str
    label: str
    text: str

    @property
    def half(self) -> str:
        digest = hashlib.sha256(f"{self.question}|{self.text}".encode()).hexdigest()
        return "counted" if int(digest, 16) % 2 else "looked_at"


def labelled(name: str) -> Iterator[Labelled]:
    for line in (HERE / f"{name}.txt").read_text(encoding="utf-8").splitlines():
        if line and not line.startswith("#"):
            yield Labelled(*(part.strip() for part in line.split("|", 2)))


def read(definitions: Definitions, answer: Labelled, locale: str, **known: Any) -> tuple[Expecting, Heard]:
    family = definitions.families["disc_drive"]
    expecting = expecting_for(family, answer.question, Texts(definitions, "disc_drive", locale))
    return expecting, understand(answer.text, family, locale, expecting, known={**KNOWN, **known})


def verdict(definitions: Definitions, answer: Labelled, locale: str) -> Verdict:
    """wrong: something else than the label was taken for the answer; unread: the question would be asked again."""
    expecting, heard = read(definitions, answer, locale)
    facts = {fact.fact: fact.value for fact in heard.facts}
    asked = {fact for option in expecting.options for fact in option.sets}
    picked = heard.choice or ("not_sure" if heard.reply == "not_known" else None)
    told = picked is not None or any(fact in asked for fact in facts)
    if answer.label == "-":
        return "wrong" if told or heard.reply in ("yes", "no") else "right"
    if "=" in answer.label:
        fact, value = answer.label.split("=")
        return "right" if str(facts.get(fact)) == value else "wrong" if told else "unread"
    sets = next((option.sets for option in expecting.options if option.id == answer.label), {})
    if picked == answer.label or (sets and all(facts.get(fact, ()) == value for fact, value in sets.items())):
        return "right"
    if answer.question == "device_group" and picked is None and any(fact in facts for fact in asked):
        return "unread"
    return "wrong" if told else "unread"


def count(definitions: Definitions, name: str, locale: str, half: str | None) -> Counter[str]:
    return Counter(
        verdict(definitions, answer, locale)
        for answer in labelled(f"{name}_{locale}")
        if half is None or answer.half == half
    )


@pytest.mark.parametrize(
    ("name", "locale", "half", "at_least", "right", "most_wrong"),
    [
        ("answers_own", "en", "looked_at", 190, 0.97, 0.02),
        ("answers_own", "en", "counted", 205, 0.96, 0.02),
        ("answers_own", "de", "looked_at", 75, 0.97, 0.02),
        ("answers_own", "de", "counted", 65, 0.96, 0.02),
        ("answers_more", "en", None, 200, 0.96, 0.02),
        ("answers_more", "de", None, 70, 0.96, 0.02),
    ],
)
def test_answers_in_own_words_are_read_and_few_are_read_wrongly(
    definitions: Definitions, name: str, locale: str, half: str | None, at_least: int, right: float, most_wrong: float
) -> None:  # fmt: skip
    counts = count(definitions, name, locale, half)
    total = counts.total()

    assert total >= at_least
    assert counts["right"] / total >= right
    assert counts["wrong"] / total <= most_wrong


# ---- rules


def facts_of(definitions: Definitions, question: str, text: str, **known: Any) -> dict[str, Any]:
    _, heard = read(definitions, Labelled(question, "", text), "en", **known)
    return {fact.fact: fact.value for fact in heard.facts}


def test_every_question_that_is_not_logistics_has_answers_in_every_locale(definitions: Definitions) -> None:
    family = definitions.families["disc_drive"]
    asked = {question.id for question in family.questions.values() if question.tier != "logistics"}

    for locale in definitions.locales:
        assert asked - set(family.answers[locale].choices) <= {
            "noticed"
        }  # a checklist of facts with phrases of their own


def test_wordings_count_only_while_their_question_is_pending(definitions: Definitions) -> None:
    family = definitions.families["disc_drive"]

    assert facts_of(definitions, "noise", "silent") == {"noise": "none"}
    assert understand("silent", family, "en").facts == ()


@pytest.mark.parametrize(
    "text", ["sometimes", "only a bit", "rarely", "yep it did once", "I'm afraid so", "now and then"]
)
def test_a_yes_of_any_degree_is_a_yes_that_is_less_sure(definitions: Definitions, text: str) -> None:
    _, heard = read(definitions, Labelled("skips", "", text), "en")
    fact = heard.fact("skips")

    assert fact is not None
    assert (heard.choice, fact.value) == ("yes", "yes")
    assert fact.certainty < 1 or text == "yep it did once"


@pytest.mark.parametrize(
    "text", ["not at all", "nah", "not any more", "used to", "don't think so", "not that I can think of"]
)
def test_a_no_in_other_words_is_a_no(definitions: Definitions, text: str) -> None:
    assert facts_of(definitions, "skips", text) == {"skips": "no"}


@pytest.mark.parametrize(
    "text", ["could be", "might have", "hard to say", "never paid attention", "haven't tried shaking it"]
)
def test_what_cannot_be_told_is_not_sure(definitions: Definitions, text: str) -> None:
    assert facts_of(definitions, "rattles", text) == {"rattles": None}


@pytest.mark.parametrize(
    ("known", "value"), [({"cd_result": "plays"}, "plays"), ({"cd_result": "fails"}, "fails"), ({}, "fails")]
)
def test_the_same_is_what_was_said_of_the_other_discs_else_the_trouble(
    definitions: Definitions, known: dict[str, str], value: str
) -> None:
    assert facts_of(definitions, "dvd_result", "same", **known)["dvd_result"] == value


def test_a_bare_age_is_the_age_whatever_was_asked(definitions: Definitions) -> None:
    assert facts_of(definitions, "rattles", "about 8 yrs") == {"age_years": 8}
    assert facts_of(definitions, "rattles", "8 years", age_years=3) == {}
    assert facts_of(definitions, "long_unused", "3 years") == {"long_unused": "yes"}


def test_a_disc_that_is_named_is_inside_with_its_class_and_owner(definitions: Definitions) -> None:
    facts = facts_of(definitions, "disc_stuck", "a dvd, a film from the library")

    assert facts == {"disc_stuck": "yes", "stuck_disc_class": "dvd", "stuck_disc_owner": "borrowed"}


def test_an_answer_and_more_gives_both(definitions: Definitions) -> None:
    assert facts_of(definitions, "noise", "silent, but it rattles when I lift it") == {
        "noise": "none",
        "rattles": "yes",
    }


def test_what_a_sentence_states_stands_against_a_wording(definitions: Definitions) -> None:
    assert facts_of(definitions, "noise", "no it does not grind, it clicks")["noise"] == "clicking"


@pytest.mark.parametrize(
    ("text", "fact"),
    [("all good but the battery is swollen", "battery_swollen"), ("no, but it smells of burning plastic", "smoke_or_smell")],
)  # fmt: skip
def test_a_named_hazard_counts_beside_an_all_clear(definitions: Definitions, text: str, fact: str) -> None:
    _, heard = read(definitions, Labelled("hazards", "", text), "en")
    found = heard.fact(fact)

    assert heard.choice != "none"
    assert found is not None
    assert found.value == "yes"


@pytest.mark.parametrize(
    "text",
    ["the tray is fine", "the picture is good", "good morning everybody", "fine weather today"],
)
def test_a_word_that_answers_alone_says_nothing_in_another_sentence(
    definitions: Definitions, text: str
) -> None:
    assert "cd_result" not in facts_of(definitions, "cd_result", text)


@pytest.mark.parametrize(
    ("question", "text"),
    [("opened", "can I open it myself?"), ("dropped", "does that matter?"), ("noise", "what do you mean by odd?"), ("skips", "thanks")],
)  # fmt: skip
def test_a_question_back_or_small_talk_is_no_answer(
    definitions: Definitions, question: str, text: str
) -> None:
    expecting, heard = read(definitions, Labelled(question, "", text), "en")

    assert heard.choice is None
    assert {fact.fact for fact in heard.facts} & {
        fact for option in expecting.options for fact in option.sets
    } == set()


BESIDES = {
    "en": [
        "thanks for the quick reply", "my postcode is in the north", "can you also fix turntables", "how long will it take", "what will it cost me", "hello", "is anyone there",
        "let me get back to you", "one moment please", "I'm on holiday next week", "the telly is brand new", "my wife is annoyed", "it was expensive", "please hurry",
        "I don't understand the question", "why do you want to know", "the weather is awful today", "right", "I sent you a photo", "I need it for a party on Saturday",
    ],
    "de": [
        "danke für die schnelle Antwort", "wie lange dauert das", "was kostet das ungefähr", "ich heiße Jo", "einen Moment bitte", "das habe ich schon gesagt", "der Fernseher ist neu",
        "ich verstehe die Frage nicht", "warum wollen Sie das wissen", "aha", "hallo", "ich bin nächste Woche im Urlaub", "ich brauche es am Samstag", "meine Frau ist sauer",
    ],
}  # fmt: skip
"""What people also write when a question is pending; none of it answers any of them."""


@pytest.mark.parametrize("locale", ["en", "de"])
def test_what_is_no_answer_is_hardly_ever_taken_for_one(definitions: Definitions, locale: str) -> None:
    family = definitions.families["disc_drive"]
    asked = [q.id for q in family.questions.values() if q.tier != "logistics" and q.id != "noticed"]
    cases = [Labelled(question, "-", text) for question in asked for text in BESIDES[locale]]

    taken = sum(verdict(definitions, case, locale) == "wrong" for case in cases)

    assert taken / len(cases) <= 0.02


def main() -> None:
    from intakebot.definitions import load_definitions

    definitions = load_definitions(HERE.parents[1])
    for name, halves in (("answers_own", ("counted", "looked_at")), ("answers_more", (None,))):
        for locale in ("en", "de"):
            for half in halves:
                print(name, locale, half or "all looked at", dict(count(definitions, name, locale, half)))
            for answer in labelled(f"{name}_{locale}"):
                if (half is None or answer.half == "looked_at") and verdict(
                    definitions, answer, locale
                ) != "right":
                    print("   ", verdict(definitions, answer, locale), answer)


if __name__ == "__main__":
    main()
