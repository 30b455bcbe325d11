"""Finding phrases in a row of tokens.

Both tries are walked from every token. A walk is bounded by the depth of the trie, by at most two gaps a phrase and
by each (node, position) being visited once, so the work grows linearly with the number of tokens.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from intakebot.understanding.lexicon import Lexicon, Node, Reading
from intakebot.understanding.phrase_grammar import GAPS
from intakebot.understanding.tokens import HARD, Sentence, Token

MAX_SKIPPED = 4
"""Most filler words in a row that may stand between two words of a phrase."""

LONG_GAP = GAPS["..."]
"""A gap of this size may end behind a comma ("I cleaned the lens, ever since ...")."""

MAX_LISTED = 6
"""Most members of one list of discs ("CDs, DVDs and games")."""

Arc = tuple[str, int, frozenset[str]]
"""Label, token index after it, disc classes named by it."""

_STRICT = frozenset(
    {"hypothetical", "question_openers", "request_openers", "intention", "past", "correction", "passive"}
)
"""Cue kinds whose members are read without fillers in between ("before that I" is not "before I")."""

_NONE: frozenset[str] = frozenset()

_State = tuple[Node, int, tuple[int, ...], frozenset[str], int]
"""Trie node, token position, tokens used, disc classes named, denying token skipped (-1: none)."""


@dataclass(frozen=True)
class Mark:
    """A member of a word class (cue kind) at tokens [start, end)."""

    kind: str
    start: int
    end: int


@dataclass(frozen=True)
class Match:
    """A phrase found: what it means and the tokens it used (skipped fillers and gaps not among them).

    denied_at: token index of a denying word inside the phrase that is no part of it ("the disc is *not* stuck").
    """

    reading: Reading
    used: tuple[int, ...]
    discs: frozenset[str]
    denied_at: int = -1

    @property
    def start(self) -> int:
        return self.used[0]

    @property
    def end(self) -> int:
        return self.used[-1] + 1


def _is_filler(token: Token, lexicon: Lexicon) -> bool:
    return token.word in lexicon.language.fillers or token.stem in lexicon.language.fillers


class Lattice:
    """Arcs between token positions: words, word classes, lists of discs; and where clauses begin and end."""

    def __init__(self, tokens: Sequence[Token], sentences: Sequence[Sentence], lexicon: Lexicon) -> None:
        self.tokens, self.lexicon = tokens, lexicon
        count = len(tokens)
        self.arcs: list[list[Arc]] = [[] for _ in range(count + 1)]
        self.filler = [_is_filler(token, lexicon) for token in tokens]
        self.negator = [token.word in lexicon.language.negators for token in tokens]
        self.hard_end = [0] * (count + 1)
        self.clause_start = [False] * (count + 1)
        self.clause_end = [False] * (count + 1)
        self.clause_of = [-1] * (count + 1)
        number = 0
        for sentence in sentences:
            for index in range(sentence.start, sentence.end):
                self.hard_end[index] = sentence.end
            for start, end in sentence.clauses:
                self.clause_start[start] = True
                self.clause_end[end] = True
                for index in range(start, end):
                    self.clause_of[index] = number
                number += 1
        self.marks: list[Mark] = []
        for index, token in enumerate(tokens):
            self.arcs[index].append((f"s:{token.stem}", index + 1, _NONE))
            self.arcs[index].append((f"x:{token.word}", index + 1, _NONE))
            if token.word.isdecimal() or token.word in lexicon.language.numbers:
                self.arcs[index].append(("c:number", index + 1, _NONE))
            elif token.is_word and any(c.isdecimal() for c in token.word):
                self.arcs[index].append(("c:code", index + 1, _NONE))
        for index in range(count):
            if tokens[index].word not in HARD:
                self._find_classes(index)
        self._find_lists()

    def _find_classes(self, start: int) -> None:
        limit = self.hard_end[start]
        stack: list[tuple[Node, int, bool]] = [(self.lexicon.classes, start, False)]
        seen: set[tuple[str, int]] = set()
        while stack:
            node, at, loose = stack.pop()
            for kind in node.members:
                if (kind, at) in seen or (loose and kind in _STRICT):
                    continue
                seen.add((kind, at))
                if kind.startswith("disc.") and at < limit and self._is_compound(at):
                    continue
                self.marks.append(Mark(kind, start, at))
                named = frozenset({kind.removeprefix("disc.")}) if kind.startswith("disc.") else _NONE
                self.arcs[start].append((f"c:{kind}", at, named))
                if named:
                    self.arcs[start].append(("c:disc", at, named))
            if at >= limit:
                continue
            self._class_step(node, at, stack, loose)
            if node is not self.lexicon.classes and (self.filler[at] or self.tokens[at].word == ","):
                skipped = self._after_fillers(at + (self.tokens[at].word == ","), limit)
                if skipped < limit:
                    self._class_step(node, skipped, stack, True)

    def _class_step(self, node: Node, at: int, stack: list[tuple[Node, int, bool]], loose: bool) -> None:
        for label in (f"s:{self.tokens[at].stem}", f"x:{self.tokens[at].word}"):
            for child in node.edges.get(label, ()):
                stack.append((child, at + 1, loose))

    def _is_compound(self, at: int) -> bool:
        """True when the word after a disc word makes it a thing of its own ("CD player")."""
        return self.tokens[at].stem in self.lexicon.compounds

    def _after_fillers(self, at: int, limit: int) -> int:
        stop = min(limit, at + MAX_SKIPPED)
        while at < stop and self.filler[at]:
            at += 1
        return at

    def _find_lists(self) -> None:
        """Lists such as "CDs, DVDs or games": one arc over the whole list for every class in it."""
        single: dict[int, list[tuple[int, str]]] = {}
        for mark in self.marks:
            if mark.kind.startswith("disc.") or mark.kind == "beside_discs":
                single.setdefault(mark.start, []).append((mark.end, mark.kind))
        for start in sorted(single):
            self._extend_list(start, single)

    def _extend_list(self, start: int, single: dict[int, list[tuple[int, str]]]) -> None:
        """Lists by commas are lists once a joining word, or a third member, shows it ("Blu-rays won't play, DVDs are fine"
        is none); a comma and "and" between two ("..., and the CDs are") begin something new."""
        end, kind = max(single[start])
        kinds = [kind]
        limit = self.hard_end[start]
        closed = False
        while len(kinds) < MAX_LISTED:
            at, comma, join = end, False, False
            while at < limit and at < end + 4:
                word = self.tokens[at].word
                if word in self.lexicon.language.joins:
                    join = True
                elif word == "," and kind != "disc.any":
                    comma = True
                elif not self.filler[at]:
                    break
                at += 1
            if not (comma or join) or at >= limit or at not in single:
                break
            if comma and join and len(kinds) == 1 and at > end + 2:
                break
            end, kind = max(single[at])
            kinds.append(kind)
            closed = closed or join or len(kinds) > 2
            named = frozenset(k.removeprefix("disc.") for k in kinds if k.startswith("disc."))
            if named and closed:
                self.arcs[start].append(("c:disc", end, named))
                for name in named:
                    self.arcs[start].append((f"c:disc.{name}", end, frozenset({name})))

    def find(self, root: Node | None = None) -> list[Match]:
        """Every phrase (of `root`, else of the family) at every place, before overlaps are settled."""
        found: list[Match] = []
        for start in range(len(self.tokens)):
            if self.tokens[start].word not in HARD:
                self._walk(start, root or self.lexicon.phrases, found)
        return found

    def _walk(self, start: int, root: Node, found: list[Match]) -> None:
        limit = self.hard_end[start]
        stack: list[_State] = [(root, start, (), _NONE, -1)]
        if self.clause_start[start]:
            stack.extend((child, start, (), _NONE, -1) for child in root.edges.get("^", ()))
        seen: set[tuple[int, int, int, frozenset[str], bool]] = set()
        while stack:
            node, at, used, discs, denied = stack.pop()
            key = (id(node), at, len(used), discs, denied >= 0)
            if key in seen:
                continue
            seen.add(key)
            if used:
                self._accept(node, at, used, discs, denied, found)
            if at >= limit:
                continue
            self._step(node, at, used, discs, denied, stack)
            if used and node.edges:
                skipped = self._after_fillers(at, limit)
                if skipped != at and skipped < limit:
                    self._step(node, skipped, used, discs, denied, stack)
                if denied < 0 and skipped < limit and self.negator[skipped]:
                    beyond = self._after_fillers(skipped + 1, limit)
                    if beyond < limit:
                        self._step(node, beyond, used, discs, skipped, stack)
            for size, child in node.gaps.items():
                self._gap(child, at, size, limit, used, discs, denied, stack)

    def _accept(
        self,
        node: Node,
        at: int,
        used: tuple[int, ...],
        discs: frozenset[str],
        denied: int,
        found: list[Match],
    ) -> None:
        if denied >= 0 and any(self.negator[index] for index in used):
            return
        found.extend(Match(reading, used, discs, denied) for reading in node.accepts)
        if self.clause_end[at]:
            for ending in node.edges.get("$", ()):
                found.extend(Match(reading, used, discs, denied) for reading in ending.accepts)

    def _step(
        self,
        node: Node,
        at: int,
        used: tuple[int, ...],
        discs: frozenset[str],
        denied: int,
        stack: list[_State],
    ) -> None:
        edges = node.edges
        for label, end, named in self.arcs[at]:
            for child in edges.get(label, ()):
                stack.append((child, end, (*used, *range(at, end)), discs | named, denied))

    def _gap(
        self, node: Node, at: int, size: int, limit: int, used: tuple[int, ...], discs: frozenset[str], denied: int,
        stack: list[_State],
    ) -> None:  # fmt: skip
        home = self.clause_of[used[-1]] if used else self.clause_of[at]
        for place in range(at, min(limit, at + size + 1)):
            stack.append((node, place, used, discs, denied))
            if size == LONG_GAP and self.tokens[place].word == "," and place + 1 < limit:
                stack.append((node, place + 1, used, discs, denied))
            if self.clause_of[place] != home or self.negator[place]:
                break


def settle(matches: Sequence[Match], independent: frozenset[str] = _NONE) -> list[Match]:
    """Drop what a longer match explains: tokens that are a true subset of another match's tokens.

    Two readings of the same tokens both stay, unless only one of them has a condition (device, said): that one stands. Facts in `independent` neither hide other facts nor are hidden by them, except by
    wordings that mean nothing ("power supply"). Matches are compared only where they overlap.
    """
    ordered = sorted(
        set(matches),
        key=lambda m: (m.start, -len(m.used), m.reading.fact, m.reading.value, m.used, m.denied_at),
    )
    sets = [frozenset(match.used) for match in ordered]
    kept: list[Match] = []
    begin = 0
    longest = 0
    for index, match in enumerate(ordered):
        longest = max(longest, match.end - match.start)
        while ordered[begin].start < match.start - longest:
            begin += 1
        covered = False
        other = begin
        while other < len(ordered) and ordered[other].start <= match.start:
            wider = sets[index] < sets[other] or (
                sets[index] == sets[other] and _narrower(ordered[other], match)
            )
            if other != index and wider and _covers(ordered[other], match, independent):
                covered = True
                break
            other += 1
        if not covered:
            kept.append(match)
    return kept


def _narrower(other: Match, match: Match) -> bool:
    """True when a wording with a condition stands beside one without, on the same words."""
    if match.reading.kind != "fact" or match.reading.devices or match.reading.said:
        return False
    return bool(other.reading.devices or other.reading.said)


def _covers(longer: Match, match: Match, independent: frozenset[str]) -> bool:
    if longer.reading.kind == "nothing" or longer.reading.fact == match.reading.fact:
        return True
    return match.reading.fact not in independent and longer.reading.fact not in independent
