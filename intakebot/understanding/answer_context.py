"""What the pending question makes of a message: the answer in it, the facts that follow, and what else such an answer says.

What the message states plainly stands against any wording; a bare span of years is the age; a question back answers nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from intakebot.definitions.checklists import NONE
from intakebot.definitions.facts import Value
from intakebot.definitions.model import Fact, Family, Question
from intakebot.understanding.answer_phrases import CONFLICT, CONTRARY, Context, Found
from intakebot.understanding.answer_words import ACKNOWLEDGING, AFTER_NO, PLAIN_NO
from intakebot.understanding.answers import AnswerRead, option_meant_by
from intakebot.understanding.facts_read import PhraseFacts
from intakebot.understanding.heard import Expecting, HeardFact, Option, Reply
from intakebot.understanding.quantities import in_years

HALF = Decimal("0.5")
AGE_CERTAINTY = 0.8
MOST_WORDS = 40
"""Longer messages are stories: only their plain statements count."""
VAGUE = ("other", "something_else")
"""Values that say little: a wording of the pending question may make them more exact."""


@dataclass(frozen=True)
class InContext:
    """What the pending question makes of a message.

    answer: to go on with; certainty: at most this for facts that follow from it. facts: read here.
    phrases: the ordinary readings without those whose words were the answer. answers: False for a question back.
    """

    answer: AnswerRead
    phrases: PhraseFacts
    certainty: float = 1.0
    facts: tuple[HeardFact, ...] = ()
    choice: str | None = None
    answers: bool = True

    def joined(self, answered: Sequence[HeardFact]) -> list[HeardFact]:
        """The facts read here, and those of the plain answer with no more certainty than its words have."""
        mine = {fact.fact for fact in self.facts}
        soft = [
            replace(fact, certainty=round(min(fact.certainty, self.certainty), 3))
            if fact.value is not None
            else fact
            for fact in answered
            if fact.fact not in mine and self.answers
        ]
        return [*self.facts, *soft]


def read_in_context(
    context: Context, answer: AnswerRead, phrases: PhraseFacts, others: Sequence[HeardFact]
) -> InContext:
    """What the message says as an answer to the pending question, beside what its sentences state."""
    expecting, question = context.expecting, context.question
    age = _age(context, (*phrases.facts, *others))
    if answer.reply is None and _asks_back(context):
        return InContext(AnswerRead((), None, None), phrases, answers=False)
    plain = InContext(answer, phrases, facts=age)
    if question is None or expecting is None or sum(t.is_word for t in context.tokens) > MOST_WORDS:
        return plain
    context.spent = _reply_tokens(context, answer)
    found = context.found(phrases.used)
    if _only_acknowledges(context, question, found):
        return InContext(AnswerRead((), None, None), phrases, answers=False)
    extra = tuple(_besides(context, found, phrases))
    best, certainty = context.chosen(found)
    if best is None and question.several and answer.reply == "no" and not _says_yes(question, phrases):
        return replace(plain, facts=(*extra, *age), choice=NONE)
    if best is None or _picked_outright(context, answer):
        asked = context.lexicon.family.facts.get(expecting.fact or "")
        who = asked is not None and asked.role == "attempt" and answer.reply is None and not answer.options
        known = context.roots is not None and who and _says_more_than_who(context)
        return replace(plain, facts=(*extra, *age), answers=not known)
    choice = best.choice
    if choice == "same":
        choice = context.same() or ""
    if best.own and "like.same" in _kinds_at(context, best) and context.same():
        choice = context.same() or choice
    phrases = _without(context, phrases, best)
    if question.several and choice in (NONE, "no"):
        if _says_yes(question, phrases):
            return replace(plain, facts=(*extra, *age))
        return InContext(AnswerRead((), "no", None), phrases, facts=(*extra, *age), choice=NONE)
    if age and not best.own:
        return plain
    span = (context.tokens[best.start].start, context.tokens[best.end - 1].end)
    if choice == "not_sure" or (not best.own and choice in ("yes", "no", "partly")):
        kind: Reply = "not_known" if choice == "not_sure" else "no" if choice == "no" else "yes"
        if answer.reply in ("yes", "no") and kind == "not_known":
            return replace(plain, facts=(*extra, *age))
        if answer.reply not in (None, kind) and answer.reply != "not_known":
            certainty *= CONFLICT
        options = option_meant_by(kind, expecting, context.lexicon.language)
        return InContext(AnswerRead(options, kind, span), phrases, certainty, (*extra, *age))
    sets = sets_of(context.lexicon.family, question, choice)
    if not sets:
        return replace(plain, facts=(*extra, *age))
    said = {f.fact: f.value for f in (*phrases.facts, *others) if f.value not in (None, *VAGUE)}
    options = _all_options(context.lexicon.family, question)
    if near_choice(options, phrases.facts, context.lexicon.family) not in (None, choice):
        return replace(plain, facts=(*extra, *age))
    if any(
        value is not None and said.get(fact, value) not in (value, None) and not _vaguer(value, said[fact])
        for fact, value in sets.items()
    ):
        return replace(plain, facts=(*extra, *age))
    if answer.reply in ("yes", "no") and _contrary(answer, sets, expecting):
        certainty *= CONFLICT
        if choice in CONTRARY and len(best.used) <= 2 and not context.spent & set(best.used):
            return replace(plain, certainty=certainty, facts=(*extra, *age))
    held = {fact.fact for fact in extra} | {fact for fact in said if fact in sets}
    mine = [
        context.fact(fact, value, certainty, best.start, best.end)
        for fact, value in sets.items()
        if fact not in held
    ]
    picked = tuple(o for o in expecting.options if o.id == choice or o.id.endswith(f":{choice}"))[:1]
    return InContext(
        AnswerRead((), answer.reply, span), phrases, certainty, (*mine, *extra, *_disc(context, best, sets)),
        picked[0].id if picked else None, answers=False,
    )  # fmt: skip


def _says_yes(question: Question, phrases: PhraseFacts) -> bool:
    """Whether the message says plainly that one of the things listed is so."""
    listed = {fact: value for choice in question.choices for fact, value in choice.sets.items()}
    return any(
        fact.value not in (None, "no", "nobody", "none") and fact.fact in listed for fact in phrases.facts
    )


def _reply_tokens(context: Context, answer: AnswerRead) -> frozenset[int]:
    """The tokens of a yes or no before the answer: its "no" denies nothing behind it."""
    plain = frozenset(i for i, t in enumerate(context.tokens) if t.word in PLAIN_NO)
    if [t.word for t in context.tokens[:1]] == ["no"] and {t.word for t in context.tokens[1:2]} & AFTER_NO:
        plain |= {0}
    if answer.reply not in ("yes", "no") or answer.span is None:
        return plain
    start, end = answer.span
    return plain | frozenset(i for i, t in enumerate(context.tokens) if start <= t.start < end)


def _asks_back(context: Context) -> bool:
    """Whether the whole message is a question."""
    return bool(context.sentences) and all(context.asks(sentence) for sentence in context.sentences)


def _only_acknowledges(context: Context, question: Question, found: Sequence[Found]) -> bool:
    """ "Ok" and the like say neither yes nor no; offered help ("shall a person take over?") they accept, and where a
    question has such a choice of its own ("do CDs play?") they pick it."""
    words = [token.word for token in context.tokens if token.is_word]
    if question.tier != "triage" or (question.choices and any(item.own for item in found)):
        return False
    return 0 < len(words) <= 3 and all(word in ACKNOWLEDGING for word in words)


def _says_more_than_who(context: Context) -> bool:
    """Whether words of weight stand beside the person named: "my wife is annoyed" does not say who opened it."""
    named = {
        i
        for mark in context.lattice.marks
        if mark.kind.startswith("who.")
        for i in range(mark.start, mark.end)
    }
    return any(heavy and i not in named for i, heavy in enumerate(context.heavy))


def _picked_outright(context: Context, answer: AnswerRead) -> bool:
    """A number, a letter or a whole label was said: that stands."""
    if not answer.options or answer.reply is not None:
        return False
    heavy = [t.word for t, h in zip(context.tokens, context.heavy, strict=True) if h]
    label = answer.options[0].label.lower()
    return len(heavy) <= 1 or all(word in label for word in heavy)


def _kinds_at(context: Context, found: Found) -> frozenset[str]:
    return frozenset(m.kind for m in context.lattice.marks if m.start == found.start and m.end == found.end)


def _vaguer(value: Value, said: Value | None) -> bool:
    return value == "someone" and said not in (None, "nobody")


def _contrary(answer: AnswerRead, sets: Mapping[str, Value | None], expecting: Expecting) -> bool:
    meant = answer.options[0].sets if answer.options else {}
    return any(fact in sets and sets[fact] != value for fact, value in meant.items())


def sets_of(family: Family, question: Question, choice: str) -> Mapping[str, Value | None]:
    """What a choice of a question says; empty when it has no such choice."""
    for each in question.choices:
        if each.id == choice:
            return each.sets
    if question.choices or len(question.fills) != 1:
        return {}
    fact = family.facts[question.fills[0]]
    options: tuple[str, ...] = ("yes", "no") if fact.type == "yes_no" else fact.options
    return {fact.id: choice} if choice in options else {}


def _without(context: Context, phrases: PhraseFacts, best: Found) -> PhraseFacts:
    """The ordinary readings, without those of the facts in `over` whose words are in the answer."""
    over = context.lexicon.over.get(context.asked, frozenset())
    start, end = context.span(best.start, best.end)
    facts = tuple(f for f in phrases.facts if f.fact not in over or f.span[1] <= start or f.span[0] >= end)
    return phrases if len(facts) == len(phrases.facts) else replace(phrases, facts=facts)


def _besides(context: Context, found: Sequence[Found], phrases: PhraseFacts) -> Iterator[HeardFact]:
    said = {fact.fact for fact in phrases.facts}
    seen: set[str] = set()
    for item in sorted(found, key=lambda f: (-len(f.used), f.start, f.choice)):
        fact, _, value = item.choice.partition("=")
        if value and fact not in said and fact not in seen:
            seen.add(fact)
            yield context.fact(fact, value, item.certainty, item.start, item.end)


def _disc(context: Context, best: Found, sets: Mapping[str, Value | None]) -> Iterator[HeardFact]:
    """The class of the disc that an answer named as the one inside."""
    wanted, stuck = context.lexicon.role("stuck_disc_class"), context.lexicon.role("stuck_disc")
    if wanted is None or stuck is None or sets.get(stuck.id) != "yes":
        return
    named = [option for option in wanted.options if option in best.discs]
    if len(named) == 1:
        yield context.fact(wanted.id, named[0], best.certainty, best.start, best.end)


def _age(context: Context, said: Sequence[HeardFact]) -> tuple[HeardFact, ...]:
    """A bare span of years, whatever was asked, is the age of the device while that is not known."""
    fact = context.lexicon.role("age_years")
    if (
        fact is None
        or fact.id in context.known
        or any(f.fact == fact.id for f in said)
        or len(context.numbers) != 1
    ):
        return ()
    if context.expecting is None:
        return ()
    asked = context.lexicon.family.facts.get(context.expecting.fact or "")
    if asked is not None and asked.type in ("count", "amount", "date", "text"):
        return ()
    number = context.numbers[0]
    if number.end >= len(context.tokens):
        return ()
    unit = context.lexicon.language.units.get(context.tokens[number.end].word)
    years = in_years(number.value, unit) if unit in ("years", "months", "decades") else None
    if years is None or not _allowed(fact, int(years + HALF)):
        return ()
    old = context.lexicon.language.cues.get("age", ())
    if any(
        heavy and not number.start <= i <= number.end and context.tokens[i].word not in old
        for i, heavy in enumerate(context.heavy)
    ):
        return ()
    if context.roots is not None and any(number.start in m.used for m in context.lattice.find(context.roots)):
        return ()
    return (context.fact(fact.id, int(years + HALF), AGE_CERTAINTY, number.start, number.end + 1),)


def _allowed(fact: Fact, value: int) -> bool:
    return (fact.minimum is None or value >= fact.minimum) and (fact.maximum is None or value <= fact.maximum)


def near_choice(options: Sequence[Option], facts: Sequence[HeardFact], family: Family) -> str | None:
    """The only option of which the message states something, outright or by what follows from it, and contradicts nothing."""
    values: dict[str, Value | None] = {}
    for heard in facts:
        for rule in family.facts[heard.fact].implies:
            if rule.value == heard.value:
                values[rule.fact] = rule.gives
    values |= {heard.fact: heard.value for heard in facts}
    fitting = [option.id for option in options if _near(option, values)]
    return fitting[0] if len(fitting) == 1 else None


def _near(option: Option, values: Mapping[str, Value | None]) -> bool:
    told = {fact: value for fact, value in option.sets.items() if value is not None and fact in values}
    return bool(told) and all(
        values[fact] == value or _vaguer(value, values[fact]) for fact, value in told.items()
    )


def _all_options(family: Family, question: Question) -> tuple[Option, ...]:
    if question.choices:
        return tuple(Option(choice.id, "", choice.sets) for choice in question.choices)
    facts = [family.facts[fact] for fact in question.fills]
    if len(facts) != 1:
        return ()
    codes = ("yes", "no") if facts[0].type == "yes_no" else facts[0].options
    return tuple(Option(code, "", {facts[0].id: code}) for code in codes)
