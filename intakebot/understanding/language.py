"""What the reader knows about a language, apart from any family of devices.

One `Language` value per locale, made in `english.py` and `german.py`. Families add their own words in
flows/<family>/phrases/<locale>.yaml; a cue kind of the same name there adds to the words here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Language:
    """Words with a grammatical job. Every word and phrase is folded (see folding.py) and lower case.

    Attributes:
        stem: word -> its stem; the same function is applied to phrases and messages.
        irregular: the words whose stem may begin otherwise than they do; every other stem is the beginning of its word.
        expansions: one written word -> the words it stands for ("wont" -> "will not").
        fillers: words that may stand between the words of a phrase without changing it ("even", "the").
        breaks: words that begin a new clause ("but", "because").
        joins: words that continue a list ("and", "or").
        negators: words that deny what follows in their clause.
        modal_negators: two-word denials of ability ("can not"); they deny only perceptions ("can not hear").
        perception: verbs that a modal negator does deny.
        scope_ends: words at which a denial stops ("just", "only").
        negators_after: words that deny the word before them ("knirscht nicht").
        openings: words before an answer that say nothing ("um, yes").
        after_reply, after_unsure: words that may follow a "yes" or "no", or a "don't know", that answers.
        position_words: words around a place in a list ("the second one please").
        phone_words: words that announce a telephone number.
        hedges: phrase -> factor on the certainty.
        cues: kind -> phrases. Kinds: hypothetical, question_openers, request_openers, unsure_whether, past, elsewhere,
            correction, intention, who.owner, who.friend, who.shop, who.nobody, passive, yes, no, not_known, declined,
            limit, deadline, approx.
    """

    locale: str
    spelling: str | None
    stem: Callable[[str], str]
    irregular: frozenset[str]
    expansions: Mapping[str, tuple[str, ...]]
    fillers: frozenset[str]
    breaks: frozenset[str]
    joins: frozenset[str]
    negators: frozenset[str]
    modal_negators: frozenset[tuple[str, str]]
    perception: frozenset[str]
    scope_ends: frozenset[str]
    subjects: frozenset[str]
    hedges: Mapping[str, float]
    cues: Mapping[str, tuple[str, ...]]
    numbers: Mapping[str, int]
    ordinals: Mapping[str, int]
    tens: Mapping[str, int]
    fractions: Mapping[str, str]
    units: Mapping[str, str]
    months: Mapping[str, int]
    weekdays: Mapping[str, int]
    currencies: Mapping[str, str]
    day_words: Mapping[str, int]
    period_words: Mapping[str, str]
    day_first: bool
    openings: frozenset[str]
    after_reply: frozenset[str]
    after_unsure: frozenset[str]
    position_words: frozenset[str]
    phone_words: frozenset[str]
    negators_after: frozenset[str] = frozenset()
