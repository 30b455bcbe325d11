"""Features of a clause for the light model: words, neighbours, letters, word classes, and what a denial reaches.

A feature is a text, hashed into SIZE buckets (the "hashing trick", Weinberger et al. 2009); a clause is its sorted,
distinct buckets. Word classes are those of the lexicon with one word ("spit", "hand back" is two and stays words): they
let a sentence with one word of a class speak for the others.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from functools import lru_cache
from itertools import pairwise

from intakebot.understanding.language import Language
from intakebot.understanding.tokens import Token

SIZE = 8192
MAX_WORDS = 40
DENIED = 5
"""Words after a denying word that are also noted as denied."""
LETTERS = 4

Kinds = Mapping[str, tuple[str, ...]]
"""Stem or exact word -> the word classes it is a member of."""


@lru_cache(maxsize=65536)
def _bucket(text: str) -> int:
    return zlib.crc32(text.encode()) % SIZE


def features_of(tokens: Sequence[Token], kinds: Kinds, language: Language) -> tuple[int, ...]:
    """Sorted, distinct feature buckets of the tokens of a clause; empty when it has no word."""
    found: set[str] = set()
    stems: list[str] = []
    classes: list[tuple[str, ...]] = []
    denied = 0
    for token in tokens:
        if not token.is_word:
            denied = 0
            continue
        here = kinds.get(token.word, ()) or kinds.get(token.stem, ())
        found.add(f"w {token.stem}")
        found.update(f"k {kind}" for kind in here)
        if denied:
            found.add(f"n {token.stem}")
            found.update(f"nk {kind}" for kind in here)
        padded = f"<{token.stem}>"
        found.update(f"c {padded[at : at + LETTERS]}" for at in range(max(1, len(padded) - LETTERS + 1)))
        denied = DENIED if token.word in language.negators else max(0, denied - 1)
        stems.append(token.stem)
        classes.append(here)
        if len(stems) >= MAX_WORDS:
            break
    if not stems:
        return ()
    found.update(f"p {left} {right}" for left, right in pairwise(("^", *stems, "$")))
    for at, here in enumerate(classes):
        for behind in range(at + 1, min(at + 3, len(stems))):
            found.update(f"kk {left} {right}" for left in here for right in classes[behind])
            found.update(f"kw {left} {stems[behind]}" for left in here)
        if at:
            found.update(f"wk {stems[at - 1]} {kind}" for kind in here)
    return tuple(sorted({_bucket(text) for text in found}))
