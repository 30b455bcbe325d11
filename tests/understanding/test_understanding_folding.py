"""Folding for matching (UAX 15, default-ignorable code points), and spans back to the original."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intakebot.understanding.folding import MAX_CHARS, fold


@pytest.mark.parametrize(
    ("original", "folded"),
    [
        pytest.param("ＤＶＤ", "dvd", id="full-width"),
        pytest.param("won’t", "won't", id="curly-apostrophe"),
        pytest.param("won`t", "won't", id="backtick"),
        pytest.param("st\u00aduck", "stuck", id="soft-hyphen"),
        pytest.param("s\u200bm\u200do\ufe0fke", "smoke", id="zero-width"),
        pytest.param("Ötto fährt", "oetto faehrt", id="umlauts"),
        pytest.param("O\u0308l", "oel", id="decomposed-umlaut"),
        pytest.param("Straße", "strasse", id="sharp-s"),
        pytest.param("café", "cafe", id="accent"),
        pytest.param("٣ years", "3 years", id="arabic-digit"),
        pytest.param("ﬁne", "fine", id="ligature"),
        pytest.param("a\u202eb", "ab", id="bidi-override"),
        pytest.param("s\u0336t\u0336u\u0336c\u0336k\u0336", "stuck", id="struck-through"),
    ],
)
def test_fold(original: str, folded: str) -> None:
    assert fold(original).text == folded


def test_an_expanding_character_does_not_pass_the_cap() -> None:
    # U+FDFA folds to 18 characters (NFKC)
    assert len(fold("\ufdfa" * 5000).text) == MAX_CHARS


def test_a_span_leads_back_through_dropped_and_expanded_characters() -> None:
    original = "x ﬁn\u200be"
    folded = fold(original)
    at = folded.text.index("fine")

    assert original[slice(*folded.span(at, at + 4))] == "ﬁn\u200be"


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=200))
def test_offsets_are_in_order_and_inside_the_original(text: str) -> None:
    folded = fold(text)

    assert len(folded.text) == len(folded.starts) == len(folded.ends)
    assert all(0 <= start < end <= len(text) for start, end in zip(folded.starts, folded.ends, strict=True))
    assert list(folded.starts) == sorted(folded.starts)


DECORATIONS = ["\u200b", "\u00ad", "\ufe0f", "\u2060", "\u202e", "\u0336", "\U000e0041"]


@settings(max_examples=200, deadline=None)
@given(data=st.data())
def test_decorated_text_says_the_same(hear: Callable[..., Any], data: Any) -> None:
    plain = "The disc is stuck and it smells burnt, no smoke"
    letters = [
        char + (data.draw(st.sampled_from(["", "", *DECORATIONS])) if char.isalpha() else "")
        for char in plain
    ]
    wide = "".join(
        chr(ord(c) + 0xFEE0) if data.draw(st.booleans()) and "!" <= c <= "~" and c.isalpha() else c
        for c in letters
    )

    got = {(fact.fact, fact.value) for fact in hear(wide).facts}

    assert got == {(fact.fact, fact.value) for fact in hear(plain).facts}
