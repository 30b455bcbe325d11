"""Results listed under a sign: "Games: no", "CDs? yes", "DVDs - fine".

A colon, a question mark or a dash ends a sentence, so no phrase would reach over it. Between a disc class and its result
it only stands for "are", and is taken out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from intakebot.understanding.language import Language
from intakebot.understanding.lexicon import Lexicon
from intakebot.understanding.tokens import Token, expand, raw_words

_SIGNS = frozenset(":?-=")
_LONGEST_CLASS = 4
_LONGEST_RESULT = 4
"""Words of a class ("my old game discs") and of its result ("no problem at all"), at most."""


def without_list_signs(tokens: Sequence[Token], lexicon: Lexicon) -> list[Token]:
    """The tokens without the signs between a disc class and its result (cue kind `listed_result`)."""
    if not any(token.word in _SIGNS for token in tokens):
        return list(tokens)
    discs, results = frozenset(_stems(lexicon, "disc.")), frozenset(_stems(lexicon, "listed_result"))
    language = lexicon.language
    return [
        token
        for index, token in enumerate(tokens)
        if token.word not in _SIGNS
        or not _class_before(tokens, index, discs, language)
        or not _result_after(tokens, index, results)
    ]


def _stems(lexicon: Lexicon, kind: str) -> Iterator[str]:
    for name, listed in lexicon.cues.items():
        if name.startswith(kind) and name != "disc.any":
            for entry in listed:
                for written, _, _ in raw_words(entry):
                    yield from (lexicon.language.stem(word) for word in expand(written, lexicon.language))


def _class_before(tokens: Sequence[Token], at: int, discs: frozenset[str], language: Language) -> bool:
    """True when nothing but a disc class stands before the sign, back to the edge of the sentence or a comma."""
    start = at
    while start > 0 and tokens[start - 1].is_word and at - start <= _LONGEST_CLASS:
        start -= 1
    words = tokens[start:at]
    return (
        0 < len(words) <= _LONGEST_CLASS
        and words[-1].stem in discs
        and all(w.stem in discs or w.word in language.joins or w.word in language.fillers for w in words)
    )


def _result_after(tokens: Sequence[Token], at: int, results: frozenset[str]) -> bool:
    """True when a short result, and nothing else, stands after the sign."""
    end = at + 1
    while end < len(tokens) and tokens[end].is_word and end - at <= _LONGEST_RESULT + 1:
        end += 1
    words = tokens[at + 1 : end]
    return 0 < len(words) <= _LONGEST_RESULT and words[0].stem in results
