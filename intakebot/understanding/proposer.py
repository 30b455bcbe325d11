"""The light model: n-gram logistic regression, trained on the phrases themselves. It only ever proposes.

Features of a clause: stems, pairs of neighbouring stems and letter trigrams, hashed into SIZE buckets (the "hashing
trick", Weinberger et al. 2009). One softmax over all fact values and "nothing"; trained by stochastic gradient descent
with AdaGrad steps (Duchi et al. 2011) in a fixed order, so the same phrases give the same weights. It knows nothing
about denial or who said it; that is why what it finds is asked as yes or no and never taken.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from intakebot.understanding.language import Language
from intakebot.understanding.lexicon import Lexicon
from intakebot.understanding.tokens import expand, raw_words

SIZE = 4096
EPOCHS = 4
RATE = 0.5
THRESHOLD = 0.4
"""Least probability that is worth a yes/no question; set on development messages, see DEVELOPERS."""

MAX_WORDS = 30

Floats = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Proposer:
    """`labels[k]` is (fact, value); ("", "") is nothing. `weights` has a row for each feature bucket."""

    labels: tuple[tuple[str, str], ...]
    weights: Floats
    bias: Floats

    def guess(self, stems: Sequence[str]) -> list[tuple[str, str, float]]:
        """(fact, value, probability) above THRESHOLD, likeliest first; nothing is never among them."""
        features = features_of(tuple(stems[:MAX_WORDS]))
        if not features:
            return []
        chances = _softmax(self.weights[list(features)].sum(axis=0) / np.sqrt(len(features)) + self.bias)
        order = np.argsort(-chances, kind="stable")[:3]
        return [
            (*self.labels[k], float(chances[k]))
            for k in order
            if chances[k] >= THRESHOLD and self.labels[k] != ("", "")
        ]


@lru_cache(maxsize=8192)
def _bucket(text: str) -> int:
    return zlib.crc32(text.encode()) % SIZE


def features_of(stems: tuple[str, ...]) -> tuple[int, ...]:
    """Sorted, distinct feature buckets of a row of stems."""
    buckets = {_bucket(f"w {stem}") for stem in stems}
    buckets |= {_bucket(f"p {left} {right}") for left, right in pairwise(stems)}
    for stem in stems:
        padded = f"<{stem}>"
        buckets |= {_bucket(f"c {padded[at : at + 3]}") for at in range(max(1, len(padded) - 2))}
    return tuple(sorted(buckets))


def _softmax(scores: Floats) -> Floats:
    raised = np.exp(scores - scores.max())
    return raised / raised.sum()


def train_proposer(lexicon: Lexicon) -> Proposer | None:
    """Train on the lexicon's example texts; None when there are none."""
    rows = [
        ((fact, value), features_of(tuple(_stems(text, lexicon.language))[:MAX_WORDS]))
        for fact, value, text in lexicon.examples
        if fact == ""
        or (fact in lexicon.family.facts and lexicon.family.facts[fact].type in ("yes_no", "choice"))
    ]
    labels = tuple(sorted({label for label, _ in rows}))
    if len(labels) < 2:
        return None
    place = {label: index for index, label in enumerate(labels)}
    weights = np.zeros((SIZE, len(labels)), dtype=np.float32)
    bias = np.zeros(len(labels), dtype=np.float32)
    seen = np.full((SIZE, len(labels)), 1e-2, dtype=np.float32)
    seen_bias = np.full(len(labels), 1e-2, dtype=np.float32)
    order = sorted(range(len(rows)), key=lambda at: zlib.crc32(f"{at}".encode()))
    for _ in range(EPOCHS):
        for at in order:
            label, features = rows[at]
            if not features:
                continue
            index = list(features)
            scale = np.float32(1 / np.sqrt(len(index)))
            slope = _softmax(weights[index].sum(axis=0) * scale + bias)
            slope[place[label]] -= 1
            step = slope * scale
            seen[index] += step * step
            weights[index] -= np.float32(RATE) * step / np.sqrt(seen[index])
            seen_bias += slope * slope
            bias -= np.float32(0.1) * slope / np.sqrt(seen_bias)
    return Proposer(labels, weights, bias)


def _stems(text: str, language: Language) -> list[str]:
    return [
        language.stem(word)
        for written, _, _ in raw_words(text.lower())
        for word in expand(written, language)
        if word[:1].isalnum()
    ]
