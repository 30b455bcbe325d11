"""What a whole message leans to: being written to no more (`stop`), a person instead of the program (`person`), or neither.

The lists of `controls` and the patterns of `opt_out` know wordings that somebody wrote down. People find others. So every
message is also weighed by two logistic regressions over its words, pairs of words and pieces of words, learnt from labelled sentences
of all shipped languages (`leanings.json` names them; `tests/conversation/fit_leanings.py` fits it). A strong leaning
counts like a control; a weaker one is asked about, as yes or no, so that neither a wish is overheard nor a customer lost.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files

from intakebot.conversation.guard import key

MOST_WORDS = 40
PIECES = (3, 4, 5)
"""Letters of the pieces of words, which carry over to misspelt and unseen forms."""
SURE: Mapping[str, float] = {"stop": 0.95, "person": 0.8}
"""From here a leaning counts like a control: in the five-fold check of the fit 1 in 100 messages that only look like one leans so far."""
WORTH_ASKING = 0.25
"""From here it is asked about when nothing else was understood."""
WEIGHTY = 0.6
"""From here an opt-out is asked about whatever else the message says; a person is offered from `WORTH_ASKING` on."""


@dataclass(frozen=True)
class _Model:
    bias: float
    weights: Mapping[str, float]

    def chance(self, found: Set[str]) -> float:
        weights = [self.weights[each] for each in found & self.weights.keys()]
        if not weights:
            return 0.0
        return 1 / (1 + math.exp(-(sum(weights) / math.sqrt(len(weights)) + self.bias)))


@lru_cache(maxsize=64)
def leanings(text: str) -> Mapping[str, float]:
    """`stop` and `person` -> chance that this is what the message asks for."""
    found = frozenset(features(key(text)))
    return {wish: model.chance(found) for wish, model in _models().items()}


def features(folded: str) -> Iterator[str]:
    """folded: by `guard.key`. Words, pairs of neighbours and of next but one, and pieces of words."""
    words = folded.split()[:MOST_WORDS]
    framed = ["^", *words, "$"]
    for place, word in enumerate(framed):
        yield f"1 {word}"
        if place + 1 < len(framed):
            yield f"2 {word} {framed[place + 1]}"
        if place + 2 < len(framed):
            yield f"3 {word} {framed[place + 2]}"
    for word in words:
        marked = f"<{word}>"
        for size in PIECES:
            for start in range(len(marked) - size + 1):
                yield marked[start : start + size]


@cache
def _models() -> Mapping[str, _Model]:
    shipped = json.loads((files(__package__) / "leanings.json").read_text(encoding="utf-8"))
    return {wish: _Model(each["bias"], each["weights"]) for wish, each in shipped["wishes"].items()}
