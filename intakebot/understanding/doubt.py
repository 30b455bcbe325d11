"""Which phrase readings are facts, and which had better be asked: a logistic regression over what is known when reading.

A phrase fits many sentences that do not mean it ("one says bin it", "played the rest of the film"). How often depends on
things that can be counted: what the light model thinks of the clause, how rare the matched words are, how many other
wordings say the same, whether the clause goes on. `CLUES` lists them; `doubt.json` holds their weights for each language,
with the messages they were fitted to. A reading whose chance is below `stated` becomes a proposal: the talk asks it as yes
or no. The rest are stated, no surer than their chance.

Never doubted: facts with purpose safety (a hazard missed is worse than a hazard asked), what the pending question asks,
fact values the light model has no label for, and a match that uses every word of weight of its sentence ("it grinds!";
of 146 such readings in the data of the fit 141 were right). Languages without weights, and families with few labelled sentences,
are read as they were: the model's chance means something only where it has learned.

The weights depend on the light model: fit them again (`tests/understanding/fit_doubt.py`) when many sentences are added.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files

from intakebot.understanding.facts_read import PhraseFacts
from intakebot.understanding.heard import HeardFact
from intakebot.understanding.lexicon import Lexicon
from intakebot.understanding.proposer import Floats, Proposer, words_of
from intakebot.understanding.tokens import Sentence, Token

CLUES = (
    "model",  # log odds of the light model for this value, the best of the clauses and the sentence it stands in
    "topic",  # the same for the likeliest other value of the fact
    "rarity",  # how rare the matched words of weight are: sum of log(sentences / sentences with the word), in fives
    "shared",  # other facts read from the same words, at most 2
    "support",  # wordings of the same value found anywhere in the message, nested ones too, at most 4
    "generic",  # says something of any disc ("it won't play"), where most messages go on to say of which
    "late",  # place in the message, 0 to 1
    "limited",  # a word in the clause that says "not all" or "another" ("only", "own", "new")
    "goes_on",  # the word behind the match goes on with the same thing ("played | the", "dvd player | and")
)
USUAL_SUPPORT = 2
"""For results of disc classes, whose wordings are many and are not counted."""
LEAST_SENTENCES = 1000
"""Fewer labelled sentences teach the light model too little for its chance to be a clue."""


@dataclass(frozen=True)
class Calibration:
    """Weights of one language. `stated`: least chance of a stated fact. `limiting`, `going_on`: the words of two clues."""

    bias: float
    weights: Mapping[str, float]
    stated: float
    limiting: frozenset[str]
    going_on: frozenset[str]

    def chance(self, clues: Mapping[str, float]) -> float:
        """Chance that the reading is what the customer means."""
        score = self.bias + sum(self.weights[clue] * value for clue, value in clues.items())
        return 1 / (1 + math.exp(-score))


@cache
def calibrations() -> Mapping[str, Calibration]:
    """Locale -> weights, as shipped in doubt.json."""
    shipped = json.loads((files(__package__) / "doubt.json").read_text(encoding="utf-8"))
    return {
        locale: Calibration(
            each["bias"], each["weights"], each["stated"], frozenset(each["limiting"]), frozenset(each["going_on"])
        )
        for locale, each in shipped["locales"].items()
    }  # fmt: skip


@dataclass(frozen=True)
class Weighed:
    """Facts that are stated, and doubted readings as proposals, likeliest first."""

    facts: tuple[HeardFact, ...]
    doubted: tuple[HeardFact, ...]


@dataclass(frozen=True)
class Doubter:
    """`spread`: stem -> how many of the labelled sentences hold it."""

    calibration: Calibration
    proposer: Proposer
    lexicon: Lexicon
    spread: Mapping[str, int]

    def weigh(
        self, facts: Sequence[HeardFact], phrases: PhraseFacts, tokens: Sequence[Token],
        sentences: Sequence[Sentence], spared: Set[str],
    ) -> Weighed:  # fmt: skip
        """Sort readings into stated facts and proposals. spared: facts that are never doubted."""
        stated: list[HeardFact] = []
        doubted: list[HeardFact] = []
        clues = dict(self.clues(facts, phrases, tokens, sentences))
        for heard in facts:
            if heard.fact not in clues or heard.fact in spared:
                stated.append(heard)
                continue
            chance = round(self.calibration.chance(clues[heard.fact]), 3)
            sure = replace(heard, certainty=min(heard.certainty, chance))
            (stated if chance >= self.calibration.stated else doubted).append(sure)
        return Weighed(tuple(stated), tuple(sorted(doubted, key=lambda f: (-f.certainty, f.fact))))

    def clues(
        self, facts: Sequence[HeardFact], phrases: PhraseFacts, tokens: Sequence[Token],
        sentences: Sequence[Sentence],
    ) -> Iterator[tuple[str, dict[str, float]]]:  # fmt: skip
        """Fact -> its clues, for every reading of a phrase that can be weighed."""
        heavy = [self._is_heavy(token) for token in tokens]
        read = [
            f for f in facts if f.source == "phrase" and f.value is not None and f.fact in phrases.matches
        ]
        chances: dict[tuple[int, int], Floats] = {}
        for heard in read:
            label = (heard.fact, str(heard.value))
            if label not in self.proposer.places or self._is_safety(heard.fact):
                continue
            match = phrases.matches[heard.fact]
            sentence = next(s for s in sentences if s.start <= match.start < s.end)
            touched = [(a, b) for a, b in sentence.clauses if a < match.end and b > match.start]
            used = frozenset(match.used)
            if all(at in used for at in range(sentence.start, sentence.end) if heavy[at]):
                continue
            model, topic = self._model(label, tokens, (*touched, (sentence.start, sentence.end)), chances)
            clause = range(touched[0][0], touched[-1][1])
            others = {tokens[i].word for i in clause} - {tokens[i].word for i in used}
            behind = tokens[match.end].word if match.end < sentence.end else ""
            rarity = sum(self._rarity(tokens[i].stem) for i in match.used if heavy[i])
            shared = sum(_overlap(heard, other) for other in read if other is not heard)
            clues = {
                "model": model,
                "topic": topic,
                "rarity": min(rarity, 15.0) / 5,
                "shared": min(2, shared),
                "support": min(4, phrases.support.get(heard.fact, USUAL_SUPPORT)),
                "generic": any(heard.fact == fact for fact, _ in self.lexicon.any_disc.values()),
                "late": match.start / len(tokens),
                "limited": bool(others & self.calibration.limiting),
                "goes_on": behind in self.calibration.going_on,
            }
            yield heard.fact, {clue: float(value) for clue, value in clues.items()}

    def _model(
        self, label: tuple[str, str], tokens: Sequence[Token], units: Sequence[tuple[int, int]],
        chances: dict[tuple[int, int], Floats],
    ) -> tuple[float, float]:  # fmt: skip
        """Log odds of the label, and of the likeliest other value of its fact. chances: those worked out before."""
        for start, end in units:
            if (start, end) not in chances:
                chances[start, end] = self.proposer.chances(tokens[start:end])
        place = self.proposer.places[label]
        rivals = [at for at in self.proposer.places_of[label[0]] if at != place]
        mine = max(float(chances[unit][place]) for unit in units)
        other = max((float(chances[unit][at]) for unit in units for at in rivals), default=0.0)
        return _log_odds(mine), _log_odds(other)

    def _rarity(self, stem: str) -> float:
        return math.log(len(self.lexicon.sentences) / (1 + self.spread.get(stem, 0)))

    def _is_heavy(self, token: Token) -> bool:
        language = self.lexicon.language
        light = (
            token.word in language.fillers
            or token.stem in language.fillers
            or token.word in language.subjects
        )
        return token.is_word and not light

    def _is_safety(self, fact_id: str) -> bool:
        fact = self.lexicon.family.facts[fact_id]
        return fact.role == "hazard" or "safety" in fact.purposes


def make_doubter(lexicon: Lexicon, proposer: Proposer | None) -> Doubter | None:
    """None where readings cannot be weighed: no weights for the language, or too few labelled sentences."""
    calibration = calibrations().get(lexicon.language.locale)
    if calibration is None or proposer is None or len(lexicon.sentences) < LEAST_SENTENCES:
        return None
    spread: dict[str, int] = {}
    for example in lexicon.sentences:
        for stem in {word.stem for word in words_of(example.text, lexicon.language)}:
            spread[stem] = spread.get(stem, 0) + 1
    return Doubter(calibration, proposer, lexicon, spread)


def _overlap(one: HeardFact, other: HeardFact) -> bool:
    return other.span[0] < one.span[1] and other.span[1] > one.span[0]


def _log_odds(chance: float) -> float:
    held = min(max(chance, 0.01), 0.99)
    return math.log(held / (1 - held))
