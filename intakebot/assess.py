"""Where the pure parts meet: answers in; diagnosis, plan, price, pairing gate and the worth of a question out.

One `Assessments` per version of the definitions. Everything is a function of the answers and the day, so results are kept
by the answers that can matter: a name or an address never makes triage run again.
"""

from __future__ import annotations

import threading
import zlib
from collections import OrderedDict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Any, TypeVar

from intakebot.conversation.assessor import Outlook, QuestionWorth, Worths
from intakebot.dates import day_month
from intakebot.definitions.facts import Answer, Answers, facts_of
from intakebot.definitions.model import Definitions, Family, RateCard
from intakebot.definitions.texts import Texts
from intakebot.packing.bench_queue import Queue
from intakebot.packing.billable import Postage
from intakebot.packing.cautions import stop_signs
from intakebot.packing.dates import is_working_day
from intakebot.packing.pairing import Gate, pairing_gate
from intakebot.packing.roles import device_of, value_for
from intakebot.packing.sheet import packing_sheet
from intakebot.quoting.charging import Tariff, Terms
from intakebot.quoting.distribution import QuickPrice, quick_price
from intakebot.quoting.estimate import Estimate, EstimateCase, make_estimate, rules_for
from intakebot.quoting.maximum import AuthorisedPlan, authorised_plan, minimum_fee
from intakebot.quoting.money import Money, format_money, rounded
from intakebot.quoting.outcomes import DoneSoFar, PlannedOutcome, after_work, planned_outcomes
from intakebot.quoting.parameter_doubt import chance_draws
from intakebot.triage import (
    BenchPlan,
    Diagnosis,
    StepResult,
    bench_plan,
    diagnose,
    list_burden,
    replan,
    value_of_questions,
)

KEPT = 4096
"""Results kept per kind; the one not used for longest goes first."""
BURDEN_GROWTH = 0.05
"""Each message already sent makes one more question this much dearer to the customer (common practice, no source)."""
WORTH_TRYING = 0.25
"""From this chance to help on, a step is recommended for trying at home first (common practice, no source)."""
PRICE_ROLES = ("spending_limit", "device_value", "priority", "country", "device_kind")

T = TypeVar("T")


@dataclass(frozen=True)
class Assessment:
    """One case as triage and quoting see it on one day.

    Attributes:
        diagnosis, bench: of the answers. outcomes: the plan's ends as quoting wants them.
        quick: the price without drawing. authorised: the plan within the maximum.
        limit_too_low: the customer's limit is below the minimum fee; it was left aside here.
    """

    family: Family
    card: RateCard
    day: date
    diagnosis: Diagnosis
    bench: BenchPlan
    outcomes: tuple[PlannedOutcome, ...]
    rules: Tariff
    quick: QuickPrice
    authorised: AuthorisedPlan
    gate: Gate
    limit_too_low: bool


class _Kept:
    """A small cache: least recently used out first; safe with threads."""

    def __init__(self, size: int) -> None:
        self._size, self._lock = size, threading.Lock()
        self._items: OrderedDict[Hashable, Any] = OrderedDict()

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        with self._lock:
            if key in self._items:
                self._items.move_to_end(key)
                found: T = self._items[key]
                return found
        made = make()
        with self._lock:
            self._items[key] = made
            while len(self._items) > self._size:
                self._items.popitem(last=False)
        return made


class Assessments:
    """Assessor over one version of the definitions (see conversation/assessor.py for the protocol)."""

    def __init__(self, definitions: Definitions) -> None:
        self.definitions = definitions
        self._relevant = {family.id: relevant_facts(family) for family in definitions.families.values()}
        self._assessed, self._valued, self._estimated = _Kept(KEPT), _Kept(KEPT), _Kept(256)

    def _answers(self, family_id: str, answers: Answers) -> dict[str, Answer]:
        relevant = self._relevant[family_id]
        return {fact: answer for fact, answer in answers.items() if fact in relevant}

    def assess(
        self, family_id: str, answers: Answers, today: date, card: RateCard | None = None
    ) -> Assessment:
        """Diagnosis, plan and price of a case.

        Args: card: the rate card the conversation was started under; the one in force today when None.
        """
        used = card or self.definitions.pricing.rate_card_on(today)
        mattering = self._answers(family_id, answers)
        key = (family_id, used.id, today, frozenset(mattering.items()))
        return self._assessed.get(key, partial(_assess, self.definitions, family_id, mattering, today, used))

    def outlook(self, family: str, answers: Answers, today: date) -> Outlook:
        """The case in a nutshell, for choosing the next question and for noticing a change."""
        found = self.assess(family, answers, today)
        price = found.quick
        return Outlook(
            plan=plan_key(found),
            p10=_money(price.p10, found.card),
            p50=_money(price.p50, found.card),
            p90=_money(price.p90, found.card),
            maximum=found.authorised.maximum.amount,
            currency=found.card.currency,
            gate=found.gate.decision,
            gate_part=found.gate.parts[0].part if found.gate.parts else None,
            worth_it=found.authorised.can_start and not found.limit_too_low,
        )

    def worths(
        self, family: str, answers: Answers, candidates: Sequence[str], today: date, messages_sent: int
    ) -> Worths:
        """What each candidate question is worth now, best first."""
        found = self.assess(family, answers, today)
        mattering = self._answers(family, answers)
        key = (family, found.card.id, today, frozenset(mattering.items()), tuple(sorted(candidates)))
        values = self._valued.get(key, partial(
            value_of_questions, found.family, self.definitions.pricing, found.card, found.diagnosis, mattering,
            tuple(sorted(candidates)), day=today, planned=found.bench))  # fmt: skip
        threshold = _threshold(found)
        unit = float(found.card.question_burden_money) * (1 + BURDEN_GROWTH * messages_sent)
        worths = [
            QuestionWorth(
                question=question,
                saving=value.evsi,
                narrowing=found.card.narrowing_weight * max(0.0, value.sd_drop),
                burden=unit * (found.family.questions[question].burden + list_burden(len(value.items))),
                decisive=value.plan_changes or value.price_move > threshold,
                separates=tuple(value.separates or ()),
                items=value.items,
            )
            for question, value in values.items()
        ]
        ordered = tuple(sorted(worths, key=lambda worth: (-worth.score, worth.question)))
        burdens = {worth.question: worth.burden for worth in ordered}
        pairs = [
            (value.best_pair - burdens[question] - burdens[value.partner], question, value.partner)
            for question, value in values.items()
            if value.partner is not None and value.partner in burdens
        ]
        best = min(pairs, key=lambda pair: (-pair[0], pair[1]), default=None)
        return Worths(ordered, (best[1], best[2]) if best is not None and best[0] > 0 else None)

    def estimate(
        self,
        family_id: str,
        answers: Answers,
        today: date,
        *,
        reference: str,
        number: str = "1",
        supersedes: str | None = None,
        card: RateCard | None = None,
        results: Sequence[StepResult] = (),
        done: DoneSoFar | None = None,
        queue: Queue | None = None,
    ) -> Estimate:
        """The written estimate. The same arguments give the same figures: the seed comes from the number.

        Args: results, done: bench work behind us when a quote is revised on the bench.
            A limit below the minimum fee is left aside (`Assessment.limit_too_low` tells).
            queue: how busy the bench is, for the day by which it should be back.
        """
        used = card or self.definitions.pricing.rate_card_on(today)
        key = (family_id, used.id, today, reference, number, supersedes, frozenset(answers.items()),
               tuple((r.step, r.result, tuple(sorted(r.seen.items()))) for r in results), done, queue)  # fmt: skip
        return self._estimated.get(
            key,
            partial(
                self._estimate,
                family_id,
                answers,
                today,
                reference,
                number,
                supersedes,
                used,
                results,
                done,
                queue,
            ),
        )

    def _estimate(
        self, family_id: str, answers: Answers, today: date, reference: str, number: str, supersedes: str | None,
        card: RateCard, results: Sequence[StepResult], done: DoneSoFar | None, queue: Queue | None,
    ) -> Estimate:  # fmt: skip
        family, pricing = self.definitions.families[family_id], self.definitions.pricing
        if results:
            diagnosis, bench = replan(family, pricing, card, answers, results, day=today)
        else:
            found = self.assess(family_id, answers, today, card)
            diagnosis, bench = found.diagnosis, found.bench
        outcomes = planned_outcomes(bench, family.steps)
        if done is not None:
            outcomes = after_work(outcomes, done)
        case = estimate_case(self.definitions, family, answers, today, reference, diagnosis, queue)
        if self.assess(family_id, answers, today, card).limit_too_low:
            case = replace(case, spending_limit=None)
        seed = zlib.crc32(number.encode())
        return make_estimate(
            pricing, outcomes, case, number=number, quoted_on=today,
            is_working_day=partial(is_working_day, pricing.calendar), seed=seed,
            chance_draws=chance_draws(
                diagnosis.sets, bench.problem.steps, outcomes, boxes=card.chances_worth_boxes, seed=seed
            ),
            family_id=family_id, definitions_version=self.definitions.version, supersedes=supersedes, card=card, done=done,
        )  # fmt: skip

    def estimate_text(self, family: str, answers: Answers, today: date, locale: str) -> tuple[str, ...]:
        """The estimate in a few short messages; the figures are those of the written one."""
        found = self.assess(family, answers, today)
        estimate = self.estimate(family, answers, today, reference="")
        texts = Texts(self.definitions, family, locale)
        lines = list(estimate_message(texts, estimate, found.limit_too_low))
        step = try_first(found, answers)
        if step is not None:
            lines.append(texts.say("workshop.estimate.try_first", what=texts.say(f"step.{step}.at_home")))
        return tuple(lines)


def try_first(found: Assessment, answers: Answers) -> str | None:
    """The step a customer should try at home before sending anything; None when none is likely enough to help.

    Chance to help: sum over faults of P(fault) x P(step cures it). Never with a stop sign.
    """
    if stop_signs(found.family, answers):
        return None
    chances = {
        step.id: sum(
            found.diagnosis.marginals.get(fault, 0.0) * chance for fault, chance in step.fixes.items()
        )
        for step in found.family.steps.values()
        if step.at_home
    }
    best = min(chances, key=lambda step: (-chances[step], step), default=None)
    return best if best is not None and chances[best] >= WORTH_TRYING else None


def estimate_message(texts: Texts, estimate: Estimate, limit_too_low: bool) -> tuple[str, ...]:
    """The estimate as a customer reads it in the talk: what is likely, the most, what if not, how long it holds."""
    money = partial(format_money, locale=texts.locale)
    until = day_month(estimate.valid_until, texts.locale)
    fee = money(estimate.if_not_repaired)
    if not estimate.can_start:
        key = "within_limit" if estimate.stopped_by == "limit" else "only_look"
        lines = [texts.say(f"workshop.estimate.{key}", fee=fee, until=until)]
    else:
        likely = estimate.likely_outcome
        first = "repaired" if likely.repaired else "not_repaired"
        price, maximum = money(likely.total), money(estimate.maximum)
        lines = [texts.say(f"workshop.estimate.{first}", price=price, maximum=maximum)]
        lines.append(texts.say("workshop.estimate.if_not", fee=fee, until=until))
    if limit_too_low:
        lines.append(texts.say("workshop.estimate.limit_too_low", fee=money(estimate.minimum_fee)))
    elif estimate.can_start and estimate.worth.verdict in ("not_worth_it", "over_limit"):
        lines.append(texts.say(f"workshop.estimate.{estimate.worth.verdict}"))
    return tuple(lines)


def relevant_facts(family: Family) -> frozenset[str]:
    """Facts that can move diagnosis, plan, price or the pairing gate, or what a checklist lists."""
    facts: set[str] = set()
    for finding in family.findings.values():
        facts.update(*(facts_of(condition) for condition in finding.values.values()))
        if finding.applies_when is not None:
            facts |= facts_of(finding.applies_when)
    for fault in family.faults.values():
        facts.update(*(facts_of(change.when) for change in fault.odds_when))
    for step in family.steps.values():
        facts.update(*(facts_of(change.when) for change in step.tried))
        if step.only_when is not None:
            facts |= facts_of(step.only_when)
    for part in family.paired_parts.values():
        facts |= {part.place_fact} | ({part.candidates_fact} if part.candidates_fact else set())
        if part.applies_when is not None:
            facts |= facts_of(part.applies_when)
    for question in family.questions.values():
        if question.several:
            facts.update(question.fills, *(facts_of(c.when) for c in question.choices if c.when is not None))
    facts |= {fact.id for fact in family.facts.values() if fact.role in PRICE_ROLES}
    return frozenset(facts)


def _assess(
    definitions: Definitions, family_id: str, answers: Answers, day: date, card: RateCard
) -> Assessment:
    family, pricing = definitions.families[family_id], definitions.pricing
    diagnosis = diagnose(family, answers)
    bench = bench_plan(family, pricing, card, diagnosis, answers, day=day)
    outcomes = planned_outcomes(bench, family.steps)
    rules, prices = rules_for(pricing, card, day, terms(definitions, family, answers, day, card))
    limit = _limit(family, answers, card)
    too_low = limit is not None and limit < minimum_fee(rules, prices)
    return Assessment(
        family=family,
        card=card,
        day=day,
        diagnosis=diagnosis,
        bench=bench,
        outcomes=outcomes,
        rules=rules,
        quick=quick_price(rules, outcomes),
        authorised=authorised_plan(rules, prices, outcomes, None if too_low else limit),
        gate=pairing_gate(family, answers),
        limit_too_low=too_low,
    )


def terms(definitions: Definitions, family: Family, answers: Answers, day: date, card: RateCard) -> Terms:
    """What of the answers, not of the work, changes the bill: priority, and the way back by post."""
    return Terms(
        priority=value_for(family, answers, "priority") == "yes",
        return_shipping=return_shipping(definitions, family, answers, day, card),
    )


def return_shipping(
    definitions: Definitions, family: Family, answers: Answers, day: date, card: RateCard
) -> Money | None:
    """Postage back, in the parcel we recommend for the kind of device; None when included, collected or not carried."""
    device = device_of(family, answers)
    if card.return_shipping != "by_zone" or device is None:
        return None
    fee = packing_sheet(definitions, family.id, _only(family, answers), day).postage
    return rounded(fee.price, card.currency, card.rounding) if isinstance(fee, Postage) else None


def _only(family: Family, answers: Answers) -> dict[str, Answer]:
    """The answers postage hangs on."""
    roles = ("device_kind", "country", "weight_kg", "size_mm", "stuck_disc")
    return {f: a for f, a in answers.items() if f in family.facts and family.facts[f].role in roles}


def _limit(family: Family, answers: Answers, card: RateCard) -> Money | None:
    value = value_for(family, answers, "spending_limit")
    return rounded(value, card.currency, card.rounding) if isinstance(value, Decimal) else None


def _money(amount: float, card: RateCard) -> Decimal:
    return rounded(Decimal(repr(amount)), card.currency, card.rounding).amount


def _threshold(found: Assessment) -> float:
    """tau: how far an answer must move the price to be worth asking for (rate card)."""
    percent = float(found.card.stop_threshold_percent) / 100 * found.quick.p50
    return max(float(found.card.stop_threshold_amount), percent)


def plan_key(found: Assessment) -> str:
    """Equal keys, equal decision: the steps in order with their tests, and the gate."""
    return f"{found.gate.decision}:{found.bench.key}"


def estimate_case(
    definitions: Definitions,
    family: Family,
    answers: Answers,
    day: date,
    reference: str,
    diagnosis: Diagnosis,
    queue: Queue | None = None,
) -> EstimateCase:
    """What the written estimate says about the case."""
    value = partial(value_for, family, answers)
    card = definitions.pricing.rate_card_on(day)
    sheet = packing_sheet(definitions, family.id, answers, day, queue=queue)
    limit, worth = value("spending_limit"), value("device_value")
    title = value("stuck_disc_title")
    return EstimateCase(
        reference=reference,
        device_id=sheet.device or "",
        customer_name=str(value("name") or ""),
        customer_address=tuple(str(value("address") or "").splitlines()) + tuple(
            str(part) for part in (value("postcode"),) if part),
        customer_phone=str(value("phone") or ""),
        customer_email=str(value("email") or ""),
        model_name=str(value("model_name") or ""),
        serial=str(value("serial") or ""),
        accessories=tuple(item.id for item in sheet.enclosures),
        discs=(str(title),) if title else (),
        disc_class=str(value("stuck_disc_class") or "unknown_kind") if value("stuck_disc") == "yes" else "",
        customer_words=str(value("story") or ""),
        suspects=tuple(diagnosis.top(3)),
        spending_limit=limit if isinstance(limit, Decimal) else None,
        device_value=worth if isinstance(worth, Decimal) else None,
        priority=value("priority") == "yes",
        return_shipping=return_shipping(definitions, family, answers, day, card),
        completion_date=sheet.dates.back_by,
    )  # fmt: skip
