"""From a message to facts: understanding is asked once, then every heard fact is grounded by stake times doubt.

| stake  | sure                                 | doubtful                                         |
|--------|--------------------------------------|--------------------------------------------------|
| low    | taken silently                       | taken silently, certainty kept                   |
| medium | taken, echoed in the next message    | taken, echoed                                    |
| high   | taken, echoed, listed in the recap   | taken, then asked as yes/no before the estimate  |

A guess, and a reading of which understanding is in doubt, is only ever asked as yes/no. A hazard is never taken lightly: see `safety`. A value that contradicts a held one
supersedes it at once when it was asked for or said as a correction ("actually", "I meant"). Said in passing against a
confirmed value it is asked first when it is doubtful or the stake is high.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from intakebot.conversation.asking import Sets, answer_choices
from intakebot.conversation.checklist import (
    enter_list,
    enter_unpicked,
    listed_facts,
    note_answered,
    shown_items,
)
from intakebot.conversation.choosing import NOBODY, VAGUE, open_facts
from intakebot.conversation.entering import (
    confirm,
    drop_proposal,
    enter,
    heard_later,
    keep_later,
    rule_out,
    withdraw,
)
from intakebot.conversation.guard import readable
from intakebot.conversation.labels import thing
from intakebot.conversation.state import FactEntry, Pending, Proposal
from intakebot.conversation.work import Work
from intakebot.definitions.checklists import NONE
from intakebot.definitions.facts import Value
from intakebot.definitions.model import Fact, Question
from intakebot.definitions.values import parse_value
from intakebot.errors import BadInputError
from intakebot.understanding import Expecting, Heard, HeardFact, Option, understand

SURE = 0.85
"""At and above this certainty a stated value counts as sure (a hedge such as "I think" puts it below)."""
MOST_PROPOSALS = 6
"""Of one message: as many as a talk keeps. Readings in doubt come first, then guesses."""
MOST_FOREIGN_WORDS = 3
"""Of an answer in another language than the talk's ("no idea"); more words are a message in that language."""
FREE_TYPES = ("text", "count", "amount", "date")
Offered = tuple[str, str, Sets]


@dataclass(frozen=True)
class Understood:
    """anything: something usable was heard. answered: the pending question or check was answered. heard: all of it."""

    anything: bool
    answered: bool
    heard: Heard


def read(work: Work, text: str, locale: str | None = None) -> Understood:
    """Read a message into the working copy; facts of every kind count, asked for or not."""
    pending = work.conversation.pending
    expecting = expecting_of(work, pending, text)
    heard = _understood(work, text, locale, expecting)
    if heard.correction and pending is not None and pending.kind == "question":
        apart = _understood(work, text, locale, None)
        if _corrects_another(work, apart, asked_facts(work, pending)):
            heard = apart
    return take(work, _with_suggestions(work, heard), pending)


def _understood(work: Work, text: str, locale: str | None, expecting: Expecting | None) -> Heard:
    """In the language of the message; a word or two that say nothing in it may be an answer in another shipped one
    ("nope" in a German talk)."""
    own = locale or work.conversation.locale
    known = {fact: entry.value for fact, entry in work.facts.items() if entry.value is not None}
    words = readable(text)
    heard = understand(words, work.family, own, expecting, work.today, known=known)
    if (
        expecting is None
        or heard.facts
        or heard.choice
        or heard.reply
        or len(words.split()) > MOST_FOREIGN_WORDS
    ):
        return heard
    others = (
        understand(words, work.family, other, expecting, work.today, known=known, proposals=False)
        for other in work.definitions.locales
        if other != own
    )
    return next((each for each in others if each.reply), heard)


def _corrects_another(work: Work, apart: Heard, asked: Sequence[str]) -> bool:
    """Whether a correction, read for itself, puts right what is held of facts the open question is not about: then its words
    are no answer ("I meant it does take the disc in" does not say that one is inside)."""
    changed = {
        fact.fact
        for fact in apart.facts
        if fact.fact in work.facts and work.facts[fact.fact].value not in (None, fact.value)
    }
    return bool(changed) and not changed & set(asked)


def _with_suggestions(work: Work, heard: Heard) -> Heard:
    """What was heard, with a language model's proposals behind the light model's; nothing that is stated already."""
    said = {fact.fact for fact in (*heard.facts, *heard.proposals)}
    more = tuple(guess for guess in work.suggested if guess.fact not in said)
    return replace(heard, proposals=(*heard.proposals, *more)) if more else heard


def expecting_of(work: Work, pending: Pending | None, text: str = "") -> Expecting | None:
    """The pending question as understanding wants it: listed choices first, then the unlisted ones of the same question.

    A bare number is the number of a listed choice, as the customer sees it; any other number is a value ("15" to *how old?*).
    """
    if pending is None:
        return None
    question = question_of(work, pending)
    if question is not None and question.several:
        return Expecting(question=question.id)  # picks are read before; what is left is free words
    if question is not None:
        sets = {value: (label, values) for value, label, values in offered_choices(work, pending, question)}
        listed = [value for value, _ in pending.offered if value in sets]
        ordered = [*listed, *(value for value in sets if value not in listed)]
        options = tuple(Option(value, sets[value][0], sets[value][1]) for value in ordered)
        sole = question.fills[0] if len(question.fills) == 1 else None
        if sole is not None and work.fact(sole).type in FREE_TYPES:
            picks = text.strip(" .)").isascii() and text.strip(" .)") in {
                str(n + 1) for n in range(len(listed))
            }
            if question.choices and picks:
                sole = None
            elif not question.choices:
                options = ()
        return Expecting(fact=sole, question=question.id, options=options)
    fact = pending.fact
    if pending.kind == "confirm" and fact is not None and fact in work.family.facts:
        return Expecting(
            fact=None,
            options=tuple(
                Option(value, label, {fact: pending.value} if value.endswith(":yes") else {})
                for value, label in pending.offered
            ),
        )
    if pending.kind == "change" and fact is not None:
        return Expecting(fact=fact)
    return Expecting(options=tuple(Option(value, label, {}) for value, label in pending.offered))


def question_of(work: Work, pending: Pending | None) -> Question | None:
    """The question that is open, if one is and the definitions still have it."""
    if pending is None or pending.kind != "question" or pending.question is None:
        return None
    return work.family.questions.get(pending.question)


def take(work: Work, heard: Heard, pending: Pending | None) -> Understood:
    """Ground everything heard, then settle the pending question."""
    before = work.conversation.facts
    asked = asked_facts(work, pending)
    for fact in heard.facts:
        _ground(work, fact, heard.correction or fact.fact in asked)
    for fact in heard.ruled_out:
        _rule_out(work, fact)
    answered = _settle(work, heard, pending, set(before))
    stated = bool(heard.facts or heard.ruled_out)
    _propose(work, heard.proposals if not answered or not stated else _read(heard.proposals))
    return Understood(stated or answered or bool(work.conversation.proposals), answered, heard)


def asked_facts(work: Work, pending: Pending | None) -> tuple[str, ...]:
    """The facts the open question is about: a new value for one of them is meant, however softly it was said."""
    question = question_of(work, pending)
    if question is not None:
        return listed_facts(pending, question)
    return (pending.fact,) if pending is not None and pending.fact is not None else ()


def _ground(work: Work, heard: HeardFact, meant: bool) -> None:
    """Take one heard fact. meant: it was asked for, or said as a correction."""
    fact = work.family.facts.get(heard.fact)
    if fact is None or "bench" in fact.purposes:
        return
    if heard.value is None:
        if heard.fact not in work.facts:
            enter(
                work, heard.fact, None, status="not_known", source="text", span=heard.span, quote=heard.quote
            )
        return
    value = _valid(work, heard)
    if value is None:
        return
    if heard_later(work, heard.fact, value):
        keep_later(work, heard.fact, value)
        return
    old = work.facts.get(heard.fact)
    sure = heard.certainty >= SURE
    if _says_less(fact, value, old):
        return
    if not meant and _against_confirmed(old, value) and (not sure or fact.stake == "high"):
        add_proposal(work, Proposal(heard.fact, value, heard.certainty, heard.quote))
        return
    tapped = heard.source == "answer" and heard.certainty >= 0.99
    taken = enter(
        work,
        heard.fact,
        value,
        status="confirmed" if tapped else "heard",
        source="text",
        certainty=heard.certainty,
        span=heard.span,
        quote=heard.quote,
    )
    if not taken:
        work.acks.append(work.say("verified", things=_thing(work, heard.fact)))
        return
    drop_proposal(work, heard.fact)
    if tapped:
        return
    if fact.stake != "low" and (old is None or old.value != value):
        work.echoed.append((heard.fact, value))
    if fact.stake == "high" and not sure and work.facts[heard.fact].status == "heard":
        add_proposal(work, Proposal(heard.fact, value, heard.certainty, heard.quote))


def _says_less(fact: Fact, value: Value, old: FactEntry | None) -> bool:
    """A vague "someone" never replaces a named person, nor a later message the story told first."""
    if old is None:
        return False
    return fact.role == "story" or (
        fact.role == "attempt" and value == VAGUE and old.value not in (None, "nobody")
    )


def _against_confirmed(old: FactEntry | None, value: Value) -> bool:
    return old is not None and old.status == "confirmed" and old.value != value and old.source != "derived"


def _valid(work: Work, heard: HeardFact) -> Value | None:
    """The value when it fits its fact, else None: nothing enters unvalidated, wherever it came from."""
    try:
        return parse_value(work.fact(heard.fact), heard.value)
    except BadInputError:
        return None


def _rule_out(work: Work, heard: HeardFact) -> None:
    """ "It doesn't grind": the held value `grinding` goes; nothing is put in its place."""
    if heard.value is not None and rule_out(work, heard.fact, heard.value):
        work.dropped.append((heard.fact, heard.value))


def _settle(work: Work, heard: Heard, pending: Pending | None, known: set[str]) -> bool:
    """Whether the pending question was answered; records "not sure" and "rather not say"."""
    if pending is None:
        return False
    question = question_of(work, pending)
    if question is not None:
        return _settle_question(work, heard, pending, question, known)
    if pending.kind == "confirm" and pending.fact is not None:
        return _settle_check(work, heard, pending)
    return False


def _settle_question(work: Work, heard: Heard, pending: Pending, question: Question, known: set[str]) -> bool:
    if heard.choice is not None and heard.choice.startswith(f"{question.id}:"):
        sets = {value: values for value, _, values in offered_choices(work, pending, question, known)}
        for fact, value in sets.get(heard.choice, {}).items():
            if value is None and fact not in work.facts:
                enter(work, fact, None, status="not_known", source="text", quote=heard.text)
        return True
    if question.several and question.tier != "safety" and _said_of_list(work, heard, pending, question):
        return True
    asked = listed_facts(pending, question)
    if question.several and question.tier == "safety":
        asked = tuple(fact for fact in asked if _is_hazard(work, fact))
    if any(fact.fact in asked for fact in heard.facts):
        note_answered(work, question)
        return True
    if question.several and heard.reply == "no":
        return enter_list(work, question, pending, (NONE,))
    if heard.reply in ("not_known", "declined"):
        leave_open(work, question, "not_known" if heard.reply == "not_known" else "declined")
        return True
    return False


def _said_of_list(work: Work, heard: Heard, pending: Pending, question: Question) -> bool:
    """An answer in own words that says some of the listed choices: the others count as not picked."""
    values = {fact.fact: fact.value for fact in heard.facts}
    said = [
        choice.id
        for choice in shown_items(pending, question)
        if all(
            values.get(fact) == value or _names(value, values.get(fact))
            for fact, value in choice.sets.items()
        )
    ]
    return bool(said) and enter_unpicked(work, question, pending, said)


def _is_hazard(work: Work, fact_id: str) -> bool:
    """What a safety question is about; whatever rides along on its list does not answer it."""
    return work.fact(fact_id).role == "hazard"


def _names(vague: Value | None, value: Value | None) -> bool:
    return vague == VAGUE and value not in (None, NOBODY)


def offered_choices(
    work: Work, pending: Pending, question: Question, known: set[str] | None = None
) -> list[Offered]:
    """The choices a pending question was asked with; `known`: facts held before this turn's were entered."""
    if pending.because is not None and pending.because.reason == "asked_back":
        return answer_choices(work, question, {})
    held = work.facts if known is None else {fact: e for fact, e in work.facts.items() if fact in known}
    return answer_choices(work, question, held)


def leave_open(work: Work, question: Question, status: str) -> None:
    """The customer does not know, or would rather not say: an answer for each fact the question still could fill."""
    listed = listed_facts(work.conversation.pending, question)
    for fact in open_facts(work, question):
        if fact not in listed or fact in work.facts:
            continue
        if status == "declined":
            enter(work, fact, None, status="declined", source="text")
        else:
            enter(work, fact, None, status="not_known", source="text")
    note_answered(work, question)


def _settle_check(work: Work, heard: Heard, pending: Pending) -> bool:
    fact, value = pending.fact, pending.value
    if fact is None or value is None:
        return True
    picked = heard.choice or ""
    if picked.endswith(":yes") or (not picked and heard.reply == "yes"):
        confirm(work, fact, value)
        return True
    other = heard.fact(fact)
    if other is not None:
        if other.value == value:
            confirm(work, fact, value)
        return True
    if picked.endswith(":no") or (not picked and heard.reply == "no"):
        deny(work, fact, value)
        return True
    if picked.endswith(":not_sure") or heard.reply == "not_known":
        if fact not in work.facts:
            enter(work, fact, None, status="not_known", source="text", quote=heard.text)
        return True
    if heard.reply == "declined":
        enter(work, fact, None, status="declined", source="text", quote=heard.text)
        return True
    return False


def deny(work: Work, fact_id: str, value: Value) -> None:
    """No to a checked value: a yes/no fact turns round, any other is unknown again."""
    fact = work.fact(fact_id)
    if fact.type == "yes_no":
        confirm(work, fact_id, "no" if value == "yes" else "yes")
        return
    old = work.facts.get(fact_id)
    if old is not None and old.value == value and not old.verified:
        withdraw(work, fact_id)


def _read(proposals: Sequence[HeardFact]) -> tuple[HeardFact, ...]:
    """Readings in doubt, without the guesses: an answer says enough to guess at nothing more."""
    return tuple(each for each in proposals if each.source == "phrase")


def _propose(work: Work, proposals: Sequence[HeardFact]) -> None:
    for guess in proposals[:MOST_PROPOSALS]:
        fact = work.family.facts.get(guess.fact)
        if fact is None or guess.value is None or "bench" in fact.purposes or _adds_nothing(work, guess):
            continue
        value = _valid(work, guess)
        if value is not None:
            add_proposal(work, Proposal(guess.fact, value, guess.certainty, guess.quote))
            work.note(
                "proposed", fact=guess.fact, value=str(value), certainty=guess.certainty, source=guess.source
            )


def _adds_nothing(work: Work, guess: HeardFact) -> bool:
    """Whether a held fact makes a proposal idle: any held value a guess, the same value a reading in doubt."""
    entry = work.facts.get(guess.fact)
    if entry is None:
        return False
    if guess.source != "phrase" or entry.value is None:
        return True
    return entry.value == guess.value or _says_less(work.fact(guess.fact), guess.value or "", entry)


def add_proposal(work: Work, proposal: Proposal) -> None:
    others = tuple(other for other in work.conversation.proposals if other.fact != proposal.fact)
    work.change(proposals=(*others, proposal)[-6:])


def _thing(work: Work, fact_id: str) -> str:
    return thing(work.texts, work.family, fact_id, work.facts[fact_id].value)
