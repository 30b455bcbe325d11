"""Answers in people's own words: wordings that count only while their question is the pending one.

A family lists them by question and choice (flows/<family>/answers/<locale>.yaml); the yes, no and unsure words of a
language are in answer_words.py. A wording is an answer when it makes up its clause: words without weight may stand
beside it, a long wording bears a few other words, a short one none. So "fine" answers, "the tray is fine" does not.
In a question back nothing answers. What the same message says plainly about the same fact stands.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from intakebot.definitions.checklists import NONE
from intakebot.definitions.facts import Value
from intakebot.definitions.model import Question
from intakebot.understanding.answer_book import OPEN_END
from intakebot.understanding.answer_words import ASIDE, ASKING, ASKS, NEUTRAL
from intakebot.understanding.folding import Folded
from intakebot.understanding.heard import Expecting, HeardFact
from intakebot.understanding.lexicon import Lexicon, Node, Reading
from intakebot.understanding.matching import Lattice, Match
from intakebot.understanding.quantities import Number
from intakebot.understanding.scope import Scopes, negated, within
from intakebot.understanding.tokens import Sentence, Token

STORY = 12
"""Words from which a message is rather a story: it may begin with an answer, and goes on with other things."""
LOOSE = 3
"""Words of weight that may stand beside a wording of two words or more, of which one has weight."""
LOOSE_UNSURE = 2
"""The same for a "cannot tell" of the language ("have not tried shaking it")."""
OPEN_BEFORE, OPEN_LOOSE = 2, 6
"""Words of weight that may stand before and behind a wording that ends in a gap."""
CONTRARY: Mapping[str, str] = {"yes": "no", "no": "yes", "plays": "fails", "fails": "plays"}
KINDS: Mapping[str, str] = {
    "like.yes": "yes",
    "like.no": "no",
    "like.partly": "partly",
    "like.formerly": "no",
    "like.unsure": "not_sure",
    "like.none": NONE,
    "like.same": "same",
}
LIGHT = frozenset({"hedge", "like.partly", "like.unsure", "like.talk"})
"""Kinds whose words say how surely or how much; they may stand beside any wording."""
CERTAINTY: Mapping[str, float] = {"like.partly": 0.8, "like.formerly": 0.7}
SOFT_CERTAINTY = 0.9
CONFLICT = 0.6
"""Factor when two clauses of an answer say different things; the weightier, then the later one is taken."""


@dataclass(frozen=True)
class Found:
    """One wording found. `own`: of this question; else a word of the language. weight: words of weight it used."""

    choice: str
    own: bool
    certainty: float
    start: int
    end: int
    weight: int
    discs: frozenset[str]
    used: tuple[int, ...]


@dataclass
class Context:
    """One message and its pending question."""

    folded: Folded
    tokens: Sequence[Token]
    sentences: Sequence[Sentence]
    lattice: Lattice
    scopes: Scopes
    lexicon: Lexicon
    expecting: Expecting | None
    known: Mapping[str, Value]
    numbers: Sequence[Number] = ()
    spent: frozenset[int] = frozenset()
    heavy: list[bool] = field(default_factory=list)

    def __post_init__(self) -> None:
        language = self.lexicon.language
        neutral = (
            NEUTRAL.get(language.locale, frozenset())
            | language.fillers
            | language.subjects
            | language.openings
        )
        neutral |= self.lexicon.asked_words.get(self.asked, frozenset())
        light = {i for m in self.lattice.marks if m.kind in LIGHT for i in range(m.start, m.end)}
        self.heavy = [
            token.is_word and token.word not in neutral and token.stem not in neutral and index not in light
            for index, token in enumerate(self.tokens)
        ]

    @property
    def question(self) -> Question | None:
        return self.lexicon.family.questions.get(self.asked)

    @property
    def asked(self) -> str:
        """Id of the pending question, or ""."""
        return (self.expecting.question or "") if self.expecting is not None else ""

    @property
    def roots(self) -> Node | None:
        """The wordings of the pending question."""
        return self.lexicon.answers.get(self.asked)

    def span(self, start: int, end: int) -> tuple[int, int]:
        return self.folded.span(self.tokens[start].start, self.tokens[end - 1].end)

    def fact(self, fact: str, value: Value | None, certainty: float, start: int, end: int) -> HeardFact:
        span = self.span(start, end)
        return HeardFact(
            fact, value, round(certainty, 3), span, self.folded.original[span[0] : span[1]], False, "answer"
        )

    # ---- finding wordings

    def found(self, explained: frozenset[int]) -> list[Found]:
        """Every wording that makes up its clause, own ones and words of the language; in a story only such as begin it
        and are not `explained` as something else."""
        out: list[Found] = []
        matches = [(m, True) for m in self.lattice.find(self.roots)] if self.roots is not None else []
        matches += [
            (self._mark_match(m.kind, m.start, m.end), False) for m in self.lattice.marks if m.kind in KINDS
        ]
        story = sum(token.is_word for token in self.tokens) > STORY
        for match, own in matches:
            if story and not self._begins(match, explained):
                continue
            sentence = self._sentence(match.start)
            if sentence is None or self._asks(sentence, match):
                continue
            if within(self.scopes.hypothetical, match) or (within(self.scopes.elsewhere, match) and not own):
                continue
            clause = next((c for c in sentence.clauses if c[0] <= match.start < c[1]), None)
            if clause is None:
                continue
            if self._aside(clause, match):
                continue
            if not self._makes_up(
                clause, match, (LOOSE if own else LOOSE_UNSURE * (match.reading.value == "not_sure"))
            ):
                continue
            weight = sum(self.heavy[i] for i in match.used)
            choice = match.reading.value
            sure = match.reading.certainty * min(self.scopes.hedge[i] for i in match.used)
            if negated(self.scopes, match, self.spent, self.tokens, self.lexicon):
                choice = CONTRARY.get(choice, "")
                if not choice or match.reading.fact:
                    continue
            if sentence.is_question:
                sure *= CONFLICT
            out.append(
                Found(
                    f"{match.reading.fact}={choice}" if match.reading.fact else choice,
                    own,
                    sure,
                    match.start,
                    match.end,
                    weight,
                    match.discs,
                    match.used,
                )
            )
        return self._settled(out)

    def _begins(self, match: Match, explained: frozenset[int]) -> bool:
        """Whether the match stands in one of the first two clauses of the message, in words that nothing else was read from."""
        first = self.sentences[0].clauses[:2]
        return any(start <= match.start and match.end <= end for start, end in first) and not (
            explained & set(match.used)
        )

    def _aside(self, clause: tuple[int, int], match: Match) -> bool:
        """Whether the clause begins with something beside the device ("the telly is brand new")."""
        start, end = clause
        return any(
            self.tokens[i].word in ASIDE and i not in match.used for i in range(start, min(start + 2, end))
        )

    def _makes_up(self, clause: tuple[int, int], match: Match, loose: int) -> bool:
        """Whether a wording makes up its clause, or nearly: a long one bears `loose` other words, an open one some more
        behind it."""
        weight = sum(self.heavy[i] for i in match.used)
        before = sum(self.heavy[i] for i in range(clause[0], match.end) if i not in match.used)
        after = sum(self.heavy[i] for i in range(match.end, clause[1]))
        if before + after == 0:
            return True
        enough = len(match.used) >= 2 and (weight >= 1 or len(match.used) >= 3 or loose == LOOSE_UNSURE)
        most = loose if enough else 0
        if OPEN_END in match.reading.devices:
            return before <= max(most, OPEN_BEFORE) and after <= OPEN_LOOSE
        return before + after <= most

    def _mark_match(self, kind: str, start: int, end: int) -> Match:
        sure = CERTAINTY.get(kind, SOFT_CERTAINTY)
        return Match(Reading("fact", "", KINDS[kind], sure), tuple(range(start, end)), frozenset())

    def _sentence(self, at: int) -> Sentence | None:
        return next((s for s in self.sentences if s.start <= at < s.end), None)

    def asks(self, sentence: Sentence) -> bool:
        """Whether a sentence is a question back."""
        locale = self.lexicon.language.locale
        words = [token.word for token in self.tokens[sentence.start : sentence.end] if token.is_word]
        if sentence.is_question and words[:1] and words[0] in ASKING.get(locale, ()):
            return True
        return " ".join(words[:2]) in ASKS.get(locale, ()) or words[0:1] in [
            [o] for o in ASKS.get(locale, ())
        ]

    def _asks(self, sentence: Sentence, match: Match) -> bool:
        if self.asks(sentence):
            return True
        opener = self.scopes.question[match.start]
        starts = {start for start, _ in sentence.clauses}
        return within(self.scopes.question, match) and (sentence.is_question or opener in starts)

    @staticmethod
    def _settled(found: list[Found]) -> list[Found]:
        """Without what a longer wording explains; a question's own wording hides the language's on the same words."""
        kept = []
        for item in found:
            mine = set(item.used)
            facts = "=" in item.choice
            if not any(
                other is not item
                and facts == ("=" in other.choice)
                and (mine < set(other.used) or (mine == set(other.used) and other.own and not item.own)
                     or (other.own and not item.own and mine & set(other.used)))
                for other in found
            ):  # fmt: skip
                kept.append(item)
        return kept

    # ---- choosing

    def chosen(self, found: Sequence[Found]) -> tuple[Found | None, float]:
        """The wording that answers, and its certainty."""
        choices = [item for item in found if "=" not in item.choice and self._fits(item)]
        if not choices:
            return None, 0.0
        own = [item for item in choices if item.own]
        pool = own or choices
        best = max(
            pool,
            key=lambda item: (
                item.weight > 0,
                len(item.used) >= 2,
                item.start,
                len(item.used),
                item.certainty,
                item.choice,
            ),
        )
        certainty = best.certainty
        if any(item.choice != best.choice for item in pool):
            certainty *= CONFLICT
        return best, certainty

    def _fits(self, item: Found) -> bool:
        question = self.question
        if item.own or question is None:
            return item.own
        several = question.several
        if item.choice == NONE:
            return several
        if several:
            return item.choice == "no"
        if item.choice == "partly":
            return len(question.fills) == 1 and self.lexicon.family.facts[question.fills[0]].type == "yes_no"
        return True

    def same(self) -> str | None:
        """The value that the known facts of the same role share: "same" said of DVDs after CDs failed."""
        question = self.question
        if question is None or len(question.fills) != 1:
            return None
        asked = self.lexicon.family.facts[question.fills[0]]
        others = self.lexicon.facts_by_role.get(asked.role or "", ())
        values = {self.known[f.id] for f in others if f.id != asked.id and f.id in self.known}
        values -= {"not_tried", None}
        return str(values.pop()) if len(values) == 1 else None
