"""The light model: one logistic regression for each fact value, trained on labelled sentences and the phrases.

It only ever proposes: what it finds is asked as yes or no and never taken. It is trained, see `trained` for when, by
mini-batches in a fixed order with AdaGrad steps (Duchi et al. 2011), one step size for each feature; the same sentences
give the same weights. Every fact value is a label of its own ("yes" and "no" too), so a denial is learned, not derived.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from intakebot.understanding.features import SIZE, Kinds, features_of
from intakebot.understanding.folding import fold
from intakebot.understanding.language import Language
from intakebot.understanding.lexicon import Lexicon
from intakebot.understanding.tokens import Token, expand, make_token, raw_words, split_digits

EPOCHS = 6
BATCH = 32
RATE = 1.0
PHRASE_WEIGHT = 0.3
"""What a phrase counts for beside a labelled sentence: it is a fragment, and silent about everything else."""
SLIGHT = 0.02
"""Errors below this teach nothing more and are passed over, which makes training several times faster."""
RARE = -4.0
"""Where every label starts (log odds): few clauses state any one fact."""

THRESHOLD = 0.25
"""Least chance that is worth a yes/no question."""
HAZARD_THRESHOLD = 0.6
"""The same for hazards, which are asked before anything else."""

Floats = npt.NDArray[np.float32]
Label = tuple[str, str]


@dataclass(frozen=True)
class Proposer:
    """`labels[k]` is (fact, value). `weights` has a row for each feature bucket, `least` the least chance of each label."""

    labels: tuple[Label, ...]
    weights: Floats
    bias: Floats
    least: Floats
    kinds: Kinds
    language: Language

    @cached_property
    def places(self) -> Mapping[Label, int]:
        """Label -> its place in `labels`."""
        return {label: at for at, label in enumerate(self.labels)}

    @cached_property
    def places_of(self) -> Mapping[str, tuple[int, ...]]:
        """Fact -> the places of its labels."""
        found: dict[str, tuple[int, ...]] = {}
        for at, (fact, _) in enumerate(self.labels):
            found[fact] = (*found.get(fact, ()), at)
        return found

    def chances(self, tokens: Sequence[Token]) -> Floats:
        """The chance of each label for the tokens of a clause; zeros when it has no word."""
        features = features_of(tokens, self.kinds, self.language)
        if not features:
            return np.zeros(len(self.labels), dtype=np.float32)
        scores = self.weights[list(features)].sum(axis=0) / np.sqrt(np.float32(len(features))) + self.bias
        return _logistic(scores)

    def guess(self, tokens: Sequence[Token]) -> list[tuple[str, str, float]]:
        """(fact, value, chance) of the labels worth a question, likeliest first."""
        chances = self.chances(tokens)
        order = np.argsort(-chances, kind="stable")[:6]
        return [(*self.labels[k], float(chances[k])) for k in order if chances[k] >= self.least[k]]


@dataclass(frozen=True)
class Row:
    """A training clause: its features, the labels it states, the facts left open, and what it counts for."""

    features: tuple[int, ...]
    labels: tuple[Label, ...]
    open: frozenset[str]
    weight: float


def train_proposer(lexicon: Lexicon) -> Proposer | None:
    """Train on the lexicon's labelled sentences and phrases; None when they state fewer than two fact values."""
    rows = training_rows(lexicon)
    labels = tuple(sorted({label for row in rows for label in row.labels}))
    if len(labels) < 2:
        return None
    weights, bias = fit(rows, labels)
    return Proposer(labels, weights, bias, least_chances(lexicon, labels), lexicon.kinds, lexicon.language)


def least_chances(lexicon: Lexicon, labels: Sequence[Label]) -> Floats:
    """The least chance of each label that is worth a question."""
    hazards = {fact.id for fact in lexicon.facts_by_role.get("hazard", ())}
    return np.array(
        [HAZARD_THRESHOLD if fact in hazards else THRESHOLD for fact, _ in labels], dtype=np.float32
    )


def training_rows(lexicon: Lexicon) -> list[Row]:
    """Labelled sentences as features, and the phrases of the facts they speak of (of all facts without sentences)."""
    learned = {fact for example in lexicon.sentences for fact in example.facts} or {
        fact.id for fact in lexicon.family.facts.values() if fact.type in ("yes_no", "choice")
    }
    rows: list[Row] = []
    for example in lexicon.sentences:
        labels = tuple(sorted(example.facts.items()))
        features = features_of(words_of(example.text, lexicon.language), lexicon.kinds, lexicon.language)
        rows.append(Row(features, labels, frozenset(example.open), 1.0))
    for fact, value, text in lexicon.examples:
        if fact and fact not in learned:
            continue
        features = features_of(words_of(text, lexicon.language), lexicon.kinds, lexicon.language)
        rows.append(Row(features, ((fact, value),) if fact else (), frozenset(), PHRASE_WEIGHT))
    return [row for row in rows if row.features]


def fit(rows: Sequence[Row], labels: Sequence[Label]) -> tuple[Floats, Floats]:
    """Weights (SIZE x labels) and bias of the logistic regressions."""
    place = {label: index for index, label in enumerate(labels)}
    of_fact: dict[str, list[int]] = {}
    for index, (fact, _) in enumerate(labels):
        of_fact.setdefault(fact, []).append(index)
    weights = np.zeros((SIZE, len(labels)), dtype=np.float32)
    bias = np.full(len(labels), RARE, dtype=np.float32)
    seen = np.full(SIZE, 0.1, dtype=np.float32)
    flat = weights.reshape(-1)
    order = sorted(range(len(rows)), key=lambda at: zlib.crc32(f"{at}".encode()))
    batches = [
        _batch([rows[at] for at in order[start : start + BATCH]], place, of_fact)
        for start in range(0, len(order), BATCH)
    ]
    for _ in range(EPOCHS):
        for batch in batches:
            scores = np.add.reduceat(weights[batch.features], batch.starts, axis=0) * batch.scale + bias
            slope = (_logistic(scores) - batch.wanted) * batch.counts
            row, label = np.nonzero(np.abs(slope) > SLIGHT)
            steep = slope[row, label]
            bias -= np.float32(0.02) * np.bincount(label, steep, len(labels)).astype(np.float32)
            pair, feature = _spread(row, batch)
            step = (steep * batch.scale[row, 0])[pair]
            seen += np.bincount(feature, step * step, SIZE).astype(np.float32)
            step *= np.float32(-RATE) / np.sqrt(seen[feature])
            np.add.at(flat, feature * len(labels) + label[pair], step)
    return weights, bias


@dataclass(frozen=True)
class _Batch:
    """Some rows end to end: their buckets, where each row starts and how many it has, 1 / sqrt of that, what is wanted."""

    features: npt.NDArray[np.intp]
    starts: npt.NDArray[np.intp]
    sizes: npt.NDArray[np.intp]
    scale: Floats
    wanted: Floats
    counts: Floats


def _batch(rows: Sequence[Row], place: dict[Label, int], of_fact: dict[str, list[int]]) -> _Batch:
    sizes = np.array([len(row.features) for row in rows], dtype=np.intp)
    wanted = np.zeros((len(rows), len(place)), dtype=np.float32)
    counts = np.zeros((len(rows), len(place)), dtype=np.float32)
    for number, row in enumerate(rows):
        wanted[number, [place[label] for label in row.labels]] = 1
        counts[number] = row.weight
        counts[number, [index for fact in row.open for index in of_fact.get(fact, ())]] = 0
    return _Batch(
        np.array([bucket for row in rows for bucket in row.features], dtype=np.intp),
        np.cumsum(sizes) - sizes, sizes, (1 / np.sqrt(sizes)).astype(np.float32)[:, None], wanted, counts,
    )  # fmt: skip


def _spread(row: npt.NDArray[np.intp], batch: _Batch) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """For pairs of a row and a label: each pair once for every feature of its row, and that feature's bucket."""
    sizes = batch.sizes[row]
    pair = np.repeat(np.arange(len(row)), sizes)
    inside = np.arange(len(pair)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    return pair, batch.features[np.repeat(batch.starts[row], sizes) + inside]


def _logistic(scores: Floats) -> Floats:
    clipped = np.clip(scores, np.float32(-30), np.float32(30))
    return np.asarray(1 / (1 + np.exp(-clipped)), dtype=np.float32)


def words_of(text: str, language: Language) -> list[Token]:
    """Tokens of a training text, spelling left as it is."""
    return [
        make_token(word, start, end, language)
        for written, start, end in raw_words(fold(text).text)
        for part in split_digits(written)
        for word in expand(part, language)
    ]
