"""Which phrase readings are facts, and which had better be asked: a logistic regression over what is known when reading.

A phrase fits many sentences that do not mean it ("one says bin it", "played the rest of the film"). How often depends on
things that can be counted: what the light model thinks of the clause, how rare the matched words are, how many other
wordings say the same, whether the clause goes on. `CLUES` lists them; `doubt.json` holds their weights for each language,
with the messages they were fitted to. A reading whose chance is below `stated` becomes a proposal: the talk asks it as yes
or no. The rest are stated, no surer than their chance.

A hazard is asked unless it is plain (`HAZARD_SURE`): taken at its word it ends the talk, and asked it stops everything
else just the same. Never doubted: what a customer plans to do (the other facts with purpose safety), what the pending question asks,
fact values the light model has no label for, and a match that uses every word of weight of its sentence, or of its clause
where the value is not said of any disc ("my brother opened it"; of 257 such readings in the data of the fit 237 were right).
Languages without weights, and families with few labelled sentences,
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
from intakebot.understanding.matching import Mark, Match
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
ASIDE = ("who.", "hedge")
"""Words for people and doubts: a clause of which only they are left was read whole ("my brother opened it")."""
JOINING = frozenset({"and", "but"})
USUAL_SUPPORT = 2
"""For results of disc classes, whose wordings are many and are not counted."""
HAZARD_SURE = 0.86
"""Least chance of a hazard that is taken at its word. In the five labelled sets of messages (two of them never read) that states 73
rightly and 6 wrongly, asks about 11 that are one and 13 that are none ("smoke coming out of my ears"), and misses 3 of 87."""
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
class Site:
    """Where a match stands: its sentence, and the tokens of the clauses it touches. units: what the light model looks at."""

    sentence: Sentence
    clause: range
    units: tuple[tuple[int, int], ...]


def _site(match: Match, sentences: Sequence[Sentence]) -> Site:
    sentence = next(s for s in sentences if s.start <= match.start < s.end)
    touched = [(a, b) for a, b in sentence.clauses if a < match.end and b > match.start]
    units = (*touched, (sentence.start, sentence.end))
    return Site(sentence, range(touched[0][0], touched[-1][1]), units)


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
        sentences: Sequence[Sentence], marks: Sequence[Mark], spared: Set[str],
    ) -> Weighed:  # fmt: skip
        """Sort readings into stated facts and proposals. spared: facts that are never doubted."""
        stated: list[HeardFact] = []
        doubted: list[HeardFact] = []
        clues = dict(self.clues(facts, phrases, tokens, sentences, marks))
        for heard in facts:
            if heard.fact not in clues or heard.fact in spared:
                stated.append(heard)
                continue
            chance = round(self.calibration.chance(clues[heard.fact]), 3)
            sure = replace(heard, certainty=min(heard.certainty, chance))
            (stated if chance >= self._least(heard) else doubted).append(sure)
        return Weighed(tuple(stated), tuple(sorted(doubted, key=lambda f: (-f.certainty, f.fact))))

    def clues(
        self, facts: Sequence[HeardFact], phrases: PhraseFacts, tokens: Sequence[Token],
        sentences: Sequence[Sentence], marks: Sequence[Mark],
    ) -> Iterator[tuple[str, dict[str, float]]]:  # fmt: skip
        """Fact -> its clues, for every reading of a phrase that can be weighed."""
        read = [
            f for f in facts if f.source == "phrase" and f.value is not None and f.fact in phrases.matches
        ]
        heavy = [self._is_heavy(token) for token in tokens]
        aside = {i for m in marks if m.kind.startswith(ASIDE) for i in range(m.start, m.end)}
        hedged = {i for m in marks if m.kind == "hedge" for i in range(m.start, m.end)}
        generic = {fact for fact, _ in self.lexicon.any_disc.values()}
        chances: dict[tuple[int, int], Floats] = {}
        for heard in read:
            label, match = (heard.fact, str(heard.value)), phrases.matches[heard.fact]
            if label not in self.proposer.places or self._is_plan(heard.fact):
                continue
            site = _site(match, sentences)
            left = {i for i in range(site.sentence.start, site.sentence.end) if heavy[i]} - set(match.used)
            here = left.intersection(site.clause)
            if not left - hedged or not (here - aside or heard.fact in generic):
                continue
            model, topic = self._model(label, tokens, site.units, chances)
            rarity = sum(self._rarity(tokens[i].stem) for i in match.used if heavy[i])
            sharing = sum(
                _overlap(heard, other) and not self._same_act(heard, other)
                for other in read
                if other is not heard
            )
            beside = {tokens[i].word for i in site.clause} - {tokens[i].word for i in match.used}
            clues = {
                "model": model,
                "topic": topic,
                "rarity": min(rarity, 15.0) / 5,
                "shared": min(2, sharing),
                "support": min(4, phrases.support.get(heard.fact, USUAL_SUPPORT)),
                "generic": heard.fact in generic,
                "late": match.start / len(tokens),
                "limited": bool(beside & self.calibration.limiting),
                "goes_on": self._goes_on(match.end, site.sentence, tokens, phrases.used),
            }
            yield heard.fact, {clue: float(value) for clue, value in clues.items()}

    def _goes_on(self, at: int, sentence: Sentence, tokens: Sequence[Token], used: frozenset[int]) -> bool:
        """Whether the words from `at` on go on with what was matched; "and" and "but" before something else that was read
        do not."""
        if at >= sentence.end or tokens[at].word not in self.calibration.going_on:
            return False
        joins = tokens[at].word in JOINING
        return not (joins and any(i in used for i in range(at + 1, min(at + 4, sentence.end))))

    def _model(
        self, label: tuple[str, str], tokens: Sequence[Token], units: Sequence[tuple[int, int]],
        chances: dict[tuple[int, int], Floats],
    ) -> tuple[float, float]:  # fmt: skip
        """Log odds of the label, and of the likeliest other value of its fact. chances: those worked out before."""
        for start, end in units:
            if (start, end) not in chances:
                chances[start, end] = self.proposer.chances(tokens[start:end])
        if label not in self.proposer.places:
            return _log_odds(0), _log_odds(0)
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

    def _same_act(self, one: HeardFact, other: HeardFact) -> bool:
        """Two attempts by the same person: "replaced the laser" says that it was opened, too."""
        facts = self.lexicon.family.facts
        return one.value == other.value and facts[one.fact].role == facts[other.fact].role == "attempt"

    def _least(self, heard: HeardFact) -> float:
        """Least chance with which a reading is stated."""
        hazard = self.lexicon.family.facts[heard.fact].role == "hazard" and heard.value == "yes"
        return HAZARD_SURE if hazard else self.calibration.stated

    def _is_plan(self, fact_id: str) -> bool:
        """What a customer means to do, or needs."""
        fact = self.lexicon.family.facts[fact_id]
        return fact.role != "hazard" and "safety" in fact.purposes


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
