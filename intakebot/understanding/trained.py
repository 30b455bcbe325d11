"""The light model as shipped: trained once for the sentences in flows/, instead of at every start.

A file of weights names, by a digest, all that it was trained from: labelled sentences, phrases, word classes and the settings of the
training. Where the digest is another one, as a workshop wrote sentences of its own or speaks another language, the
model is trained when it is first needed, which takes a few seconds. `tests/understanding/fit_light_model.py` writes the files.

A weight is kept as a whole number from -127 to 127, times one scale for each label.
"""

from __future__ import annotations

import hashlib
import json
from importlib.resources import files
from pathlib import Path

import numpy as np

from intakebot.understanding import features, proposer
from intakebot.understanding.lexicon import Lexicon
from intakebot.understanding.proposer import Proposer, least_chances, train_proposer

STEPS = 127


def light_model(lexicon: Lexicon) -> Proposer | None:
    """The shipped model where it was trained from this very lexicon, else one trained now; None when too little is labelled."""
    path = Path(str(files(__package__))) / name_of(lexicon)
    if path.is_file():
        with np.load(path, allow_pickle=False) as kept:
            if str(kept["digest"]) == digest_of(lexicon):
                weights = kept["steps"].astype(np.float32) * kept["scale"][None, :]
                labels = tuple((fact, value) for fact, value in kept["labels"].tolist())
                return Proposer(
                    labels,
                    weights,
                    kept["bias"],
                    least_chances(lexicon, labels),
                    lexicon.kinds,
                    lexicon.language,
                )
    return train_proposer(lexicon)


def write_model(lexicon: Lexicon, folder: Path) -> Path | None:
    """Train and write the file of a lexicon; None when too little is labelled."""
    model = train_proposer(lexicon)
    if model is None:
        return None
    scale = np.maximum(np.abs(model.weights).max(axis=0), 1e-6) / STEPS
    path = folder / name_of(lexicon)
    path.parent.mkdir(exist_ok=True)
    np.savez_compressed(
        path,
        digest=np.array(digest_of(lexicon)),
        labels=np.array(model.labels),
        steps=np.round(model.weights / scale).astype(np.int8),
        scale=scale.astype(np.float32),
        bias=model.bias,
    )
    return path


def name_of(lexicon: Lexicon) -> str:
    return f"trained/{lexicon.family.id}.{lexicon.language.locale}.npz"


def digest_of(lexicon: Lexicon) -> str:
    """Of everything that training looks at; the code itself is not part of it."""
    settings = [
        features.SIZE, features.MAX_WORDS, features.DENIED, features.LETTERS, proposer.EPOCHS, proposer.BATCH,
        proposer.RATE, proposer.PHRASE_WEIGHT, proposer.SLIGHT, proposer.RARE,
    ]  # fmt: skip
    sentences = [[each.text, dict(each.facts), sorted(each.open)] for each in lexicon.sentences]
    kinds = {word: list(members) for word, members in lexicon.kinds.items()}
    facts = [[fact.id, fact.type] for fact in lexicon.family.facts.values()]
    told = json.dumps([settings, sentences, lexicon.examples, kinds, facts], sort_keys=True)
    return hashlib.sha256(told.encode()).hexdigest()
