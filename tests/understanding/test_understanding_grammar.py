"""The phrase grammar, and a second family that needs no Python."""

from __future__ import annotations

from dataclasses import replace

import pytest

from intakebot.definitions.model import Fact, Family, Phrases
from intakebot.errors import BadInputError
from intakebot.understanding import understand
from intakebot.understanding.phrase_grammar import Element, parse_phrase


def rows(source: str) -> set[str]:
    return {" ".join(element.text for element in row) for row in parse_phrase(source).rows}


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        pytest.param("won't play", {"won't play"}, id="plain"),
        pytest.param("a [b] c", {"a c", "a b c"}, id="optional"),
        pytest.param("a (b c|d) e", {"a b c e", "a d e"}, id="group"),
        pytest.param("[a [b]] c", {"c", "a c", "a b c"}, id="nested"),
        pytest.param("a|b c", {"a|b c"}, id="choice-stays-one-element"),
        pytest.param("a .. b", {"a .. b"}, id="gap"),
        pytest.param("{x} a @console_slot ~0.6", {"x a"}, id="conditions-are-taken-off"),
    ],
)
def test_a_phrase_is_multiplied_out(source: str, expected: set[str]) -> None:
    assert rows(source) == expected


def test_the_elements_of_a_phrase() -> None:
    row = parse_phrase("^ =opened {board} .. $ ~0.5 @a,b").rows[0]

    assert row == (
        Element("start"),
        Element("exact", "opened"),
        Element("class", "board"),
        Element("gap", "..", 3),
        Element("end"),
    )


def test_conditions_and_certainty() -> None:
    phrase = parse_phrase("a b @x,y ~0.5")

    assert (phrase.devices, phrase.certainty) == (frozenset({"x", "y"}), 0.5)


def test_a_wording_may_ask_that_another_fact_was_said() -> None:
    assert parse_phrase("it back @said:p,q").said == frozenset({"p", "q"})


@pytest.mark.parametrize(
    "source", ["a [b", "a b]", "a (b|c", "", "  ", "..", "a ~2", "a ~x", "a |b", "a| b", "[a] " * 12]
)
def test_a_bad_phrase_is_one_clear_error(source: str) -> None:
    with pytest.raises(BadInputError) as error:
        parse_phrase(source, "phrases/en: some_fact=yes")

    assert error.value.where == "phrases/en: some_fact=yes"


def yes_no(fact_id: str, **more: object) -> Fact:
    return Fact(fact_id, "yes_no", (), ("triage",), "low", **more)  # type: ignore[arg-type]


@pytest.fixture
def tape_family(family: Family) -> Family:
    """A cassette deck family, invented here: nothing of it is known to any Python module."""
    facts = [
        yes_no("chews_tape"), yes_no("belt_slips"), yes_no("burning", role="hazard"),
        Fact("wow", "choice", ("slow", "fast", "wavers"), ("triage",), "low"),
        Fact("heads_cleaned", "choice", ("nobody", "owner", "friend", "shop", "someone"), ("triage",), "low", role="attempt"),
        Fact("type_i_result", "choice", ("plays", "fails", "not_tried"), ("triage",), "low", role="disc_result", disc_class="type_i"),
        Fact("type_ii_result", "choice", ("plays", "fails", "not_tried"), ("triage",), "low", role="disc_result", disc_class="type_ii"),
    ]  # fmt: skip
    phrases = Phrases(
        "en",
        {
            "chews_tape": {"yes": ("chews|eats .. tape|tapes",)},
            "belt_slips": {"yes": ("belt slips",)},
            "burning": {"yes": ("burning smell", "smoke")},
            "wow": {"slow": ("runs|plays slow",), "fast": ("too fast",), "wavers": ("wavers", "wobbly sound")},
            "heads_cleaned": {"someone": ("cleaned .. heads",)},
        },
        {
            "disc.type_i": ("ferric tape", "ferric"), "disc.type_ii": ("chrome tape", "chrome"),
            "disc_result.fails": ("{disc} not play", "not play {disc}"), "disc_result.plays": ("=plays {disc}", "{disc} =plays|=play fine"),
        },
    )  # fmt: skip
    return replace(
        family, id="tape_deck", facts={fact.id: fact for fact in facts}, phrases={"en": phrases}, devices={}
    )


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("it chews my tapes", {"chews_tape": "yes"}),
        ("no smoke, but the belt slips", {"burning": "no", "belt_slips": "yes"}),
        (
            "a friend cleaned the heads, sound is wobbly, it wavers",
            {"heads_cleaned": "friend", "wow": "wavers"},
        ),
        ("plays ferric but won't play chrome", {"type_i_result": "plays", "type_ii_result": "fails"}),
        ("it chewes tapess", {"chews_tape": "yes"}),
    ],
)
def test_a_second_family_is_read_from_its_phrases_alone(
    tape_family: Family, text: str, expected: dict[str, str]
) -> None:
    got = {fact.fact: fact.value for fact in understand(text, tape_family, "en").facts}

    assert got == expected


def test_a_family_without_phrases_still_reads_answers(family: Family) -> None:
    bare = replace(family, id="bare", phrases={})

    assert understand("no idea", bare, "en").reply == "not_known"


def test_every_shipped_phrase_parses_and_names_known_classes(family: Family) -> None:
    from intakebot.understanding.reader import LANGUAGES

    for locale, phrases in family.phrases.items():
        known = set(phrases.cues) | set(LANGUAGES[locale].cues) | {"disc", "number", "code"}
        sources = [text for values in phrases.values.values() for texts in values.values() for text in texts]
        sources += [
            text
            for kind, texts in phrases.cues.items()
            for text in texts
            if kind not in ("namesake", "any_disc")
        ]
        for source in sources:
            if not any(char.isalnum() for char in source):
                continue
            used = {
                element.text
                for row in parse_phrase(source).rows
                for element in row
                if element.kind == "class"
            }
            assert used <= known, f"{locale}: {source}"


def test_commonly_volunteered_values_have_many_wordings(family: Family) -> None:
    """25 or more rows a value for what people say unasked (goal of the phrases file)."""
    values = family.phrases["en"].values
    common = ["no_power", "no_sound", "no_display", "disc_not_read", "skips", "disc_stuck", "wont_eject", "tray_wont_close", "disc_not_accepted",
              "ejects_by_itself", "intermittent_read", "some_discs_fail", "error_message", "smoke_or_smell", "liquid_inside", "dropped"]  # fmt: skip

    counts = {fact: sum(len(parse_phrase(text).rows) for text in values[fact]["yes"]) for fact in common}

    assert min(counts.values()) >= 25, counts
