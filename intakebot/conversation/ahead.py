"""How many questions are likely to come: what the opener promises, computed for this talk and not a fixed number.

The talk is played on with ordinary answers (the first choice of a question, "no" to a yes/no question, none of a checklist) until nothing more would be
asked. Assessments are kept by answers, so that the same path costs nothing the next time.
"""

from __future__ import annotations

from dataclasses import replace

from intakebot.conversation.checklist import enter_list, note_shown, to_list
from intakebot.conversation.choosing import Ask, Check, decide
from intakebot.conversation.entering import derive
from intakebot.conversation.state import FactEntry, Pending
from intakebot.conversation.work import Work
from intakebot.definitions.checklists import NONE
from intakebot.definitions.facts import Value
from intakebot.definitions.model import Question
from intakebot.definitions.values import options_of

FEWEST, MOST = 2, 12


def questions_ahead(work: Work) -> int:
    """Questions from here to the estimate, the open one included, between 2 and 12."""
    scratch = Work(work.definitions, replace(work.conversation), work.now, work.assessor, {}, "ahead")
    pending, count = scratch.conversation.pending, 0
    question = scratch.family.questions.get(pending.question or "") if pending is not None else None
    if question is not None and pending is not None:
        count = 1
        _answer(scratch, question, tuple(value.partition(":")[2] for value, _ in pending.offered))
    while count < MOST:
        decision = decide(scratch)
        if isinstance(decision, Ask):
            scratch.change(asked=(*scratch.conversation.asked, decision.question.id))
            _answer(scratch, decision.question, decision.items)
        elif isinstance(decision, Check):
            left = tuple(p for p in scratch.conversation.proposals if p.fact != decision.proposal.fact)
            scratch.change(proposals=left)
        else:
            break
        count += 1
    return max(FEWEST, min(MOST, count))


def _answer(scratch: Work, question: Question, items: tuple[str, ...]) -> None:
    if question.several:
        listed = to_list(scratch, question, items)
        note_shown(scratch, question, listed)
        offered = tuple((f"{question.id}:{choice.id}", "") for choice in listed)
        enter_list(scratch, question, Pending("question", question.id, offered=offered), (NONE,))
        derive(scratch)
        return
    for fact_id, value in _ordinary(scratch, question).items():
        if fact_id not in scratch.facts:
            status = "confirmed" if value is not None else "not_known"
            scratch.put(fact_id, FactEntry(value, status, "tap", scratch.now))  # type: ignore[arg-type]
    derive(scratch)


def _ordinary(scratch: Work, question: Question) -> dict[str, Value | None]:
    if question.choices:
        return dict(question.choices[0].sets)
    answers: dict[str, Value | None] = {}
    for fact_id in question.fills:
        fact = scratch.fact(fact_id)
        options = options_of(fact)
        answers[fact_id] = "no" if fact.type == "yes_no" else options[0] if options else None
    return answers
