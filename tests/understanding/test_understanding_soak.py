"""Many texts at once: no exception, time in step with length, and the same facts however a sentence is encoded.

The texts are made with a fixed seed from the two files of customers' messages and from random characters. A slice runs with
the ordinary tests; the full counts (100,000 texts, 5,000 variants) are marked `soak`. Run them with
`pytest tests/understanding/test_understanding_soak.py -m soak -s`, which prints how far they are.
"""

from __future__ import annotations

import json
import random
import statistics
import sys
import time
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest

from intakebot.definitions.model import Family
from intakebot.understanding import Heard, understand
from intakebot.understanding.folding import MAX_CHARS

HERE = Path(__file__).parent
TODAY = date(2026, 11, 25)
MOST_GROWTH = 2.5
"""Most a text of twice the length may cost, in times of the shorter one."""

BIDI = "\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
ZERO_WIDTH = "\u200b\u200c\u200d\u2060\ufeff"
MARKS = "\u0301\u0300\u0302\u0323\u0331"
"""Acute, grave, circumflex, dot and line below; no diaeresis, which makes another letter."""


def messages() -> list[str]:
    return [
        json.loads(line)["text"]
        for name in ("messages_frozen.jsonl", "messages_blind.jsonl")
        for line in (HERE / name).read_text(encoding="utf-8").splitlines()
        if line.strip()
    ]


def of_bytes(dice: random.Random) -> str:
    """Bytes read as if they were text of some encoding; what does not fit stays as lone surrogates or replacements."""
    encoding, errors = dice.choice(
        [("latin-1", "strict"), ("utf-16-le", "replace"), ("utf-8", "replace"), ("utf-8", "surrogateescape")]
    )
    return dice.randbytes(dice.randrange(1, 120)).decode(encoding, errors)


def of_all_planes(dice: random.Random) -> str:
    """Code points of every plane, surrogates among them."""
    return "".join(
        chr(dice.randrange(0x10000) + 0x10000 * dice.choice([0, 0, 0, 1, 1, 2, 3, *range(17)]))
        for _ in range(dice.randrange(1, 60))
    )


def of_long_runs(dice: random.Random, sentences: list[str]) -> str:
    unit = dice.choice(
        [dice.choice(sentences)[:20], dice.choice("ab1,.'-@£!?\n\u0301\u200b"), "not ", "cd, dvd and ", "if ", "ha", "no disc "]
    )  # fmt: skip
    return (unit * 400)[: dice.choice([50, 200, 600])]


def of_mixed_directions(dice: random.Random, sentences: list[str]) -> str:
    letters = list(dice.choice(sentences)[:200])
    for _ in range(dice.randrange(1, 12)):
        letters.insert(dice.randrange(len(letters) + 1), dice.choice(BIDI + ZERO_WIDTH + "אבجد"))
    return "".join(letters)


def of_broken_grammar(dice: random.Random, sentences: list[str]) -> str:
    """Words of one or two messages dropped, doubled, swapped, joined, shouted, without apostrophes or stops."""
    words = " ".join(dice.sample(sentences, dice.choice([1, 1, 2]))).split()[: dice.randrange(3, 50)]
    for _ in range(dice.randrange(0, 8)):
        at = dice.randrange(len(words))
        change = dice.randrange(6)
        if change == 0 and len(words) > 1:
            del words[at]
        elif change == 1:
            words.insert(at, dice.choice(words))
        elif change == 2 and at + 1 < len(words):
            words[at], words[at + 1] = words[at + 1], words[at]
        elif change == 3:
            words[at] = words[at].upper()
        elif change == 4:
            words[at] = words[at].replace("'", "").rstrip(".,!?")
        else:
            words[at] += dice.choice([",", "...", "??", " -", "!!!", ";", ")", " not", " or", ""])
    return dice.choice([" ", " ", " ", "  ", "\n", ""]).join(words)


def many_texts(seed: int, count: int) -> Iterator[str]:
    dice = random.Random(seed)
    sentences = messages()
    makers: list[Callable[[], str]] = [
        lambda: of_bytes(dice),
        lambda: of_all_planes(dice),
        lambda: of_long_runs(dice, sentences),
        lambda: of_mixed_directions(dice, sentences),
        *[lambda: of_broken_grammar(dice, sentences)] * 4,
    ]
    for _ in range(count):
        yield dice.choice(makers)()


def read_all(family: Family, seed: int, count: int) -> int:
    """Read `count` texts in both languages; returns how many gave at least one fact."""
    with_facts = 0
    for number, text in enumerate(many_texts(seed, count), 1):
        heard = understand(text, family, "de" if number % 8 == 0 else "en", None, TODAY)
        assert heard.text == text
        assert all(text[f.span[0] : f.span[1]] == f.quote for f in (*heard.facts, *heard.proposals))
        assert all(0 < f.certainty <= 1 for f in heard.facts)
        with_facts += bool(heard.facts)
        if number % 10_000 == 0:
            print(f"  {number:,} texts read, {with_facts:,} with facts", file=sys.stderr, flush=True)
    return with_facts


def test_a_thousand_texts_of_every_kind_are_read_without_an_error(family: Family) -> None:
    # four makers in eight change messages of customers; most of those still say something
    assert 200 < read_all(family, 11, 1_000) < 1_000


@pytest.mark.soak
def test_a_hundred_thousand_texts_of_every_kind_are_read_without_an_error(family: Family) -> None:
    assert 20_000 < read_all(family, 12, 100_000) < 100_000


def cost(family: Family, text: str) -> float:
    start = time.process_time()
    understand(text, family, "en", None, TODAY)
    return time.process_time() - start


def test_a_text_of_twice_the_length_costs_at_most_two_and_a_half_times_as_much(family: Family) -> None:
    """Both lengths are read side by side, nine times; the middle ratio counts."""
    sentences = messages()
    growth = []
    for start in range(0, 45, 5):
        one = " ".join(sentences[start : start + 40])[: MAX_CHARS // 2]
        cost(family, one)
        growth.append(cost(family, one + one) / cost(family, one))

    assert len(one) == MAX_CHARS // 2
    assert statistics.median(growth) <= MOST_GROWTH


# ---- the same sentence in other characters ---------------------------------------------------------------------------


def full_width(text: str, dice: random.Random) -> str:
    """ASCII letters and digits as full-width forms."""
    return "".join(chr(ord(c) + 0xFEE0) if c.isascii() and c.isalnum() else c for c in text)


def with_marks(text: str, dice: random.Random) -> str:
    return "".join(c + dice.choice(MARKS) if c.isalpha() and dice.random() < 0.2 else c for c in text)


def with_zero_width(text: str, dice: random.Random) -> str:
    return "".join(c + dice.choice(ZERO_WIDTH) if c.isalnum() and dice.random() < 0.2 else c for c in text)


def with_soft_hyphens(text: str, dice: random.Random) -> str:
    return "".join(c + "\u00ad" if c.isalpha() and dice.random() < 0.2 else c for c in text)


def with_typographic_signs(text: str, dice: random.Random) -> str:
    return (
        text.replace("'", dice.choice("’‘ʼ＇"))
        .replace('"', dice.choice("“”„"))
        .replace("-", dice.choice("‐‑"))
    )


def with_other_spaces(text: str, dice: random.Random) -> str:
    return "".join(dice.choice("\u00a0\u202f\u2009\u3000\u2003") if c == " " else c for c in text)


def in_other_case(text: str, dice: random.Random) -> str:
    return dice.choice([text.upper(), text.lower(), text.swapcase(), text.title()])


def as_mathematical_letters(text: str, dice: random.Random) -> str:
    """Lower-case letters as bold mathematical ones (U+1D41A)."""
    return "".join(chr(0x1D41A + ord(c) - 97) if c.isascii() and c.islower() else c for c in text)


def with_directions(text: str, dice: random.Random) -> str:
    return "".join(c + dice.choice(BIDI) if dice.random() < 0.1 else c for c in text)


VARIANTS = (
    full_width, with_marks, with_zero_width, with_soft_hyphens, with_typographic_signs, with_other_spaces, in_other_case,
    as_mathematical_letters, with_directions,
)  # fmt: skip


def said(heard: Heard) -> set[tuple[str, str]]:
    """Facts and values; free texts are left out, they are quoted as they were written."""
    return {(f.fact, str(f.value)) for f in heard.facts if f.source in ("phrase", "count", "amount", "date")}


def differing(family: Family, seed: int, count: int) -> list[tuple[str, str]]:
    """(variant, text) of the variants whose facts are not those of the plain sentence."""
    dice = random.Random(seed)
    plain = [text for text in messages() if len(text) < 400]
    out = []
    for number in range(count):
        text, variant = dice.choice(plain), VARIANTS[number % len(VARIANTS)]
        written = variant(text, dice)
        if said(understand(written, family, "en", None, TODAY, proposals=False)) != said(
            understand(text, family, "en", None, TODAY, proposals=False)
        ):
            out.append((variant.__name__, written))
        if (number + 1) % 1_000 == 0:
            print(f"  {number + 1:,} variants, {len(out)} differ", file=sys.stderr, flush=True)
    return out


def test_three_hundred_variants_in_other_characters_keep_the_same_facts(family: Family) -> None:
    assert differing(family, 21, 300) == []


@pytest.mark.soak
def test_five_thousand_variants_in_other_characters_keep_the_same_facts(family: Family) -> None:
    assert differing(family, 22, 5_000) == []
