"""Spelling repair towards the words of the domain.

Only words that are in no general word list are touched, and only towards whole words the phrases use (or inflections
of them that the general list knows). Distance: Damerau-Levenshtein, 1 for words of 4 to 6 letters, 2 from 7 on,
never more; the first letter must agree unless two neighbours were swapped. Ties go to the commoner word.

Word list: the frequency dictionary of pyspellchecker (MIT licence), which ships English and German.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from rapidfuzz import process
from rapidfuzz.distance import DamerauLevenshtein
from spellchecker import SpellChecker

from intakebot.understanding.language import Language

MIN_LENGTH = 4
LONG = 7


@dataclass(frozen=True)
class Speller:
    """`known`: general word -> how often; `domain`: words a repair may lead to, by first two letters' independence;
    `spared`: other words that are right as they are."""

    known: Mapping[str, int]
    domain: tuple[str, ...]
    domain_set: frozenset[str]
    spared: frozenset[str] = frozenset()

    def repair(self, word: str) -> str | None:
        """The domain word meant, or None when the word is known, too short, or nothing is near."""
        if len(word) < MIN_LENGTH or len(word) > 24 or not word.isalpha() or word in self.domain_set:
            return None
        if word in self.known or word in self.spared:
            return None
        return self._nearest(word) or self._split(word)

    def _nearest(self, word: str) -> str | None:
        allowed = 1 if len(word) < LONG else 2
        found = process.extract(
            word, self.domain, scorer=DamerauLevenshtein.distance, score_cutoff=allowed, limit=6
        )
        best: tuple[float, int, str] | None = None
        for candidate, distance, _ in found:
            if len(candidate) < MIN_LENGTH - (distance == 1) or abs(len(candidate) - len(word)) > allowed:
                continue
            same_start = candidate[0] == word[0] or candidate[:2] == word[1::-1]
            if not same_start:
                continue
            key = (float(distance), -self.known.get(candidate, 0), candidate)
            if best is None or key < best:
                best = key
        return best[2] if best else None

    def _split(self, word: str) -> str | None:
        """Two domain words run together ("discdrive" -> "disc drive")."""
        if len(word) < 6:
            return None
        for cut in range(2, len(word) - 2):
            if (
                word[:cut] in self.domain_set
                and word[cut:] in self.domain_set
                and min(cut, len(word) - cut) >= 2
            ):
                return f"{word[:cut]} {word[cut:]}"
        return None


@lru_cache(maxsize=4)
def general_words(spelling: str) -> Mapping[str, int]:
    """The general word list of a language: folded word -> frequency."""
    checker = SpellChecker(language=spelling)
    return dict(checker.word_frequency.items())


def make_speller(words: frozenset[str], stems: frozenset[str], language: Language) -> Speller:
    """A speller for a lexicon's words and the inflections of them that are general words."""
    known = dict(general_words(language.spelling)) if language.spelling else {}
    domain = {word for word in words if word.isalpha() and len(word) >= 2}
    heads = {stem[:2] for stem in stems}
    near = (word for word in known if word[:2] in heads or word in language.irregular)
    domain |= {word for word in near if len(word) <= 14 and word.isalpha() and language.stem(word) in stems}
    targets = tuple(sorted(word for word in domain if len(word) >= 3))
    return Speller(known, targets, frozenset(domain))
