"""Who says what about which device, and how surely: denial, doubt, mood and person around a match.

The idea follows NegEx (Chapman et al. 2001) and ConText (Harkema et al. 2009): a cue word opens a scope that runs to
the end of its clause, a few words at most, or to a word that ends it. A cue that is itself part of the matched phrase
("won't play") does not act on that phrase.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from intakebot.understanding.lexicon import Lexicon
from intakebot.understanding.matching import Lattice, Mark, Match
from intakebot.understanding.tokens import Sentence, Token

NEGATION_REACH = 7
"""Words a denial reaches at most (ConText's usual window is of this size)."""

_ALTERNATIVES = frozenset({"or", "nor", "oder", "noch"})
IF_REACH = 9
LIST_REACH = 12


@dataclass(frozen=True)
class Scopes:
    """Per token: index of the denying token (-1: none), doubt factor and the token it starts at, and cue flags."""

    negator: tuple[int, ...]
    sentence_of: tuple[int, ...]
    clause_of: tuple[int, ...]
    hedge: tuple[float, ...]
    hypothetical: tuple[int, ...]
    question: tuple[int, ...]
    elsewhere: tuple[int, ...]
    past: tuple[int, ...]
    unsure: tuple[int, ...]
    intention: tuple[int, ...]
    correction: tuple[int, ...]


def find_scopes(
    tokens: Sequence[Token], sentences: Sequence[Sentence], lattice: Lattice, lexicon: Lexicon
) -> Scopes:
    """Work out every scope in one pass over the marks."""
    count = len(tokens)
    sentence_of = [-1] * count
    for number, sentence in enumerate(sentences):
        for index in range(sentence.start, sentence.end):
            sentence_of[index] = number
    by_kind: dict[str, list[Mark]] = {}
    for mark in lattice.marks:
        by_kind.setdefault(mark.kind, []).append(mark)
    clause_of = lattice.clause_of
    clause_end = [0] * count
    for sentence in sentences:
        for start, end in sentence.clauses:
            for index in range(start, end):
                clause_end[index] = end

    factual = {mark.start for mark in by_kind.get("factual_if", ())}

    def spread(kind: str, reach: int, *, past_second_subject: bool = True) -> list[int]:
        flags = [-1] * count
        for mark in by_kind.get(kind, ()):
            if sentence_of[mark.start] < 0 or (kind == "hypothetical" and mark.start in factual):
                continue
            stop = min(mark.end + reach, max(clause_end[mark.start], clause_end[mark.end - 1]))
            seen_subjects = 0
            for index in range(mark.start, stop):
                if index >= mark.end and not past_second_subject:
                    seen_subjects += tokens[index].word in lexicon.language.subjects
                    if seen_subjects >= 2 and index >= mark.end + 2:
                        break
                flags[index] = mark.start
        return flags

    hedge = [1.0] * count
    for mark in by_kind.get("hedge", ()):
        factor = _hedge_factor(tokens, mark, lexicon)
        clause = clause_of[mark.start]
        index = mark.start
        while index > 0 and clause_of[index - 1] == clause and mark.start - index < 10:
            index -= 1
        while index < count and clause_of[index] == clause and index - mark.end < 12:
            hedge[index] = min(hedge[index], factor)
            index += 1
        if clause_of[mark.start] != clause_of[
            min(mark.end, count - 1)
        ] or mark.end - mark.start == _clause_length(clause_of, mark.start):
            _hedge_neighbour(tokens, sentence_of, hedge, mark, factor)
    return Scopes(
        tuple(_negators(tokens, sentences, lexicon, _idle(lattice.marks))), tuple(sentence_of), tuple(clause_of[:count]), tuple(hedge),
        tuple(spread("hypothetical", IF_REACH, past_second_subject=False)),
        tuple(_questions(tokens, sentences, by_kind, lexicon)),
        tuple(_whole_clause("elsewhere", by_kind, clause_of, count)),
        tuple(spread("past", 12)), tuple(spread("unsure_whether", 14)),
        tuple(spread("intention", 5)), tuple(spread("correction", 1)),
    )  # fmt: skip


def _clause_length(clause_of: Sequence[int], at: int) -> int:
    start = end = at
    while start > 0 and clause_of[start - 1] == clause_of[at]:
        start -= 1
    while end < len(clause_of) and clause_of[end] == clause_of[at]:
        end += 1
    return end - start


def _hedge_factor(tokens: Sequence[Token], mark: Mark, lexicon: Lexicon) -> float:
    words = " ".join(tokens[index].word for index in range(mark.start, mark.end))
    stems = " ".join(tokens[index].stem for index in range(mark.start, mark.end))
    return lexicon.language.hedges.get(words, lexicon.language.hedges.get(stems, 0.65))


def _hedge_neighbour(
    tokens: Sequence[Token], sentence_of: Sequence[int], hedge: list[float], mark: Mark, factor: float
) -> None:
    """A doubt that stands alone between commas ("should be the original, I think") acts on the words before it."""
    index = mark.start - 1
    sentence = sentence_of[mark.start]
    while index >= 0 and sentence_of[index] == sentence and not tokens[index].is_word:
        index -= 1
    steps = 0
    while index >= 0 and sentence_of[index] == sentence and tokens[index].is_word and steps < 10:
        hedge[index] = min(hedge[index], factor)
        index -= 1
        steps += 1


def _idle(marks: Sequence[Mark]) -> frozenset[int]:
    """Tokens of doubts: the "not" of "not sure" denies nothing."""
    doubts = ("hedge", "unsure_whether")
    return frozenset(index for mark in marks if mark.kind in doubts for index in range(mark.start, mark.end))


def _negators(
    tokens: Sequence[Token], sentences: Sequence[Sentence], lexicon: Lexicon, idle: frozenset[int]
) -> list[int]:
    """Per token the denying token before it, with reach, scope ends, modal verbs and lists ("no smoke, smell or sparks")."""
    language = lexicon.language
    out = [-1] * len(tokens)
    for sentence in sentences:
        has_or = [0] * (sentence.end - sentence.start + 1)
        for index in range(sentence.end - 1, sentence.start - 1, -1):
            offset = index - sentence.start
            has_or[offset] = (
                LIST_REACH if tokens[index].word in _ALTERNATIVES else max(0, has_or[offset + 1] - 1)
            )
        active, left, modal = -1, 0, False
        for index in range(sentence.start, sentence.end):
            token = tokens[index]
            if token.word == ",":
                if active >= 0 and has_or[index - sentence.start]:
                    left = max(left, 3)
                else:
                    active = -1
                continue
            if not token.is_word and token.word in '()"[]':
                active = -1
                continue
            if (
                token.word in language.scope_ends
                or token.word in language.breaks
                or _relative(tokens, index, lexicon)
            ):
                active = -1
                continue
            if token.word in language.negators and index not in idle:
                previous = tokens[index - 1].word if index > sentence.start else ""
                modal = (previous, token.word) in language.modal_negators
                active, left = index, NEGATION_REACH
                continue
            if active >= 0:
                if modal and token.stem in language.perception:
                    modal = False
                if token.word in _ALTERNATIVES:
                    left = max(left, 4)
                if left > 0 and not modal:
                    out[index] = active
                left -= 1
                if left <= 0:
                    active = -1
    return out


def _relative(tokens: Sequence[Token], index: int, lexicon: Lexicon) -> bool:
    """True at the "that" of "no need to send the disc that is stuck": what follows is not denied."""
    after = tokens[index + 1].stem if index + 1 < len(tokens) else ""
    return tokens[index].word in lexicon.language.cues.get("relative_pronoun", ()) and after in (
        "be",
        "get",
        "have",
    )


def _questions(
    tokens: Sequence[Token], sentences: Sequence[Sentence], by_kind: dict[str, list[Mark]], lexicon: Lexicon
) -> list[int]:
    """Per token the start of a question that does not assert what it asks ("is the lens dirty?")."""
    out = [-1] * len(tokens)
    clause_start: dict[int, tuple[int, Sentence]] = {}
    for sentence in sentences:
        for start, end in sentence.clauses:
            clause_start[start] = (end, sentence)
    relative = lexicon.language.cues.get("relative", ())
    for mark in by_kind.get("question_openers", ()):
        opener_at = mark.start
        for start in range(opener_at, max(-1, opener_at - 3), -1):
            if start in clause_start:
                end, sentence = clause_start[start]
                if not sentence.is_question and not _opens(tokens, start, opener_at, lexicon):
                    break
                for index in range(opener_at, end):
                    if index >= mark.end and tokens[index].word in relative and index > mark.end + 1:
                        break
                    out[index] = opener_at
                break
    return out


def _opens(tokens: Sequence[Token], start: int, at: int, lexicon: Lexicon) -> bool:
    """True when only words such as "so" or "well" stand before a question's opening: "it is the tray" asks nothing."""
    language = lexicon.language
    return all(
        token.word in language.openings or token.word in language.joins or token.word in language.breaks
        for token in tokens[start:at]
    )


def _whole_clause(
    kind: str, by_kind: dict[str, list[Mark]], clause_of: Sequence[int], count: int
) -> list[int]:
    """Flag the clause a mark stands in, from its first word to its last."""
    flagged: dict[int, int] = {}
    for mark in by_kind.get(kind, ()):
        flagged.setdefault(clause_of[mark.start], mark.start)
    return [flagged.get(clause_of[index], -1) for index in range(count)]


def within(flags: Sequence[int], match: Match) -> bool:
    """True when a cue outside the match covers its first or last word."""
    used = frozenset(match.used)
    return any(flags[index] >= 0 and flags[index] not in used for index in (match.used[0], match.used[-1]))


def negated(
    scopes: Scopes, match: Match, spent: frozenset[int], tokens: Sequence[Token], lexicon: Lexicon
) -> bool:
    """True when a denial outside every stated phrase covers the match ("no smoke"), or stands behind it ("smoke: no")."""
    language = lexicon.language
    used = frozenset(match.used)
    if match.denied_at >= 0:
        return True
    if any(tokens[index].word in language.negators for index in match.used):
        return False
    denying = scopes.negator[match.used[0]]
    if denying >= 0 and denying not in used and denying not in spent:
        return True
    after = match.end
    if after < len(tokens) and tokens[after].word in language.negators_after:
        return True
    while after < len(tokens) and tokens[after].word in (":", "?", "-", "=", ","):
        after += 1
    if match.end < after < len(tokens) and tokens[after].word in language.negators:
        return after + 1 == len(tokens) or not tokens[after + 1].is_word
    return False


def _agent(match: Match, scopes: Scopes, people: Sequence[Mark], agents: Sequence[Mark]) -> str | None:
    """The person behind "by": "fitted by a friend"."""
    for by in agents:
        if (
            scopes.sentence_of[by.start] == scopes.sentence_of[match.start]
            and match.start < by.start <= match.end + 3
        ):
            behind = [mark for mark in people if by.end <= mark.start <= by.end + 2]
            if behind:
                return min(behind, key=lambda m: (m.start, PEOPLE.index(m.kind))).kind.removeprefix("who.")
    return None


PEOPLE = ("who.nobody", "who.shop", "who.friend", "who.someone", "who.owner")


def who_did(
    match: Match, scopes: Scopes, tokens: Sequence[Token], people: Sequence[Mark], passive: Sequence[Mark],
    pronouns: Sequence[str],
    agents: Sequence[Mark],
) -> tuple[str, float]:  # fmt: skip
    """Who made an attempt, by the subject words around it, and how surely.

    Nearest named person before the act in its clause; then "by ..." behind it; then the clause before in the same
    sentence; a passive without a person is someone's; otherwise the writer did it.
    """
    sentence = scopes.sentence_of[match.start]
    clause = scopes.clause_of[match.start]
    here = [mark for mark in people if scopes.clause_of[mark.start] == clause]
    agent = _agent(match, scopes, people, agents)
    if agent is not None:
        return agent, 0.95
    named = [mark for mark in here if mark.kind != "who.owner" or mark.end <= match.start]
    others = [mark for mark in named if mark.kind != "who.owner"]
    if others:
        best = min(others, key=lambda m: (abs(m.start - match.start), PEOPLE.index(m.kind)))
        if tokens[best.start].word in pronouns:
            earlier = [m for m in people if m.start < best.start and m.kind in ("who.shop", "who.friend")]
            if earlier:
                return earlier[-1].kind.removeprefix("who."), 0.85
        return best.kind.removeprefix("who."), 0.95
    if any(
        scopes.clause_of[mark.start] == clause and match.start - 4 <= mark.start < match.end
        for mark in passive
    ) and not (named and any(mark.kind == "who.owner" for mark in named)):
        behind = [
            m
            for m in people
            if scopes.sentence_of[m.start] == sentence and match.end <= m.start <= match.end + 4
        ]
        if behind:
            return behind[0].kind.removeprefix("who."), 0.9
        return "someone", 0.8
    if named:
        return "owner", 0.95
    before = [
        mark for mark in people if scopes.sentence_of[mark.start] == sentence and mark.start < match.start
    ]
    if before:
        last = max(before, key=lambda m: (m.start, -PEOPLE.index(m.kind)))
        return last.kind.removeprefix("who."), 0.85
    return "owner", 0.8
