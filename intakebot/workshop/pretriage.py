"""What the technician reads before the box arrives: likely causes with their why, the plan, what is odd, what is open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from babel.numbers import format_percent

from intakebot.assess import Assessments
from intakebot.conversation import Conversation
from intakebot.definitions.facts import Answers, Value
from intakebot.definitions.model import Fact, Family
from intakebot.definitions.texts import Texts
from intakebot.documents.ladder import Rung
from intakebot.documents.pretriage import Cause, PartToHave, PretriageNotes
from intakebot.packing.cautions import shown_cautions
from intakebot.packing.pairing import Gate, pairing_gate
from intakebot.packing.roles import value_for
from intakebot.quoting.chances import ChanceShown, chance_shown
from intakebot.quoting.estimate_words import say_chance
from intakebot.quoting.money import Money, format_money
from intakebot.records.case import Case
from intakebot.triage import BenchPlan, Diagnosis, replan, say_reason
from intakebot.workshop.bench import bill_so_far, bill_with
from intakebot.workshop.closing import acceptance_ids, acceptance_label
from intakebot.workshop.estimating import card_of, current_estimate, local_day
from intakebot.workshop.job import BenchEntry, Job, ResultKind

CAUSES_SHOWN = 5
LEAST_CHANCE = 0.02
WHY_SHOWN = 3
"""Findings named for a cause, those that moved it most."""
LEAST_MOVE = 0.1


@dataclass(frozen=True)
class Pretriage:
    """notes: the sheet's words. diagnosis, plan, gate: what they were made from."""

    notes: PretriageNotes
    diagnosis: Diagnosis
    plan: BenchPlan
    gate: Gate


def pretriage(assessments: Assessments, case: Case, now: datetime, texts: Texts) -> Pretriage:
    """The pre-triage of a case as it stands now, results at the bench included."""
    definitions, job = assessments.definitions, Job.of(case)
    conversation = Conversation.from_mapping(case.conversation)
    family, answers = definitions.families[conversation.family], conversation.answers
    today = local_day(definitions, now).date()
    diagnosis, plan = replan(
        family, definitions.pricing, card_of(definitions, case), answers, job.results, day=today
    )
    gate = pairing_gate(family, answers)
    kind = value_for(family, answers, "device_kind")
    notes = PretriageNotes(
        device=texts.say(f"device.{kind}") if isinstance(kind, str) else texts.say("workshop.pretriage.device_unknown"),
        customer_words=str(value_for(family, answers, "story") or ""),
        causes=causes(assessments, family, diagnosis, texts),
        warnings=warnings(family, answers, texts),
        odd=oddities(family, answers, gate, diagnosis, texts),
        rungs=rungs(assessments, case, plan, now, texts),
        why=tuple(
            texts.say("workshop.pretriage.why", step=texts.say(f"step.{step.step}.name"), why=say_reason(texts, step.reasons[0]))
            for group in plan.groups for step in group if step.reasons
        ),
        parts=tuple(PartToHave(texts.say(f"spare.{part}"), _stocked(assessments, part)) for part in plan.parts),
        not_known=not_known(family, conversation, texts),
        acceptance=tuple(acceptance_label(test, texts) for test in acceptance_ids(family, answers)),
        summary=_summary(assessments, case, plan, texts),
    )  # fmt: skip
    return Pretriage(notes, diagnosis, plan, gate)


def causes(assessments: Assessments, family: Family, diagnosis: Diagnosis, texts: Texts) -> tuple[Cause, ...]:
    """The likeliest causes, each with the findings that moved it most."""
    found = []
    for fault, chance in diagnosis.top(CAUSES_SHOWN):
        if chance < LEAST_CHANCE:
            continue
        shown = chance_shown(min(1.0, max(0.0, chance)), assessments.definitions.pricing.chance_words)
        found.append(
            Cause(
                texts.say(f"fault.{fault}.name"),
                chance,
                _percent(shown, texts),
                because(diagnosis, fault, texts),
            )
        )
    return tuple(found)


def _percent(shown: ChanceShown, texts: Texts) -> str:
    """The figure alone: at the bench the bars beside it say more than the words for customers."""
    percent = format_percent(shown.percent / 100, locale=texts.locale)
    return texts.say(f"quote.percent_{shown.edge}", percent=percent) if shown.edge else percent


def because(diagnosis: Diagnosis, fault: str, texts: Texts) -> tuple[str, ...]:
    """The findings that moved a fault most, with the log-odds they added."""
    moves = [
        (contribution.moved.get(fault, 0.0), contribution) for contribution in diagnosis.contributions
        if abs(contribution.moved.get(fault, 0.0)) >= LEAST_MOVE
    ]  # fmt: skip
    moves.sort(key=lambda pair: (-abs(pair[0]), pair[1].finding))
    return tuple(
        texts.say(
            "workshop.pretriage.moved",
            finding=texts.say(f"finding.{c.finding}"),
            value=_value_words(c.value, texts),
            move=f"{move:+.1f}",
        )
        for move, c in moves[:WHY_SHOWN]
    )


def _value_words(value: str, texts: Texts) -> str:
    return texts.say(f"option.{value}").lower() if texts.has(f"option.{value}") else value.replace("_", " ")


def warnings(family: Family, answers: Answers, texts: Texts) -> tuple[str, ...]:
    """Bench warnings that the case brings, stop signs first."""
    keys = [f"caution.{caution.id}.bench" for caution in shown_cautions(family, answers)]
    return tuple(texts.say(key) for key in keys if texts.has(key))


def oddities(
    family: Family, answers: Answers, gate: Gate, diagnosis: Diagnosis, texts: Texts
) -> tuple[str, ...]:
    """What is unusual: earlier attempts by whom, the paired board, a stuck disc, symptoms that do not fit."""
    found = []
    for fact in family.facts.values():
        answer = answers.get(fact.id)
        if fact.role == "attempt" and answer is not None and answer.value not in (None, "nobody", "no"):
            found.append(
                texts.say(
                    "workshop.pretriage.attempt",
                    what=texts.say(f"fact.{fact.id}"),
                    who=_by_whom(fact, answer.value, texts),
                )
            )
    for part in gate.parts:
        if part.decision != "go":
            found.append(texts.say(f"workshop.pretriage.gate_{part.decision}", part=texts.say(f"paired.{part.part}"),
                                   percent=round(100 * part.doubt), trials=part.worst_trials))  # fmt: skip
        elif part.candidates > 1:
            found.append(
                texts.say(
                    "workshop.pretriage.trials", count=part.candidates, average=f"{part.expected_trials:g}"
                )
            )
    if value_for(family, answers, "stuck_disc") == "yes":
        title = value_for(family, answers, "stuck_disc_title")
        found.append(
            texts.say("workshop.pretriage.disc", title=str(title or texts.say("workshop.pretriage.no_title")))
        )
    if not diagnosis.fits:
        found.append(texts.say("workshop.pretriage.does_not_fit"))
    return tuple(found)


def _by_whom(fact: Fact, value: Value, texts: Texts) -> str:
    """Who tried it, for the bench: the customer's `you` is the customer there."""
    return texts.say("workshop.who.customer") if value == "owner" else texts.option(fact, value)


def not_known(family: Family, conversation: Conversation, texts: Texts) -> tuple[str, ...]:
    """What the customer did not know or would rather not say."""
    return tuple(
        texts.say(f"fact.{fact}") for fact, entry in sorted(conversation.facts.items())
        if entry.status in ("not_known", "declined") and fact in family.facts
    )  # fmt: skip


def rungs(
    assessments: Assessments, case: Case, plan: BenchPlan, now: datetime, texts: Texts
) -> tuple[Rung, ...]:
    """The ladder: what was done, then what is planned; chance solved, and the bill if it works after that rung."""
    job, family = Job.of(case), assessments.definitions.families[case.family]
    found = []
    for index, entry in enumerate(job.entries):
        spent = bill_so_far(assessments, case, job.entries[: index + 1], now)
        found.append(Rung(
            name=plan_name(texts, entry.step), minutes=float(entry.minutes), depth=_depth(family, entry.step),
            chance_solved=1.0 if entry.result == "test_passed" else 0.0, money=spent.amount,
            test_after=entry.result.startswith("test"), state="done"))  # fmt: skip
    cap = _cap(case, job)
    ahead = list(job.entries)
    for group in plan.groups:
        for step in group:
            if step.pending:
                continue  # done already, and listed above
            bill = bill_with(assessments, case, step, ahead, now)
            found.append(Rung(
                name=plan_name(texts, step.id), minutes=step.minutes, depth=_depth(family, step.id),
                chance_solved=step.solved_so_far, money=bill.amount, test_after=step.test_after,
                allowed=cap is None or bill <= cap,
                state="next" if job.entries and len(ahead) == len(job.entries) else "planned"))  # fmt: skip
            tested: ResultKind = "test_failed" if step.test_after else "done"
            ahead.append(BenchEntry(step.id, tested, Decimal(repr(step.minutes)), now, "plan"))
    return tuple(found)


def _cap(case: Case, job: Job) -> Money | None:
    """The most that may be billed: what was agreed, else what the estimate offers; None before there is one."""
    if job.consent is not None and job.consent.state == "accepted":
        return job.consent.authorised
    estimate = current_estimate(case)
    return estimate.maximum if estimate is not None else None


def plan_name(texts: Texts, plan_id: str) -> str:
    """Name of a plan step; board trials are numbered."""
    step, _, trial = plan_id.partition("#")
    name = texts.say(f"step.{step}.name")
    return texts.say("workshop.trial", step=name, number=trial) if trial else name


def _depth(family: Family, plan_id: str) -> int:
    depth, level = 0, family.levels[family.steps[plan_id.partition("#")[0]].level]
    while level.parent is not None:
        depth, level = depth + 1, family.levels[level.parent]
    return depth


def _stocked(assessments: Assessments, part: str) -> bool:
    prices = assessments.definitions.pricing.parts.get(part, ())
    return bool(prices) and prices[-1].stocked


def _summary(
    assessments: Assessments, case: Case, plan: BenchPlan, texts: Texts
) -> tuple[tuple[str, str], ...]:
    words = assessments.definitions.pricing.chance_words
    rows = [(texts.say("workshop.pretriage.repaired"), say_chance(texts, chance_shown(min(1.0, max(0.0, plan.chance_repaired)), words), texts.locale)),
            (texts.say("workshop.pretriage.minutes"), texts.say("workshop.minutes", minutes=round(plan.expected_minutes)))]  # fmt: skip
    estimate = current_estimate(case)
    if estimate is not None:
        rows.append((texts.say("workshop.pretriage.maximum"), format_money(estimate.maximum, texts.locale)))
    if plan.second is not None:
        order = texts.say("workshop.pretriage.then").join(
            ", ".join(plan_name(texts, step) for step in group) for group in plan.second.groups[:3]
        )
        rows.append((texts.say("workshop.pretriage.second"), order))
    return tuple(rows)


def pretriage_mapping(found: Pretriage) -> Mapping[str, object]:
    """JSON form for systems: codes and numbers."""
    return {
        "causes": [{"fault": fault, "chance": round(chance, 4)} for fault, chance in found.diagnosis.top(10)],
        "fits": found.diagnosis.fits,
        "truncated_mass": found.diagnosis.truncated_mass,
        "findings": [
            {"finding": c.finding, "value": c.value, "certainty": c.certainty, "moved": {f: round(m, 3) for f, m in c.moved.items()}}
            for c in found.diagnosis.contributions
        ],
        "plan": [
            [{"step": s.step, "id": s.id, "level": s.level, "minutes": s.minutes, "solved_so_far": round(s.solved_so_far, 4),
              "cost_so_far": round(s.cost_so_far, 2), "test_after": s.test_after} for s in group]
            for group in found.plan.groups
        ],
        "chance_repaired": round(found.plan.chance_repaired, 4),
        "parts": list(found.plan.parts),
        "pairing": found.gate.to_mapping(),
        "warnings": list(found.notes.warnings),
        "odd": list(found.notes.odd),
        "not_known": list(found.notes.not_known),
        "acceptance": list(found.notes.acceptance),
    }  # fmt: skip
