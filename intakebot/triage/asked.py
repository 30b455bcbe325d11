"""The case as it stands, and one question put to it: how each fault set would answer, and what that saves.

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
    Evidence,
    Network,
    fault_odds,
    finding_facts,
    likelihood,
    reading,
)
from intakebot.triage.value import evsi

Floats = npt.NDArray[np.float64]

MOST_SETS = 160
PLAIN = frozenset({"no", "nobody", "none", "nothing"})
VAGUE = "someone"
"""The value of an attempt that only says that somebody made it."""
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
    the two most probable answers that lead to different ones. items: of a checklist, the choices worth listing.
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
    items: tuple[str, ...] = ()


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


class Case:
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
        self.ones: Floats = np.ones(len(self.weights))
        self._likely: dict[Evidence, Floats] = {}
        self.is_closed = len(with_implied(family, answers)) == len(answers)
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

    def after(self, known: Answers) -> tuple[Answers, frozenset[str]]:
        """All that is known once `known` is said, and which facts are then other than now."""
        held = self.answers
        answers = with_implied(self.family, {**held, **known}, known if self.is_closed else None)
        changed = {fact for fact, answer in known.items() if held.get(fact) != answer}
        return answers, frozenset(changed | (answers.keys() - held.keys()))

    def ratio(self, answers: Answers, changed: frozenset[str]) -> tuple[Floats, bool, bool]:
        """[sets] P(what the new answers say | set) up to a factor; whether a finding changed; whether anything did.

        changed: the facts that are other than now.
        """
        ratio = self.ones
        has_finding = moves = False
        touched = dict.fromkeys(
            each for fact in sorted(changed) for each in self.links.findings.get(fact, ())
        )
        for finding in touched:
            new, old = reading(self.network, finding, answers), self.evidence.get(finding)
            if new == old:
                continue
            has_finding = moves = True
            if new is not None:
                ratio = ratio * self._likelihood(new)
            if old is not None:
                ratio = ratio / self._likelihood(old)
        if changed & self.links.odds.keys():
            touched_faults = sorted({fault for fact in changed for fault in self.links.odds.get(fact, ())})
            change = np.zeros(len(self.odds))
            for index in touched_faults:
                odds = fault_odds(self.network, self.network.faults[index], answers)
                change[index] = math.log(odds / float(self.odds[index]))
            if np.any(np.abs(change) > 1e-12):
                moves = True
                ratio = ratio * np.exp(self.presence @ change)
        return ratio, has_finding, moves or bool(changed & self.links.steps)

    def _likelihood(self, evidence: Evidence) -> Floats:
        """[sets] P(what was said | set); kept, as many answers read the same."""
        if evidence not in self._likely:
            self._likely[evidence] = likelihood(self.network, evidence)[self.rows]
        return self._likely[evidence]

    def key(self, plan: int) -> str:
        return ">".join("+".join(group) for group in self.plans[plan])

    def pair(self, one: Asked, other: Asked) -> tuple[float, float]:
        """EVSI and expected sd drop of two questions together."""
        joint = (one.chance[:, None, :] * other.chance[None, :, :]).reshape(
            -1, len(self.weights)
        ) * self.weights
        by_plan = self.cost @ joint.T
        best = by_plan.argmin(axis=0)
        return max(evsi(by_plan), one.evsi, other.evsi), self.sd - self.sd_after(joint, best)

    def sd_after(self, joint: Floats, best: npt.NDArray[np.int64]) -> float:
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


class Asked:
    """One question's answers: P(answer | fault set), and what follows.

    options: per answer its label and the facts it gives. chance: [answers, sets]; sums to 1 over the answers. changed: the
    facts that are then other than now. rates: how often each comes before the fault sets have their say. items: of a checklist, the
    choices worth listing, best first.
    """

    def __init__(
        self, case: Case, question: str, options: Sequence[tuple[str, Mapping[str, Answer]]]
    ) -> None:
        self.case, self.question = case, question
        self.matters = False
        self.evsi = self.sd_drop = 0.0
        self.items: tuple[str, ...] = ()
        self.options = tuple(options)
        self.labels: list[str] = []
        self.changed: list[frozenset[str]] = []
        self.rates: list[float] = []
        self.chance: Floats = np.zeros((0, len(case.weights)))
        self.by_plan: Floats = np.zeros((0, 0))
        self._read(options)
        if self.matters:
            self.weigh()

    @functools.cached_property
    def touched(self) -> frozenset[str]:
        """Findings that some answer changes."""
        findings = self.case.links.findings
        return frozenset(
            finding for changed in self.changed for fact in changed for finding in findings.get(fact, ())
        )

    @functools.cached_property
    def told(self) -> float:
        """Expected information about the fault set, in nats: sum over answers and sets of P(a, s) ln(P(a | s) / P(a))."""
        joint = self.chance * self.case.weights
        total = joint.sum(axis=1, keepdims=True)
        with np.errstate(divide="ignore", invalid="ignore"):
            each = np.where(joint > 0.0, joint * np.log(self.chance / total), 0.0)
        return float(each.sum())

    def _read(self, options: Sequence[tuple[str, Mapping[str, Answer]]]) -> None:
        case = self.case
        told, odds_only, plain, idle = [], [], [], []
        for label, known in options:
            answers, changed = case.after(known)
            ratio, has_finding, moves = case.ratio(answers, changed)
            self.labels.append(label)
            self.changed.append(changed)
            told.append(ratio)
            odds_only.append(moves and not has_finding)
            plain.append({str(answer.value) for answer in known.values()} <= PLAIN)
            idle.append(not moves)
        if not told or all(idle):
            return
        self.matters = True
        self.rates = _base_rates(odds_only, plain, idle)
        busy = ~np.array(idle)
        if not busy.all() and not any(odds_only):
            self.chance = _with_rest(np.array(told), busy)
            return
        joint = np.array(told) * np.array(self.rates)[:, None]
        if busy.any():
            share = joint[busy].sum(axis=0)
            joint[busy] *= (1.0 - np.array(self.rates)[~busy].sum()) / share
        self.chance = joint

    def weigh(self) -> None:
        """What the answers save, and how much surer they make the price."""
        case = self.case
        joint = self.chance * case.weights
        by_plan = case.cost @ joint.T
        for place, changed in enumerate(self.changed):
            if changed & case.links.steps:
                answers, _ = case.after(self.options[place][1])
                broken = [each @ joint[place] for each in case.broken_for(answers)]
                by_plan[:, place] = case.cost_of(broken)
        self.by_plan = by_plan
        self.evsi = evsi(by_plan)
        self.sd_drop = case.sd - case.sd_after(joint, by_plan.argmin(axis=0))

    def rows(self) -> tuple[AnswerValue, ...]:
        """What follows from each answer that can come."""
        if not self.matters:
            return ()
        case, by_plan = self.case, self.by_plan
        joint = self.chance * case.weights
        total, best = joint.sum(axis=1), by_plan.argmin(axis=0)
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
        return tuple(rows)

    def result(self, pair: tuple[float, str, float] | None) -> QuestionValue:
        rows = self.rows()
        probable = [row for row in rows if row.probability >= RARE]
        likely = sorted(rows, key=lambda row: (-row.probability, row.answer))
        other = next((row for row in likely if row.plan != likely[0].plan), None)
        saving, partner, drop = pair if pair is not None else (self.evsi, None, self.sd_drop)
        return QuestionValue(
            question=self.question,
            items=self.items,
            evsi=self.evsi,
            sd_drop=self.sd_drop,
            best_pair=saving,
            partner=partner,
            pair_sd_drop=drop,
            answers=rows,
            plan_changes=any(row.plan_changes for row in probable),
            price_move=max((abs(row.price_move) for row in probable), default=0.0),
            price=self.case.price,
            price_sd=self.case.sd,
            separates=(likely[0].plan, other.plan) if other is not None else None,
        )


def _with_rest(told: Floats, busy: npt.NDArray[np.bool_]) -> Floats:
    """[answers, sets] when some answers say nothing to the findings: they take what the telling ones leave.

    The likelihoods of the telling answers are scaled down where they would exceed one (an answer that replaces older evidence).
    """
    total = told[busy].sum(axis=0)
    chance = told / max(float(total.max()), 1.0)
    rest = 1.0 - chance[busy].sum(axis=0)
    chance[~busy] = rest / (~busy).sum()
    return np.clip(chance, 1e-12, 1.0)


def single_options(case: Case, question: Question) -> list[tuple[str, Mapping[str, Answer]]]:
    """The answers to a question that tell something and do not contradict what is known."""
    found: list[tuple[str, Mapping[str, Answer]]] = []
    for label, sets in answers_to(case.family, question):
        known = {fact: Answer(value) for fact, value in sets.items() if value is not None}
        if sets and not known:
            continue  # "not sure" tells nothing
        if not any(_contradicts(case, fact, answer) for fact, answer in known.items()):
            found.append((label, known))
    return found


def _contradicts(case: Case, fact: str, answer: Answer) -> bool:
    """Whether another value is known; a vague "someone" may become a name."""
    held = case.answers.get(fact)
    if held is None or held.value is None or held.value == answer.value:
        return False
    return held.value != VAGUE or answer.value in PLAIN


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
