"""What to do next: a decision as a type.

Order: checks of hazards, safety questions, checks of doubtful facts that move price or feasibility, then triage questions by value
(expected saving + narrowing of the price - burden), then questions that are always asked, then what was skipped but
blocks the plan, a safety question that was never answered, the recap, the estimate, and contact last.

Stop rule: no remaining question is worth more than its burden, and none that could decide (an answer of probability at least
0.02, or a pair of questions among the best eight, changes the plan or moves the price by more than the rate card's threshold)
is worth half its burden. Pairs matter because two weak answers can each leave the plan as it is and together turn it over.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass

from intakebot.conversation.assessor import QuestionWorth
from intakebot.conversation.checklist import MOST_LISTS, MOST_LISTS_SMS, facts_set, may_list, unpicked_choices
from intakebot.conversation.state import Because, Conversation, FactEntry, Proposal
from intakebot.conversation.turn import Facts
from intakebot.conversation.work import Work
from intakebot.definitions.checklists import MOST_LISTED, bundles
from intakebot.definitions.facts import Value, holds
from intakebot.definitions.model import STAKES, Choice, Family, Question

VAGUE, NOBODY = "someone", "nobody"
"""The attempt option that says least: it never replaces a known name and is never asked about."""
MOST_ASKED = 2
"""A question is put at most twice; after that the talk moves on. A safety question nobody answered comes once more at the end."""
DECISIVE_SHARE = 0.5
"""A question whose answer could change the plan or the price is asked only while it is worth this share of its burden: with
many weak findings nearly every one could change the plan by a hair, and the customer would be asked all of them."""
CERTAIN = 0.97
"""A weighty value read from words is asked about on the recap unless it is this certain."""
LIKELY = 0.9
"""The same for a value of middling weight."""
SHORT_TALK = 3
"""With so few questions asked there is patience left for one tap more, which finds what was overlooked on a list: in simulated
talks every sixth list of what was understood had something wrong, mostly such a line."""
MOST_UNPICKED_SMS = 4
"""Choices not picked that a text message names."""
MOST_QUESTIONS = 14
"""Questions a talk asks by value at most, whatever they are worth; the bound holds for any definitions."""


@dataclass(frozen=True)
class Ask:
    """items: of a checklist, the choices worth listing, best first."""

    question: Question
    because: Because
    items: tuple[str, ...] = ()


@dataclass(frozen=True)
class Check:
    proposal: Proposal
    because: Because


@dataclass(frozen=True)
class ShowRecap:
    pass


@dataclass(frozen=True)
class Conclude:
    """Everything that matters is known."""


Decision = Ask | Check | ShowRecap | Conclude


def decide(work: Work) -> Decision:
    """The next step of an open case on the shop's own floor."""
    conversation, family = work.conversation, work.family
    doubtful = [proposal for proposal in conversation.proposals if _worth_checking(work, proposal)]
    for proposal in doubtful:
        if family.facts[proposal.fact].role == "hazard":
            return Check(proposal, Because("safety"))
    allowed = [question for question in family.questions.values() if eligible(work, question)]
    for question in allowed:
        if question.tier == "safety":
            return Ask(question, Because("safety"))
    for proposal in doubtful:
        if proposal.fact in conversation.facts:
            return Check(proposal, Because("check"))
    triage = [question for question in allowed if question.tier == "triage"]
    decision = None if conversation.recap_agreed else _by_value(work, triage, doubtful)
    if decision is not None:
        return decision
    for question in triage:
        if question.always and any(fact not in conversation.facts for fact in question.fills):
            return Ask(question, Because("always"))
    blocking = _blocking(work)
    if blocking is not None:
        return Ask(blocking, Because("blocking"))
    for question in family.questions.values():
        if question.tier == "safety" and eligible(work, question, MOST_ASKED + 1):
            return Ask(question, Because("safety"))
    if recap_due(work):
        return ShowRecap()
    return Conclude()


def _by_value(work: Work, triage: list[Question], doubtful: list[Proposal]) -> Decision | None:
    if not triage or len(work.conversation.asked) >= MOST_QUESTIONS:
        return None
    outlook = work.outlook()
    worths = work.assessor.worths(
        work.conversation.family,
        work.answers,
        tuple(question.id for question in triage),
        work.today,
        len(work.conversation.asked),
    )
    best = next((worth for worth in worths.questions if worth.score > 0), None)
    reason = "value"
    if best is None:
        best = next((worth for worth in worths.questions if worth.decisive and _weighs(worth)), None)
    if best is None and worths.decisive_pair is not None:
        best = next(
            (
                worth
                for worth in worths.questions
                if worth.question == worths.decisive_pair[0] and _weighs(worth)
            ),
            None,
        )
        reason = "pair"
    if best is None:
        return None
    because = because_of(best, reason, (str(outlook.p10), str(outlook.p90)))
    question = work.family.questions[best.question]
    asked = [p for p in doubtful if p.fact in question.fills and p.fact not in work.facts]
    if question.several:
        items = _with_doubted(work, question, best.items, {proposal.fact for proposal in asked})
        listed = facts_set(choice for choice in question.choices if choice.id in items)
        asked = [proposal for proposal in asked if proposal.fact not in listed]
        return Check(asked[0], because) if asked else Ask(question, because, items)
    return Check(asked[0], because) if asked else Ask(question, because)


def _with_doubted(work: Work, question: Question, items: Sequence[str], doubted: Set[str]) -> tuple[str, ...]:
    """What to list: first the choices about facts of which something doubtful was heard, which saves a question of their own, then
    those worth listing, as far as there is room."""
    groups = bundles(may_list(work, question))
    first = [group for group in groups if not doubted.isdisjoint(facts_set(group))]
    others = [group for group in groups if group not in first and any(c.id in items for c in group)]
    listed: list[str] = []
    for group in (*first, *others):
        if len(listed) + len(group) <= MOST_LISTED:
            listed += [choice.id for choice in group]
    return tuple(listed)


def _weighs(worth: QuestionWorth) -> bool:
    return worth.saving + worth.narrowing >= DECISIVE_SHARE * worth.burden


def because_of(worth: QuestionWorth, reason: str, before: tuple[str, str]) -> Because:
    after = worth.price_after
    return Because(
        reason=reason,  # type: ignore[arg-type]
        separates=worth.separates,
        saving=round(worth.saving, 4),
        narrowing=round(worth.narrowing, 4),
        burden=round(worth.burden, 4),
        price_before=before,
        price_after=(str(after[0]), str(after[1])) if after else None,
    )


def eligible(work: Work, question: Question, most: int = MOST_ASKED) -> bool:
    """May be asked now: allowed, holds something new, not skipped, not asked `most` times, and somebody would tap it."""
    conversation = work.conversation
    if question.tier == "logistics" or question.id in conversation.skipped:
        return False
    times = conversation.asked.count(question.id)
    if question.several:
        lists = MOST_LISTS_SMS if conversation.channel == "sms" else MOST_LISTS
        room = (
            times < (max(most, lists) if question.tier == "safety" else lists)
            and holds(question.ask_when, work.answers) is True
        )
        return room and len(may_list(work, question)) >= (1 if question.tier == "safety" else 2)
    if times >= most or (times and question.tier != "safety" and answered(conversation, question)):
        return False
    if not open_facts(work, question) or holds(question.ask_when, work.answers) is not True:
        return False
    return has_news(work, question)


def answered(conversation: Conversation, question: Question) -> bool:
    """Whether an asked question got an answer: one of its facts is held, be it as not known."""
    return any(fact in conversation.facts for fact in question.fills)


def open_facts(work: Work, question: Question) -> tuple[str, ...]:
    """The facts a question could still fill; of an attempt it may still learn who "someone" was."""
    return tuple(fact for fact in question.fills if _is_open(work, fact))


def _is_open(work: Work, fact_id: str) -> bool:
    entry = work.facts.get(fact_id)
    return entry is None or (entry.value == VAGUE and work.fact(fact_id).role == "attempt")


def has_news(work: Work, question: Question) -> bool:
    """False when every choice left would only repeat what is held, or when only one is left: that is no question any more."""
    if not question.choices:
        return True
    left = fitting_choices(work.facts, question)
    telling = [choice for choice in left if any(value is not None for value in choice.sets.values())]
    return len(telling) > 1 and any(_is_open(work, fact) for choice in left for fact in choice.sets)


def fitting_choices(facts: Facts, question: Question) -> tuple[Choice, ...]:
    """Choices that do not contradict what is held already; what was merely not picked from a list may still be so."""
    return tuple(
        choice
        for choice in question.choices
        if all(
            fact not in facts or value is None or facts[fact].is_unpicked or _may_be(facts[fact].value, value)
            for fact, value in choice.sets.items()
        )
    )


def _may_be(held: Value | None, value: Value) -> bool:
    return held is None or held == value or (held == VAGUE and value != NOBODY)


def _worth_checking(work: Work, proposal: Proposal) -> bool:
    entry = work.facts.get(proposal.fact)
    fact = work.family.facts.get(proposal.fact)
    if fact is None or (fact.role == "attempt" and proposal.value == VAGUE):
        return False
    if entry is None or entry.value != proposal.value:
        return True
    return entry.status == "heard" and entry.source not in ("derived", "unpicked")


def _blocking(work: Work) -> Question | None:
    """A question that was skipped though it must be answered directly: asked once more, with the reason."""
    conversation = work.conversation
    for question_id in conversation.skipped:
        question = work.family.questions.get(question_id)
        if question is None or not question.always or conversation.asked.count(question_id) >= MOST_ASKED:
            continue
        declined = [f for f in question.fills if _is_declined(conversation, f)]
        if declined and holds(question.ask_when, work.answers) is True:
            return question
    return None


def _is_declined(conversation: Conversation, fact_id: str) -> bool:
    entry = conversation.facts.get(fact_id)
    return entry is not None and entry.status == "declined"


def recap_facts(work: Work) -> tuple[str, ...]:
    """Facts the recap lists, weightiest first: what was only read from words, and confirmed facts with a stake in price or feasibility.

    Left out: personal facts, derived ones and those another listed one implies, hazards that are not there, staff's own entries,
    what was not picked from a list (`recap_unpicked` has it), and everything when all of it came from the form (which was
    read there).
    """
    held = {
        fact_id: entry
        for fact_id, entry in work.facts.items()
        if entry.value is not None
        and entry.source not in ("derived", "staff", "unpicked")
        and fact_id in work.family.facts
    }
    listed = [
        fact_id
        for fact_id, fact in work.family.facts.items()
        if fact_id in held
        and not fact.personal
        and fact.type != "photo"
        and fact.role not in ("story", "hazard")
        and (fact.stake == "high" or held[fact_id].status == "heard")
        and (fact.stake != "low" or held[fact_id].source == "text")
        and not implied(work.family, held, fact_id)
    ]
    listed.sort(key=lambda fact_id: (held[fact_id].status != "heard", STAKES.index(work.fact(fact_id).stake)))
    return tuple(listed) if any(held[fact].source != "form" for fact in listed) else ()


def recap_unpicked(work: Work) -> tuple[tuple[Question, tuple[Choice, ...]], ...]:
    """Per checklist, what was listed and not picked: one line each on the recap."""
    most = MOST_UNPICKED_SMS if work.conversation.channel == "sms" else None
    lines = [
        (question, unpicked_choices(work, question)[:most])
        for question in work.family.questions.values()
        if question.several
    ]
    return tuple((question, left) for question, left in lines if left)


def recap_due(work: Work) -> bool:
    """The recap waits for an answer when a value was read from words and is in doubt, by its stake, when a hazard was listed
    and not picked while something else was, and when the talk was short, lines were left unpicked and may be overlooked.

    Else nothing waits: the list is shown right before the estimate, see `flow.estimate`.
    """
    if len(work.conversation.asked) <= SHORT_TALK and recap_unpicked(work):
        return True
    if any(entry.is_unpicked and work.fact(fact).role == "hazard" for fact, entry in work.facts.items()):
        return True
    return any(_doubtful(work, fact) for fact in recap_facts(work))


def _doubtful(work: Work, fact_id: str) -> bool:
    entry, stake = work.facts[fact_id], work.fact(fact_id).stake
    needed = {"high": CERTAIN, "medium": LIKELY, "low": 0.0}[stake]
    return entry.status == "heard" and entry.certainty < needed


def implied(family: Family, held: Mapping[str, FactEntry], fact_id: str) -> bool:
    """Whether another held value already says this one."""
    return any(
        rule.fact == fact_id and rule.value == entry.value and rule.gives == held[fact_id].value
        for other, entry in held.items()
        if other != fact_id
        for rule in family.facts[other].implies
    )
