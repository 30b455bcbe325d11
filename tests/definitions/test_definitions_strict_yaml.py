"""What the strict YAML reader takes and refuses. YAML 1.1 surprises: yes/no booleans, sexagesimals, octals, last-key-wins."""

from __future__ import annotations

import pytest

from intakebot.definitions.strict_yaml import MAX_BYTES, MAX_DEPTH, read_yaml


def found(text: str) -> list[str]:
    return [problem.found for problem in read_yaml("f.yaml", text.encode()).problems]


def test_plain_scalars_become_the_types_they_look_like():
    document = read_yaml("f.yaml", b'a: 1\nb: 2.5\nc: true\nd: null\ne: text\nf: "1"\ng: 2026-01-31\n')

    assert document.data == {"a": 1, "b": 2.5, "c": True, "d": None, "e": "text", "f": "1", "g": "2026-01-31"}
    assert document.problems == []


def test_lines_are_kept_for_every_place():
    document = read_yaml("f.yaml", b"a:\n  - x\n  - k: v\n")

    assert (document.line(("a",)), document.line(("a", 0)), document.line(("a", 1, "k"))) == (1, 2, 3)


@pytest.mark.parametrize("word", ["yes", "No", "ON", "off", "y", "N"])
def test_bare_boolean_looking_words_are_refused(word: str):
    assert found(f"a: {word}") == [f"the bare word {word}"]


@pytest.mark.parametrize("number", ["012", "1:30", "1_000", "0x1F", "0o17", "00"])
def test_numbers_that_other_readers_take_for_something_else_are_refused(number: str):
    assert found(f"a: {number}") == [f"the bare number {number}"]


def test_quoted_words_and_numbers_are_text():
    assert read_yaml("f.yaml", b'a: "yes"\nb: "012"\n').data == {"a": "yes", "b": "012"}


def test_alias_bomb_is_refused_before_it_is_built():
    bomb = "a: &a [x, x]\n" + "".join(
        f"{chr(98 + i)}: &{chr(98 + i)} [*{chr(97 + i)}, *{chr(97 + i)}]\n" for i in range(9)
    )

    document = read_yaml("f.yaml", bomb.encode())

    assert document.data is None
    assert len(document.problems) == 10 + 18


def test_file_at_the_size_limit_is_read_and_one_byte_more_is_not():
    at_limit = b"a: " + b"x" * (MAX_BYTES - 3)

    assert read_yaml("f.yaml", at_limit).problems == []
    assert [p.expected for p in read_yaml("f.yaml", at_limit + b"x").problems] == [
        f"at most {MAX_BYTES} bytes"
    ]


def test_nesting_at_the_limit_is_read_and_one_deeper_is_not():
    assert found("[" * MAX_DEPTH + "]" * MAX_DEPTH) == []
    assert found("[" * (MAX_DEPTH + 1) + "]" * (MAX_DEPTH + 1)) == [f"nesting deeper than {MAX_DEPTH}"]


def test_bytes_that_are_not_utf8_are_named_with_their_line():
    (problem,) = read_yaml("f.yaml", b"a: 1\nb: \xff\n").problems

    assert (problem.line, problem.found) == (2, "bytes that are not UTF-8")


def test_collection_as_key_is_refused():
    assert found("? [a]\n: b\n") == ["a key that is a collection"]
