"""What asking a question would be worth: how much cheaper the plan gets, and how much narrower the price.

For each possible answer, the findings and odds it would change give its probability for each fault set; the plans of a fixed
pool (`candidates`) give the cost. Questions whose answers change what earlier attempts left to gain are followed into
the plan's success chances too. Two questions that only decide something together are found by trying all pairs of the best
eight (two-step look-ahead).

A checklist is worth what its choices are worth together (`checklist`). The assumptions are in `asked`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from intakebot.definitions.facts import Answers
from intakebot.definitions.model import Family, Pricing, Question, RateCard
from intakebot.triage.asked import AnswerValue, Asked, Case, QuestionValue, answers_to, single_options
from intakebot.triage.bench_plan import BenchPlan
from intakebot.triage.checklist import listed
from intakebot.triage.diagnosis import Diagnosis

__all__ = ["AnswerValue", "QuestionValue", "answers_to", "value_of_questions"]

PAIR_BASE = 8


def value_of_questions(
    family: Family,
    pricing: Pricing,
    card: RateCard,
    diagnosis: Diagnosis,
    answers: Answers,
    candidates: Sequence[str],
    *,
    day: date,
    planned: BenchPlan | None = None,
) -> Mapping[str, QuestionValue]:
    """Worth of each candidate question (ids of the family; their guards are the caller's affair), in the order given.

    planned: the case's plan for the same diagnosis and answers, if at hand (saves making it again).

    Raises: KeyError for a question that the family does not have.
    """
    case = Case(family, pricing, card, diagnosis, answers, day, planned)
    asked = {each: _asked(case, family.questions[each]) for each in candidates}
    live = [each for each in asked.values() if each.matters and not each.items]
    live.sort(key=lambda each: (-(each.evsi + card.narrowing_weight * max(each.sd_drop, 0.0)), each.question))
    pairs: dict[str, tuple[float, str, float]] = {}
    for place, one in enumerate(live[:PAIR_BASE]):
        for other in live[place + 1 : PAIR_BASE]:
            saving, drop = case.pair(one, other)
            for this, that in ((one, other), (other, one)):
                if saving > pairs.get(this.question, (-1.0, "", 0.0))[0]:
                    pairs[this.question] = (saving, that.question, drop)
    return {each: asked[each].result(pairs.get(each)) for each in candidates}


def _asked(case: Case, question: Question) -> Asked:
    if question.several:
        return listed(case, question)
    return Asked(case, question.id, single_options(case, question))
