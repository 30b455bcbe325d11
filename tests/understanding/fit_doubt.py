"""Fit the weights of `intakebot/understanding/doubt.json` again and print what they are worth.

    python tests/understanding/fit_doubt.py [--write]

Rows are the readings of phrases on the even halves of the opened message sets and on the labelled sentences of the light
model, each right or wrong by its label; facts left open are no rows. Two things keep the fit honest:

- The even halves of the first two sets were read while phrases were written, so their readings are better than those of
  new messages. They count half, and a column of their own takes up the difference; it is left out of the shipped weights.
- The light model was trained on sentences of those messages. Each message is weighed by a model that did not see its
  sentences (three folds), each labelled sentence by one that did not see it.

A reading is stated from a chance of STATED on; the printed table, cross-validated by text over what was not read while
phrases were written, says what that costs. Logistic regression by Newton's method with a ridge.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import math
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from intakebot.definitions import load_definitions
from intakebot.definitions.model import Family
from intakebot.understanding import doubt, warm
from intakebot.understanding.doubt import CLUES, Doubter, make_doubter
from intakebot.understanding.facts_read import read_phrases
from intakebot.understanding.folding import fold
from intakebot.understanding.matching import Lattice
from intakebot.understanding.proposer import train_proposer
from intakebot.understanding.reader import Reader
from intakebot.understanding.scope import find_scopes
from intakebot.understanding.tokens import sentences_of

HERE = Path(__file__).parent
ROOT = HERE.parent.parent
SETS = {"frozen": True, "blind": True, "unseen_a": False}
"""Opened sets, and whether phrases were written while reading their even halves."""
FOLDS, ROUNDS = 3, 10
RIDGE = 5.0
READ_WEIGHT = 0.5
STATED = 0.5
"""More likely right than not. What is stated below 0.9 is no surer than its chance, so the list before the estimate waits for an
answer about it; in simulated talks this ended with fewer wrong facts than asking each of them (0.75 and 0.86 were tried)."""

Matrix = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Labelled:
    """A message or a sentence with its labels. read: phrases were written while reading it."""

    key: str
    text: str
    facts: dict[str, str]
    open: frozenset[str]
    read: bool


@dataclass(frozen=True)
class Row:
    """A reading. clues: empty for one that is never doubted."""

    key: str
    clues: tuple[float, ...]
    right: bool
    read: bool


def even_messages() -> Iterator[Labelled]:
    from test_understanding_frozen_messages import in_odd_half, read_messages

    for name, read in SETS.items():
        for m in read_messages(HERE / f"messages_{name}.jsonl"):
            if not in_odd_half(m):
                facts = {fact: str(value) for fact, value in m["facts"].items()}
                yield Labelled(m["id"], m["text"], facts, frozenset(m.get("open", ())), read)


def fold_of(key: str) -> int:
    return zlib.crc32(key.encode()) % FOLDS


def collect(family: Family, reader: Reader) -> list[Row]:
    """Every reading of the even messages and of the labelled sentences that come from none of them."""
    messages = list(even_messages())
    owners = {}
    for example in reader.lexicon.sentences:
        text = example.text.casefold()
        owners[text] = next((m.key for m in messages if text in m.text.casefold()), text)
    doubters = []
    for k in range(FOLDS):
        kept = tuple(e for e in reader.lexicon.sentences if fold_of(owners[e.text.casefold()]) != k)
        proposer = train_proposer(dataclasses.replace(reader.lexicon, sentences=kept))
        made = make_doubter(reader.lexicon, proposer)
        assert made is not None
        doubters.append(made)
    alone = [
        Labelled(text, example.text, dict(example.facts), frozenset(example.open), False)
        for example in reader.lexicon.sentences
        for text in [example.text.casefold()]
        if owners[text] == text
    ]
    covered = scored_facts(family)
    return [
        row
        for labelled in (*messages, *alone)
        for row in rows_of(labelled, reader, doubters[fold_of(labelled.key)], covered)
    ]


def scored_facts(family: Family) -> frozenset[str]:
    from test_understanding_frozen_messages import NOT_SCORED

    return frozenset(
        f.id for f in family.facts.values() if f.type in ("choice", "yes_no") and f.id not in NOT_SCORED
    )


def rows_of(labelled: Labelled, reader: Reader, doubter: Doubter, covered: frozenset[str]) -> Iterator[Row]:
    folded = fold(labelled.text)
    tokens, _ = reader._tokens(folded)
    sentences = sentences_of(tokens, reader.lexicon.language)
    lattice = Lattice(tokens, sentences, reader.lexicon)
    scopes = find_scopes(tokens, sentences, lattice, reader.lexicon)
    phrases = read_phrases(folded, tokens, lattice, scopes, reader.lexicon, {})
    facts = reader.read(labelled.text, proposals=False).facts
    values = {f.fact: str(f.value) for f in facts if f.certainty >= 0.5}
    weighed = dict(doubter.clues(facts, phrases, tokens, sentences, lattice.marks))
    for fact, value in values.items():
        right = labelled.facts.get(fact) == value
        if fact in covered and (right or fact not in labelled.open):
            clues = tuple(weighed[fact][name] for name in CLUES) if fact in weighed else ()
            yield Row(labelled.key, clues, right, labelled.read)


def fit(rows: list[Row]) -> tuple[float, Matrix]:
    """Bias and weights of the clues for messages that nobody has read."""
    rows = [row for row in rows if row.clues]
    x = np.array([(*row.clues, float(row.read)) for row in rows])
    y = np.array([float(row.right) for row in rows])
    counts = np.array([READ_WEIGHT if row.read else 1.0 for row in rows])
    mean, spread = x.mean(axis=0), x.std(axis=0)
    z = np.c_[(x - mean) / spread, np.ones(len(x))]
    ridge = np.diag([RIDGE] * x.shape[1] + [0.0])
    w = np.zeros(z.shape[1])
    for _ in range(30):
        p = 1 / (1 + np.exp(-z @ w))
        slope = z.T @ (counts * (p - y)) + ridge @ w
        curve = (z * (counts * p * (1 - p))[:, None]).T @ z + ridge
        w -= np.linalg.solve(curve, slope)
    weights = w[:-1] / spread
    return float(w[-1] - weights @ mean), weights[:-1]


def chances(bias: float, weights: Matrix, rows: list[Row]) -> list[float]:
    """1 for what is never doubted."""
    return [
        1 / (1 + math.exp(-float(np.dot(row.clues, weights)) - bias)) if row.clues else 1.0 for row in rows
    ]


def cross_validated(rows: list[Row]) -> tuple[Matrix, npt.NDArray[np.bool_]]:
    """Chance and truth of every reading of a text nobody had read, by fits that left the text out."""
    chance: list[float] = []
    truth: list[bool] = []
    for k in range(ROUNDS):
        out = [row for row in rows if zlib.crc32(f"cv {row.key}".encode()) % ROUNDS == k]
        held = [row for row in out if not row.read]
        dropped = {row.key for row in out}
        bias, weights = fit([row for row in rows if row.key not in dropped])
        chance.extend(chances(bias, weights, held))
        truth.extend(row.right for row in held)
    return np.array(chance), np.array(truth)


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--write", action="store_true")
    write = options.parse_args().write
    family = load_definitions(ROOT).families["disc_drive"]
    rows = collect(family, warm(family, "en"))
    chance, truth = cross_validated(rows)
    unread = [row for row in rows if not row.read]
    print(f"{len(rows)} readings, {len(unread)} of them from texts nobody had read, {truth.mean():.3f} right")
    for t in (0.5, 0.6, 0.65, 0.7, 0.75, 0.8, 0.85, 0.9):
        kept = chance >= t
        print(
            f"chance {t:.2f}: right {truth[kept].mean():.3f}, keeps {truth[kept].sum() / truth.sum():.3f} of the right"
        )
    doubtful = chance < 1
    edges = np.quantile(chance[doubtful], np.linspace(0, 1, 11))
    for low, high in pairwise(edges):
        part = doubtful & (chance >= low) & (chance <= high)
        print(f"  said {chance[part].mean():.2f} is {truth[part].mean():.2f}  ({part.sum()})")
    bias, weights = fit(rows)
    stated = chance >= STATED
    measured = f"{truth[stated].mean():.3f} of stated facts right, {truth[stated].sum() / truth.sum():.3f} of the right stated"
    named = {clue: round(float(w), 3) for clue, w in zip(CLUES, weights, strict=True)}
    print("bias", round(bias, 3), named, "stated from", STATED, measured)
    if write:
        put(named, round(bias, 3), f"{len(rows)} readings", measured)


def put(weights: dict[str, float], bias: float, readings: str, measured: str) -> None:
    place = Path(doubt.__file__).with_name("doubt.json")
    shipped: dict[str, Any] = json.loads(place.read_text(encoding="utf-8"))
    each = shipped["locales"]["en"]
    each["source"] = (
        f"tests/understanding/fit_doubt.py: {readings} of the even halves of messages_frozen, messages_blind and "
        f"messages_unseen_a and of the labelled sentences; cross-validated: {measured}"
    )
    each["bias"], each["weights"], each["stated"] = bias, weights, STATED
    place.write_text(json.dumps(shipped, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
