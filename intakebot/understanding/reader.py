"""`understand`: one message in, everything it says out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from threading import Lock

from intakebot.definitions.facts import Value
from intakebot.definitions.model import Fact, Family
from intakebot.understanding.answer_book import with_answers
from intakebot.understanding.answer_context import near_choice, read_in_context
from intakebot.understanding.answer_phrases import Context
from intakebot.understanding.answers import read_answer
from intakebot.understanding.contacts import find_emails, find_phones
from intakebot.understanding.days import find_dates
from intakebot.understanding.doubt import Doubter, Weighed, make_doubter
from intakebot.understanding.english import ENGLISH
from intakebot.understanding.facts_read import PhraseFacts, read_phrases
from intakebot.understanding.folding import MAX_CHARS, Folded, fold
from intakebot.understanding.german import GERMAN
from intakebot.understanding.heard import Clause, Expecting, Heard, HeardFact, Span
from intakebot.understanding.language import Language
from intakebot.understanding.lexicon import Lexicon, build_lexicon
from intakebot.understanding.listed import without_list_signs
from intakebot.understanding.matching import Lattice
from intakebot.understanding.merging import answer_facts, choice_of, merge_facts
from intakebot.understanding.proposer import Proposer
from intakebot.understanding.quantities import find_amounts, find_counts, find_numbers
from intakebot.understanding.role_facts import Mentions, RoleFacts
from intakebot.understanding.scope import Scopes, find_scopes
from intakebot.understanding.spelling import Speller, make_speller
from intakebot.understanding.tokens import (
    Sentence,
    Token,
    expand,
    make_token,
    raw_words,
    sentences_of,
    split_digits,
)
from intakebot.understanding.trained import light_model

MAX_PROPOSALS = 3
MIN_WORDS = 2
"""Words a clause needs for a guess."""
READ_ALREADY = 0.8
"""What a guess is worth in a clause that a phrase has read something from: mostly it says that and nothing else."""
LEAST_LEAN, CLEARLY = 0.02, 1.5
"""Least chance of the choice an answer leans to, and how many times as likely as the next one it has to be. Low, as the question was
just asked: the alternative is to say that nothing was understood."""
LANGUAGES: Mapping[str, Language] = {"en": ENGLISH, "de": GERMAN}


@dataclass(frozen=True)
class Reader:
    """A compiled lexicon with its speller; `read` is a pure function of its arguments."""

    lexicon: Lexicon
    speller: Speller

    def read(
        self, text: str, expecting: Expecting | None = None, today: date | None = None, *,
        known: Mapping[str, Value] | None = None, region: str = "GB", proposals: bool = True,
    ) -> Heard:  # fmt: skip
        folded = fold(text)
        tokens, repaired = self._tokens(folded)
        tokens = without_list_signs(tokens, self.lexicon)
        sentences = sentences_of(tokens, self.lexicon.language)
        lattice = Lattice(tokens, sentences, self.lexicon)
        scopes = find_scopes(tokens, sentences, lattice, self.lexicon)
        expected = self.lexicon.family.facts.get(expecting.fact) if expecting and expecting.fact else None
        phrases = read_phrases(folded, tokens, lattice, scopes, self.lexicon, known or {}, expected)
        mentions = self._mentions(folded, tokens, lattice, today, region, expected)
        others = RoleFacts(
            folded, tokens, scopes, lattice.marks, self.lexicon, mentions, today, expected
        ).read()
        answer = read_answer(
            text, tokens, lattice.marks, expecting or Expecting(), expected, self.lexicon.language
        )
        context = Context(
            folded, tokens, sentences, lattice, scopes, self.lexicon, expecting, known or {}, mentions.numbers
        )
        meant = read_in_context(context, answer, phrases, others)
        answer, phrases = meant.answer, meant.phrases
        answered = meant.joined(
            answer_facts(folded, tokens, lattice.marks, scopes, answer, expecting, expected, phrases, others)
        )
        facts = merge_facts(phrases.facts, others, answered, self.lexicon)
        choice = (
            meant.choice
            or choice_of(answer, expecting, facts)
            or near_choice(expecting.options if expecting else (), facts, self.lexicon.family)
        )
        unread = self._unread(folded, tokens, phrases.used, facts)
        held = {fact.fact for fact in (*facts, *phrases.ruled_out)} | set(known or ())
        proposed: tuple[HeardFact, ...] = ()
        if proposals:
            guessed = self._propose(folded, tokens, sentences, scopes, phrases.used, held)
            weighed = self._weigh(facts, phrases, tokens, sentences, lattice, self._asked(expecting))
            facts, proposed = weighed.facts, (*weighed.doubted, *guessed)
        if proposals and expecting and not (facts or proposed or choice or answer.reply):
            proposed = self._likeliest(expecting, folded, tokens)
        return Heard(
            text, " ".join(token.word for token in tokens), self._clauses(folded, tokens, sentences, scopes),
            facts, phrases.ruled_out, proposed, choice, answer.reply,
            any(flag >= 0 for flag in scopes.correction), tuple(mentions.amounts), tuple(mentions.dates),
            tuple(mentions.counts), tuple(e for e, _ in mentions.emails), tuple(p for p, _ in mentions.phones),
            unread, repaired,
        )  # fmt: skip

    @cached_property
    def proposer(self) -> Proposer | None:
        """The light model, loaded or trained when it is first needed."""
        return light_model(self.lexicon)

    @cached_property
    def doubter(self) -> Doubter | None:
        """What tells facts from doubtful readings, made when it is first needed."""
        return make_doubter(self.lexicon, self.proposer)

    def _weigh(
        self, facts: tuple[HeardFact, ...], phrases: PhraseFacts, tokens: list[Token], sentences: list[Sentence],
        lattice: Lattice, asked: Set[str],
    ) -> Weighed:  # fmt: skip
        if self.doubter is None:
            return Weighed(facts, ())
        return self.doubter.weigh(facts, phrases, tokens, sentences, lattice.marks, asked)

    def _asked(self, expecting: Expecting | None) -> Set[str]:
        """The facts the pending question is about, by its choices or by what follows from them."""
        if expecting is None:
            return frozenset()
        family = self.lexicon.family
        asked = {fact for option in expecting.options for fact in option.sets}
        if expecting.fact is not None:
            asked.add(expecting.fact)
        question = family.questions.get(expecting.question or "")
        if question is not None:
            asked |= {*question.fills, *(fact for choice in question.choices for fact in choice.sets)}
        return asked | {f.id for f in family.facts.values() if any(rule.fact in asked for rule in f.implies)}

    def _propose(
        self, folded: Folded, tokens: list[Token], sentences: list[Sentence], scopes: Scopes, used: frozenset[int],
        held: Set[str],
    ) -> tuple[HeardFact, ...]:  # fmt: skip
        """Guesses for stated sentences and clauses; at most MAX_PROPOSALS, nothing that is read or known already."""
        if self.proposer is None:
            return ()
        best: dict[str, HeardFact] = {}
        for start, end in _units(sentences, scopes):
            words = [token for token in tokens[start:end] if token.is_word]
            if len(words) < MIN_WORDS or not any(word.stem in self.lexicon.stems for word in words):
                continue
            span = folded.span(tokens[start].start, tokens[end - 1].end)
            for fact, value, chance in self.proposer.guess(tokens[start:end]):
                chance *= READ_ALREADY if any(index in used for index in range(start, end)) else 1.0
                if fact not in held and (fact not in best or best[fact].certainty < chance):
                    quote = folded.original[span[0] : span[1]]
                    best[fact] = HeardFact(fact, value, round(chance, 3), span, quote, False, "model")
        ranked = sorted(best.values(), key=lambda heard: (-heard.certainty, heard.fact))
        return tuple(ranked[:MAX_PROPOSALS])

    def _likeliest(self, expecting: Expecting, folded: Folded, tokens: list[Token]) -> tuple[HeardFact, ...]:
        """The listed choice that an answer leans to of which nothing else could be read; empty when it leans to none.

        Of 138 such answers in a set nobody read this names a choice for 59, the right one for 35.
        """
        if self.proposer is None or not tokens:
            return ()
        chances, places = self.proposer.chances(tokens), self.proposer.places
        leans = sorted(
            (
                (float(chances[places[fact, str(value)]]), fact, value)
                for option in expecting.options
                for fact, value in list(option.sets.items())[:1]
                if (fact, str(value)) in places
            ),
            key=lambda lean: (-lean[0], lean[1], str(lean[2])),
        )
        if not leans or leans[0][0] < LEAST_LEAN or (len(leans) > 1 and leans[0][0] < CLEARLY * leans[1][0]):
            return ()
        chance, fact, value = leans[0]
        span = folded.span(tokens[0].start, tokens[-1].end)
        quote = folded.original[span[0] : span[1]]
        return (HeardFact(fact, value, round(chance, 3), span, quote, False, "model"),)

    def _mentions(
        self, folded: Folded, tokens: list[Token], lattice: Lattice, today: date | None, region: str,
        expected: Fact | None,
    ) -> Mentions:  # fmt: skip
        language = self.lexicon.language
        numbers = find_numbers(tokens, language)
        text = folded.original[:MAX_CHARS]
        cue = any(token.word in language.phone_words for token in tokens)
        return Mentions(
            numbers, find_amounts(folded, tokens, numbers, lattice.marks, language),
            find_counts(folded, tokens, numbers, language),
            find_dates(folded, tokens, numbers, lattice.marks, today, language) if today else (),
            find_emails(text), find_phones(text, region, expected=cue or (expected is not None and expected.role == "phone")),
        )  # fmt: skip

    def _unread(
        self, folded: Folded, tokens: list[Token], used: frozenset[int], facts: tuple[HeardFact, ...]
    ) -> tuple[Span, ...]:
        """Spans of content words nothing was read from."""
        language = self.lexicon.language
        out: list[Span] = []
        for index, token in enumerate(tokens):
            if index in used or not token.is_word or len(token.word) < 3:
                continue
            if (
                token.word in language.fillers
                or token.stem in language.fillers
                or token.word in language.subjects
            ):
                continue
            span = folded.span(token.start, token.end)
            if any(fact.span[0] <= span[0] and span[1] <= fact.span[1] for fact in facts):
                continue
            if not out or out[-1] != span:
                out.append(span)
        return tuple(out)

    def _tokens(self, folded: Folded) -> tuple[list[Token], dict[str, str]]:
        language = self.lexicon.language
        tokens: list[Token] = []
        repaired: dict[str, str] = {}
        for written, start, end in raw_words(folded.text):
            for part in split_digits(written):
                words = expand(part, language)
                if len(words) == 1 and words[0].isalpha():
                    better = repaired.get(words[0]) or self.speller.repair(words[0])
                    if better is not None:
                        repaired[words[0]] = better
                        words = tuple(w for piece in better.split() for w in expand(piece, language))
                tokens.extend(make_token(word, start, end, language) for word in words)
        return tokens, repaired

    def _clauses(
        self, folded: Folded, tokens: list[Token], sentences: list[Sentence], scopes: Scopes
    ) -> tuple[Clause, ...]:
        out: list[Clause] = []
        for sentence in sentences:
            for start, end in sentence.clauses:
                span = folded.span(tokens[start].start, tokens[end - 1].end)
                mood = "stated"
                if scopes.hypothetical[start] >= 0:
                    mood = "hypothetical"
                elif scopes.question[start] >= 0:
                    mood = "question"
                elif scopes.elsewhere[start] >= 0:
                    mood = "elsewhere"
                out.append(Clause(span, folded.original[span[0] : span[1]], mood))  # type: ignore[arg-type]
        return tuple(out)


def _units(sentences: list[Sentence], scopes: Scopes) -> Iterator[tuple[int, int]]:
    """What the light model looks at: every clause that is stated, and a whole sentence when all its clauses are."""
    for sentence in sentences:
        stated = [
            (start, end)
            for start, end in sentence.clauses
            if max(scopes.hypothetical[start], scopes.question[start], scopes.elsewhere[start]) < 0
        ]
        yield from stated
        if len(stated) > 1 and len(stated) == len(sentence.clauses):
            yield sentence.start, sentence.end


def make_reader(family: Family, locale: str) -> Reader:
    """Compile a family's phrases of one locale.

    Raises: LookupError for a locale without a language, BadInputError for a phrase that cannot be parsed.
    """
    language = LANGUAGES.get(locale.split("-")[0])
    if language is None:
        raise LookupError(f"no language for locale {locale!r}")
    lexicon = with_answers(build_lexicon(family, locale, language))
    speller = make_speller(lexicon.words, lexicon.stems, language)
    return Reader(lexicon, replace(speller, spared=lexicon.answer_words))


_READERS: dict[tuple[int, str], tuple[Family, Reader]] = {}
"""Compiled readers of the families in use; the family is kept so that its id() stays its own."""

_MOST_READERS = 16
_COMPILING = Lock()


def warm(family: Family, locale: str) -> Reader:
    """The reader of a family and locale, compiled once per Family object."""
    key = (id(family), locale)
    held = _READERS.get(key)
    if held is not None and held[0] is family:
        return held[1]
    with _COMPILING:  # threads that come first together must not each compile it
        held = _READERS.get(key)
        if held is None or held[0] is not family:
            if len(_READERS) >= _MOST_READERS:
                _READERS.clear()
            held = (family, make_reader(family, locale))
            _READERS[key] = held
        return held[1]


def understand(
    text: str, family: Family, locale: str, expecting: Expecting | None = None, today: date | None = None, *,
    known: Mapping[str, Value] | None = None, region: str = "GB", proposals: bool = True,
) -> Heard:  # fmt: skip
    """Read a message.

    Args:
        text: the message as it came; at most the first 4,000 folded characters are read.
        expecting: the pending question, so that short answers can be read.
        today: the day relative dates count from; without it they are not read.
        known: facts already held; only used to read ambiguous words (the device kind above all).
        region: country for telephone numbers without a country code.
        proposals: False switches the light model off: nothing is proposed, and no reading is doubted.
    Returns: what was heard; never raises for any text.
    """
    return warm(family, locale).read(text, expecting, today, known=known, region=region, proposals=proposals)
