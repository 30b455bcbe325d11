"""What asking a question would be worth: how much cheaper the plan gets, and how much narrower the price.

For each possible answer, the findings and odds it would change give its probability for each fault set; the plans of a fixed
pool (`candidates`) give the cost. Questions whose answers change what earlier attempts left to gain are followed into
the plan's success chances too. Two questions that only decide something together are found by trying all pairs of the best
eight (two-step look-ahead).

Assumptions: answers are independent given the fault set. An answer that only tells about odds (who opened it, which device)
says nothing about how often it is given; then the plain answer ("no", "nobody", "none") is taken to come three times in
four, the others evenly. An answer that moves nothing is taken to come one time in five.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from intakebot.definitions.facts import Answer, Answers, Comparison, Condition, Value, facts_of
from intakebot.definitions.model import Fact, Family, Pricing, Question, RateCard
from intakebot.triage.bench import chances, planned_steps
from intakebot.triage.bench_plan import BenchPlan, bench_plan
from intakebot.triage.candidates import Groups, Stages, broken_at, faults_in, laid_out, pool_stages
from intakebot.triage.diagnosis import Diagnosis
from intakebot.triage.implied import with_implied
from intakebot.triage.network import (
    Network,
    fault_odds,
    finding_facts,
    likelihood,
    reading,
)
from intakebot.triage.value import evsi

Floats = npt.NDArray[np.float64]

MOST_SETS = 160
PAIR_BASE = 8
PLAIN = frozenset({"no", "nobody", "none", "nothing"})
PLAIN_SHARE = 0.75
IDLE_SHARE = 0.2
RARE = 0.02
"""Answers less probable than this do not keep a conversation going."""


@dataclass(frozen=True)
class AnswerValue:
    """One possible answer. plan_changes: keeping today's plan would cost more than one easy question is worth.

    price_move: change of the expected money put into the case. plan: key of the best plan then. price, price_sd: then.
    """

    answer: str
    probability: float
    plan_changes: bool
    price_move: float
    plan: str
    price: float
    price_sd: float


@dataclass(frozen=True)
class QuestionValue:
    """What one question is worth, in the rate card's money.

    evsi: expected saving of the plan, >= 0. sd_drop: expected drop of the standard deviation of the money put into the
    case; may be negative. best_pair: EVSI of this question and `partner` together (at least evsi). pair_sd_drop: with the
    partner. plan_changes, price_move: over answers with probability of at least 0.02. separates: keys of the plans after
    the two most probable answers that lead to different ones.
    """

    question: str
    evsi: float
    sd_drop: float
    best_pair: float
    partner: str | None
    pair_sd_drop: float
    answers: tuple[AnswerValue, ...]
    plan_changes: bool
    price_move: float
    price: float
    price_sd: float
    separates: tuple[str, str] | None


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
    case = _Case(family, pricing, card, diagnosis, answers, day, planned)
    asked = {each: _Asked(case, family.questions[each]) for each in candidates}
    live = [each for each in asked.values() if each.matters]
    live.sort(
        key=lambda each: (-(each.evsi + card.narrowing_weight * max(each.sd_drop, 0.0)), each.question.id)
    )
    pairs: dict[str, tuple[float, str, float]] = {}
    for place, one in enumerate(live[:PAIR_BASE]):
        for other in live[place + 1 : PAIR_BASE]:
            saving, drop = case.pair(one, other)
            for this, that in ((one, other), (other, one)):
                if saving > pairs.get(this.question.id, (-1.0, "", 0.0))[0]:
                    pairs[this.question.id] = (saving, that.question.id, drop)
    return {each: asked[each].result(pairs.get(each)) for each in candidates}


def answers_to(family: Family, question: Question) -> tuple[tuple[str, Mapping[str, Value | None]], ...]:
    """The possible answers, as (label, facts set). Empty when they cannot be listed (free text, photos)."""
    if question.choices:
        return tuple((choice.id, choice.sets) for choice in question.choices)
    if len(question.fills) != 1:
        return ()
    fact = family.facts[question.fills[0]]
    if fact.type == "yes_no":
        return tuple((value, {fact.id: value}) for value in ("yes", "no"))
    if fact.type == "choice":
        return tuple((value, {fact.id: value}) for value in fact.options)
    if fact.type == "count":
        return tuple((str(value), {fact.id: value}) for value in _thresholds(family, fact))
    return ()


def _thresholds(family: Family, fact: Fact) -> tuple[int, ...]:
    """One number on each side of every number the faults' odds compare with."""
    found: set[int] = set()
    for fault in family.faults.values():
        for change in fault.odds_when:
            for comparison in _comparisons(change.when):
                if comparison.fact == fact.id and isinstance(comparison.value, int):
                    found |= {
                        max(int(comparison.value) - 1, 0),
                        int(comparison.value),
                        int(comparison.value) + 1,
                    }
    return tuple(sorted(found))


def _comparisons(condition: Condition) -> list[Comparison]:
    if isinstance(condition, Comparison):
        return [condition]
    parts = getattr(condition, "parts", None) or (condition.part,)  # type: ignore[union-attr]
    return [each for part in parts for each in _comparisons(part)]


# ---- the case as it stands -----------------------------------------------------------------------------------------


class _Case:
    """Posterior, plans and their costs, worked out once for all questions."""

    def __init__(
        self,
        family: Family,
        pricing: Pricing,
        card: RateCard,
        diagnosis: Diagnosis,
        answers: Answers,
        day: date,
        planned: BenchPlan | None,
    ) -> None:
        self.family, self.card, self.answers = family, card, answers
        self.network: Network = diagnosis.network
        self.rows = np.argsort(-diagnosis.weights, kind="stable")[:MOST_SETS]
        weights = diagnosis.weights[self.rows]
        self.weights: Floats = weights / weights.sum()
        self.members = self.network.padded[self.rows]
        self.presence: Floats = self.network.members[self.rows]
        self.odds = diagnosis.odds
        self.evidence = {each.finding: each for each in diagnosis.evidence}
        if planned is None:
            planned = bench_plan(family, pricing, card, diagnosis, answers, day=day)
        problem = planned.frame
        # The pool is laid out once for many cases; the case's own plans come last.
        pool = pool_stages(problem, family, pricing, card, day)
        own = laid_out(pool.arrays, [planned.plan.groups], problem.give_up_cost or 0.0)
        self.blocks: tuple[Stages, ...] = (pool, own)
        self.plans: tuple[Groups, ...] = tuple(plan for block in self.blocks for plan in block.plans)
        self.links = _links(self.network)
        broken = self.broken_for(answers)
        self.cost = self.cost_of(broken)
        self.spent = np.concatenate(
            [block.by_plan(block.spent, each) for block, each in zip(self.blocks, broken, strict=True)]
        )
        self.squared = np.concatenate(
            [
                block.by_plan(block.spent_squared, each)
                for block, each in zip(self.blocks, broken, strict=True)
            ]
        )
        by_plan = self.cost @ self.weights
        self.best = int(np.argmin(by_plan))
        self.price, self.sd = self.price_of(self.best, self.weights)

    def broken_for(self, answers: Answers) -> list[Floats]:
        """Per block of plans, [stages, sets] P(still broken) with the chances that steps have under these answers."""
        steps = planned_steps(self.family, answers)
        fixes = {each.id: chances(each, answers) for each in steps.values()}
        return [
            broken_at(block, faults_in(block, fixes, self.network.faults), self.members)
            for block in self.blocks
        ]

    def cost_of(self, broken: Sequence[Floats]) -> Floats:
        """[plans, ...] expected cost from P(still broken) at the stages of each block."""
        return np.concatenate(
            [block.by_plan(block.cost, each) for block, each in zip(self.blocks, broken, strict=True)]
        )

    def price_of(self, plan: int, weights: Floats, total: float = 1.0) -> tuple[float, float]:
        mean = float(self.spent[plan] @ weights) / total
        square = float(self.squared[plan] @ weights) / total
        return mean, max(square - mean * mean, 0.0) ** 0.5

    def key(self, plan: int) -> str:
        return ">".join("+".join(group) for group in self.plans[plan])

    def pair(self, one: _Asked, other: _Asked) -> tuple[float, float]:
        """EVSI and expected sd drop of two questions together."""
        joint = (one.chance[:, None, :] * other.chance[None, :, :]).reshape(
            -1, len(self.weights)
        ) * self.weights
        by_plan = self.cost @ joint.T
        best = by_plan.argmin(axis=0)
        return max(evsi(by_plan), one.evsi, other.evsi), self.sd - self._sd_after(joint, best)

    def _sd_after(self, joint: Floats, best: npt.NDArray[np.int64]) -> float:
        chance = joint.sum(axis=1)
        mean = np.einsum("ah,ah->a", self.spent[best], joint)
        square = np.einsum("ah,ah->a", self.squared[best], joint)
        # chance * sd = sqrt(chance * square - mean^2), with both already weighted by chance.
        return float(np.sqrt(np.maximum(chance * square - mean**2, 0.0)).sum())


@dataclass(frozen=True, eq=False)
class _Links:
    """What each fact touches: findings (of the intake), odds of faults, success chances of steps."""

    findings: Mapping[str, tuple[str, ...]]
    odds: Mapping[str, frozenset[int]]
    steps: frozenset[str]


@functools.lru_cache(maxsize=16)
def _links(network: Network) -> _Links:
    family = network.family
    findings: dict[str, list[str]] = {}
    for finding in family.findings.values():
        for fact in finding_facts(finding) if finding.stage == "intake" else ():
            findings.setdefault(fact, []).append(finding.id)
    odds: dict[str, set[int]] = {}
    for index, fault_id in enumerate(network.faults):
        fault = family.faults[fault_id]
        for fact in {fact for change in fault.odds_when for fact in facts_of(change.when)}:
            odds.setdefault(fact, set()).add(index)
        if network.device_fact and fault.by_device:
            odds.setdefault(network.device_fact, set()).add(index)
    steps: set[str] = set()
    for step in family.steps.values():
        steps |= {fact for change in step.tried for fact in facts_of(change.when)}
        steps |= facts_of(step.only_when) if step.only_when is not None else set()
    return _Links(
        {fact: tuple(found) for fact, found in findings.items()},
        {fact: frozenset(found) for fact, found in odds.items()},
        frozenset(steps),
    )


# ---- one question --------------------------------------------------------------------------------------------------


class _Asked:
    """One question's answers: P(answer | fault set), and what follows.

    chance: [answers, sets]; sums to 1 over the answers.
    """

    def __init__(self, case: _Case, question: Question) -> None:
        self.case, self.question = case, question
        self.matters = False
        self.evsi = self.sd_drop = 0.0
        self.labels: list[str] = []
        self.chance: Floats = np.zeros((0, len(case.weights)))
        self.rows: tuple[AnswerValue, ...] = ()
        self.separates: tuple[str, str] | None = None
        self._read()
        if self.matters:
            self._weigh()

    def _read(self) -> None:
        case = self.case
        told, odds_only, plain, idle, after = [], [], [], [], []
        for label, sets in answers_to(case.family, self.question):
            known = {fact: value for fact, value in sets.items() if value is not None}
            if sets and not known:
                continue  # "not sure" tells nothing
            answers = _with(case.family, case.answers, known)
            ratio, has_finding, moves = self._ratio(answers)
            self.labels.append(label)
            told.append(ratio)
            odds_only.append(moves and not has_finding)
            plain.append(set(map(str, known.values())) <= PLAIN)
            idle.append(not moves)
            after.append(answers)
        self.after = after
        if not told or all(idle):
            return
        self.matters = True
        rates = _base_rates(odds_only, plain, idle)
        joint = np.array(told) * np.array(rates)[:, None]
        busy = ~np.array(idle)
        if busy.any():
            share = joint[busy].sum(axis=0)
            joint[busy] *= (1.0 - np.array(rates)[~busy].sum()) / share
        self.chance = joint

    def _ratio(self, answers: Answers) -> tuple[Floats, bool, bool]:
        """[sets] P(what the new answers say | set) up to a factor; whether a finding changed; whether anything did."""
        case = self.case
        changed = {fact for fact, answer in answers.items() if case.answers.get(fact) != answer}
        ratio = np.ones(len(case.weights))
        has_finding = moves = False
        touched = dict.fromkeys(
            each for fact in sorted(changed) for each in case.links.findings.get(fact, ())
        )
        for finding in touched:
            new, old = reading(case.network, finding, answers), case.evidence.get(finding)
            if new == old:
                continue
            has_finding = moves = True
            if new is not None:
                ratio = ratio * likelihood(case.network, new)[case.rows]
            if old is not None:
                ratio = ratio / likelihood(case.network, old)[case.rows]
        if changed & case.links.odds.keys():
            touched_faults = sorted({fault for fact in changed for fault in case.links.odds.get(fact, ())})
            change = np.zeros(len(case.odds))
            for index in touched_faults:
                odds = fault_odds(case.network, case.network.faults[index], answers)
                change[index] = math.log(odds / float(case.odds[index]))
            if np.any(np.abs(change) > 1e-12):
                moves = True
                ratio = ratio * np.exp(case.presence @ change)
        return ratio, has_finding, moves or bool(changed & case.links.steps)

    def _weigh(self) -> None:
        case = self.case
        joint = self.chance * case.weights
        total = joint.sum(axis=1)
        by_plan = case.cost @ joint.T
        for place, answers in enumerate(self.after):
            changed = {fact for fact, answer in answers.items() if case.answers.get(fact) != answer}
            if changed & case.links.steps:
                broken = [each @ joint[place] for each in case.broken_for(answers)]
                by_plan[:, place] = case.cost_of(broken)
        self.evsi = evsi(by_plan)
        best = by_plan.argmin(axis=0)
        self.sd_drop = case.sd - case._sd_after(joint, best)
        usual = int(np.argmin(by_plan.sum(axis=1)))
        rows = []
        for place, label in enumerate(self.labels):
            chance = float(total[place])
            if chance <= 0.0:
                continue
            plan = int(best[place])
            price, sd = case.price_of(plan, joint[place], chance)
            regret = float(by_plan[usual, place] - by_plan[plan, place]) / chance
            rows.append(
                AnswerValue(
                    answer=label,
                    probability=chance,
                    plan_changes=plan != usual and regret > float(case.card.question_burden_money),
                    price_move=price - case.price,
                    plan=case.key(plan),
                    price=price,
                    price_sd=sd,
                )
            )
        self.rows = tuple(rows)
        likely = sorted(rows, key=lambda row: (-row.probability, row.answer))
        other = next((row for row in likely if row.plan != likely[0].plan), None)
        self.separates = (likely[0].plan, other.plan) if other is not None else None

    def result(self, pair: tuple[float, str, float] | None) -> QuestionValue:
        probable = [row for row in self.rows if row.probability >= RARE]
        saving, partner, drop = pair if pair is not None else (self.evsi, None, self.sd_drop)
        return QuestionValue(
            question=self.question.id,
            evsi=self.evsi,
            sd_drop=self.sd_drop,
            best_pair=saving,
            partner=partner,
            pair_sd_drop=drop,
            answers=self.rows,
            plan_changes=any(row.plan_changes for row in probable),
            price_move=max((abs(row.price_move) for row in probable), default=0.0),
            price=self.case.price,
            price_sd=self.case.sd,
            separates=self.separates,
        )


def _with(family: Family, answers: Answers, known: Mapping[str, Value]) -> dict[str, Answer]:
    fresh = {fact: Answer(value) for fact, value in known.items()}
    return with_implied(family, {**answers, **fresh})


def _base_rates(odds_only: Sequence[bool], plain: Sequence[bool], idle: Sequence[bool]) -> list[float]:
    """How often each answer is given before the fault sets have their say; sums to 1."""
    count, idles = len(idle), sum(idle)
    if idles == count:
        return [1.0 / count] * count
    rates = [IDLE_SHARE / idles if each else 0.0 for each in idle]
    left = 1.0 - (IDLE_SHARE if idles else 0.0)
    busy = [place for place in range(count) if not idle[place]]
    plain_ones = [place for place in busy if plain[place]]
    if all(odds_only[place] for place in busy) and plain_ones and len(plain_ones) < len(busy):
        for place in busy:
            share = (
                PLAIN_SHARE / len(plain_ones)
                if plain[place]
                else (1 - PLAIN_SHARE) / (len(busy) - len(plain_ones))
            )
            rates[place] = left * share
    else:
        for place in busy:
            rates[place] = left / len(busy)
    return rates
