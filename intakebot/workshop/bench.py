"""At the bench: what to do next and why, what it has cost so far, and where the authorised maximum stops the work.

The plan is made anew after every result. Nothing may begin that would bring the bill above the authorised maximum; what
was begun in good faith and took longer is written down as it was, and the invoice stays below the maximum all the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import Any

from intakebot.assess import Assessments, terms
from intakebot.conversation import Conversation, FactsEntered, PhaseMoved
from intakebot.definitions.facts import Answers, holds
from intakebot.definitions.model import Family, RateCard
from intakebot.definitions.texts import Texts
from intakebot.definitions.values import parse_value
from intakebot.errors import BadInputError, ConflictError, OverCapError
from intakebot.packing.bench_queue import Queue
from intakebot.quoting import consent as consents
from intakebot.quoting.charging import StepDone, Work, charge
from intakebot.quoting.consent import Actor
from intakebot.quoting.money import Money
from intakebot.quoting.outcomes import DoneSoFar, PlannedStep
from intakebot.records.case import Case
from intakebot.triage import BenchPlan, BenchStep, Diagnosis, replan, say_reason
from intakebot.turn_draft import CaseChange
from intakebot.workshop.estimating import card_of, local_day, revise
from intakebot.workshop.job import BenchEntry, Job, kept

LONGEST_STEP_MINUTES = Decimal(600)
KINDS = ("done", "test_passed", "test_failed", "could_not", "saw")


@dataclass(frozen=True)
class BenchView:
    """What the bench page shows.

    Attributes:
        next: the step to do now; None when finished, when nothing more is worth doing, or before the box is here.
        why: one line why it comes here. cautions: (id, text) for this step, most serious first.
        test_after: play-test after this step. only_test: the step is done, its test is not.
        may_do: inside the authorised maximum. over_by: how far beyond it would be.
        spent: the bill if work stopped now; after_next: with the next step. authorised: the maximum agreed.
        seen_options: bench facts that can be seen at this step, as (fact id, label).
        blocked: why nothing may be done now: "", `hold`, `consent`, `not_here`, `maximum`, `stop`.
        running_since: when the step's clock was started.
    """

    diagnosis: Diagnosis
    plan: BenchPlan
    next: BenchStep | None
    why: tuple[str, ...]
    how: str
    cautions: tuple[tuple[str, str], ...]
    test_after: bool
    only_test: bool
    may_do: bool
    blocked: str
    spent: Money
    after_next: Money
    over_by: Money
    authorised: Money
    seen_options: tuple[tuple[str, str], ...]
    done: tuple[BenchEntry, ...]
    parts_used: tuple[str, ...]
    running_since: datetime | None
    finished: bool


def step_id(plan_id: str) -> str:
    """Family step of a plan id: board trials are `trial_board#2`."""
    return plan_id.split("#", 1)[0]


def done_so_far(family: Family, entries: Sequence[BenchEntry], *, closed: bool = False) -> DoneSoFar:
    """The work behind us with its real minutes; access minutes follow from the levels opened and closed for tests.

    Args: closed: also count closing what stands open now, as when work stops here. Without it the rest of the plan
        closes it.
    """
    opened: set[str] = set()
    access = tests = 0.0
    steps: list[PlannedStep] = []
    for entry in entries:
        step = family.steps[step_id(entry.step)]
        if entry.result == "could_not":
            continue
        for level in _way_in(family, step.level):
            if level not in opened:
                access += family.levels[level].open
                opened.add(level)
        steps.append(PlannedStep(entry.step, step.id, float(entry.minutes), 0.0, step.parts))
        if entry.result in ("test_passed", "test_failed"):
            tests += family.play_test.minutes
            for level in [level for level in opened if not _may_stay_open(family, level)]:
                access += family.levels[level].close
                opened.discard(level)
    closing = sum(family.levels[level].close for level in opened) if closed else 0.0
    return DoneSoFar(tuple(steps), access + closing, tests)


def _way_in(family: Family, level: str) -> list[str]:
    way: list[str] = []
    at: str | None = level
    while at is not None:
        way.append(at)
        at = family.levels[at].parent
    return way[::-1]


def _may_stay_open(family: Family, level: str) -> bool:
    return all(family.levels[above].test_possible for above in _way_in(family, level))


def bill_so_far(assessments: Assessments, case: Case, entries: Sequence[BenchEntry], day: datetime) -> Money:
    """The bill if work stopped now and the device were put together again."""
    family, card, answers = _parts(assessments, case)
    done = done_so_far(family, entries, closed=True)
    repaired = bool(entries) and entries[-1].result == "test_passed"
    tested = _since_last_test(entries)
    steps = tuple(
        StepDone(step.step_id, step.minutes, step.parts, helped=repaired and step.plan_id in tested)
        for step in done.steps
    )
    work = Work(steps, done.access_minutes, done.test_minutes, repaired)
    return _total(assessments, case, card, answers, work, day)


def _since_last_test(entries: Sequence[BenchEntry]) -> set[str]:
    """Plan ids of the group that the last test followed."""
    group: set[str] = set()
    for index, entry in enumerate(entries):
        if entry.result != "could_not":
            group.add(entry.step)
        if entry.result == "test_failed" and index < len(entries) - 1:
            group = set()
    return group


def _parts(assessments: Assessments, case: Case) -> tuple[Family, RateCard, Answers]:
    conversation = Conversation.from_mapping(case.conversation)
    family = assessments.definitions.families[conversation.family]
    return family, card_of(assessments.definitions, case), conversation.answers


def _total(
    assessments: Assessments, case: Case, card: RateCard, answers: Answers, work: Work, now: datetime
) -> Money:
    from intakebot.quoting.tariff import part_prices

    family = assessments.definitions.families[case.family]
    quoted_on = case.opened_at.date()
    prices = part_prices(assessments.definitions.pricing, quoted_on, card.currency)
    rules = terms(assessments.definitions, family, answers, quoted_on, card)
    return charge(card, prices, work, rules).total


def bill_with(
    assessments: Assessments, case: Case, step: BenchStep, entries: Sequence[BenchEntry], now: datetime
) -> Money:
    """The bill when this step takes its median time and then the device works: the most it could come to typically."""
    if step.pending and entries:
        return bill_so_far(
            assessments, case, (*entries[:-1], replace(entries[-1], result="test_passed")), now
        )
    entry = BenchEntry(step.id, "test_passed", Decimal(repr(step.minutes)), now, "plan")
    return bill_so_far(assessments, case, (*entries, entry), now)


def next_step(plan: BenchPlan, entries: Sequence[BenchEntry]) -> BenchStep | None:
    """The first planned step that is not done; when only a test is missing before the plan goes on, the last step done."""
    if plan.finished or not plan.groups:
        return None
    to_do = [step for step in plan.groups[0] if not step.pending]
    if to_do:
        return to_do[0]
    last = entries[-1].step if entries else ""
    return next((step for step in plan.groups[0] if step.id == last), plan.groups[0][-1])


def bench_view(assessments: Assessments, case: Case, now: datetime, texts: Texts) -> BenchView:
    """The bench page of a case."""
    definitions, job = assessments.definitions, Job.of(case)
    family, card, answers = _parts(assessments, case)
    today = local_day(definitions, now).date()
    diagnosis, plan = replan(family, definitions.pricing, card, answers, job.results, day=today)
    step = next_step(plan, job.entries)
    zero = Money.of_minor(0, card.currency)
    spent = bill_so_far(assessments, case, job.entries, now)
    after = bill_with(assessments, case, step, job.entries, now) if step is not None else spent
    authorised = job.consent.authorised if job.consent is not None else zero
    blocked = _blocked(case, job, after, step)
    return BenchView(
        diagnosis=diagnosis,
        plan=plan,
        next=step,
        why=tuple(say_reason(texts, reason) for reason in step.reasons) if step is not None else (),
        how=texts.say(f"step.{step.step}.how") if step is not None else "",
        cautions=bench_cautions(family, texts, step.step, answers) if step is not None else (),
        test_after=step is not None and (step.pending or step.id == _last_to_do(plan)),
        only_test=step is not None and step.pending,
        may_do=step is not None and not blocked,
        blocked=blocked,
        spent=spent,
        after_next=after,
        over_by=max(zero, after - authorised),
        authorised=authorised,
        seen_options=seen_options(family, texts, step.step) if step is not None else (),
        done=job.entries,
        parts_used=tuple(part for s in done_so_far(family, job.entries).steps for part in s.parts),
        running_since=datetime.fromisoformat(job.running["at"]) if job.running else None,
        finished=plan.finished,
    )


def _last_to_do(plan: BenchPlan) -> str:
    """The last step of the first group that is still to be done: a play test follows it."""
    return next((step.id for step in reversed(plan.groups[0]) if not step.pending), "")


def _blocked(case: Case, job: Job, after: Money, step: BenchStep | None) -> str:
    phase = case.conversation["phase"]
    if phase not in ("arrived", "on_bench"):
        return "not_here"
    if job.hold:
        return "hold"
    if "safety" in case.conversation["holds"] and not job.cleared:
        return "stop"
    if job.consent is None or job.consent.state != "accepted":
        return "consent"
    if step is not None and not job.consent.may_work(after):
        return "maximum"
    return ""


def bench_cautions(family: Family, texts: Texts, step: str, answers: Answers) -> tuple[tuple[str, str], ...]:
    """Cautions for a step at the bench: those the step names, and those the case brings; most serious first."""
    order = {"stop": 0, "warning": 1, "note": 2}
    found = [
        caution
        for caution in family.cautions.values()
        if texts.has(f"caution.{caution.id}.bench")
        and (
            caution.id in family.steps[step].hazards
            or (
                caution.when is not None
                and caution.severity == "stop"
                and holds(caution.when, answers) is True
            )
        )
    ]
    found.sort(key=lambda caution: (order[caution.severity], caution.id))
    return tuple((caution.id, texts.say(f"caution.{caution.id}.bench")) for caution in found)


def seen_options(family: Family, texts: Texts, step: str) -> tuple[tuple[str, str], ...]:
    """Bench facts that can be seen at a step, with their labels."""
    from intakebot.definitions.facts import facts_of

    facts: dict[str, None] = {}
    for finding in family.findings.values():
        if finding.stage == "bench" and step in finding.seen_at:
            for condition in finding.values.values():
                facts.update(dict.fromkeys(sorted(facts_of(condition))))
    return tuple((fact, texts.say(f"fact.{fact}")) for fact in facts)


def start_step(assessments: Assessments, case: Case, now: datetime, *, step: str, by: str) -> CaseChange:
    """Start the clock of the next step.

    Raises: ConflictError when it is not the next step; OverCapError beyond the maximum.
    """
    _allowed(assessments, case, now, step)
    job = replace(Job.of(case), running={"step": step, "at": now.isoformat()})
    event = (
        PhaseMoved(f"bench-{now.isoformat()}", "on_bench")
        if case.conversation["phase"] == "arrived"
        else None
    )
    return CaseChange(kept(case, job), event=event, events=(("step_started", {"step": step, "by": by}),))


def _allowed(assessments: Assessments, case: Case, now: datetime, step: str) -> Money:
    """The bill with this step, when it may be done. Raises as `start_step`."""
    job = Job.of(case)
    family, card, answers = _parts(assessments, case)
    today = local_day(assessments.definitions, now).date()
    _, plan = replan(family, assessments.definitions.pricing, card, answers, job.results, day=today)
    planned = {each.id: each for group in plan.groups for each in group}
    if step not in planned:
        raise ConflictError(f"{step} is not in the plan of this case as it stands now")
    after = bill_with(assessments, case, planned[step], job.entries, now)
    blocked = _blocked(case, job, after, planned[step])
    if blocked == "maximum" and job.consent is not None:
        raise OverCapError(
            f"this step would bring the bill to {after.amount}, above the {job.consent.authorised.amount} agreed"
        )
    if blocked:
        raise ConflictError(f"no bench work now: {blocked}")
    return after


def record_result(
    assessments: Assessments,
    case: Case,
    now: datetime,
    *,
    step: str,
    result: str,
    seen: Mapping[str, Any],
    minutes: Decimal | None,
    by: str,
) -> CaseChange:
    """Write down how a step went. `saw` only notes what was seen; the step stays next.

    Raises: BadInputError, ConflictError, OverCapError; nothing is changed then.
    """
    family, _, _ = _parts(assessments, case)
    if result not in KINDS:
        raise BadInputError("result", result, "one of " + ", ".join(KINDS))
    values = {}
    for fact, raw in seen.items():
        if fact not in family.facts:
            raise BadInputError(f"seen.{fact}", fact, "a bench fact of this family")
        values[fact] = parse_value(family.facts[fact], raw)
    if result == "saw":
        if not values:
            raise BadInputError("seen", "nothing", "at least one thing that was seen")
        event = FactsEntered(f"seen-{now.isoformat()}", dict(seen), by="staff", verified=True)
        return CaseChange(
            case, event=event, events=(("seen", {"step": step, "facts": sorted(seen), "by": by}),)
        )
    total = _allowed(assessments, case, now, step)
    job = Job.of(case)
    taken = _minutes(job, family, step, minutes, now)
    entry = BenchEntry(step, result, taken, now, by, values)  # type: ignore[arg-type]
    entries = (*job.entries, entry)
    last = job.entries[-1] if job.entries else None
    if last is not None and last.step == step and last.result == "done":
        entry = replace(last, result=result, seen={**last.seen, **values})  # type: ignore[arg-type]
        entries = (*job.entries[:-1], entry)  # the same step, tested now: its minutes and parts count once
    assert job.consent is not None
    begun = min(max(total, bill_so_far(assessments, case, entries, now)), job.consent.authorised)
    consent = consents.commit_work(
        job.consent, begun, Actor(by, "bench"), now, text=f"bench: {step_id(step)}"
    )
    after = replace(job, entries=entries, consent=consent, running=None)
    event_moved = (
        PhaseMoved(f"bench-{now.isoformat()}", "on_bench")
        if case.conversation["phase"] == "arrived"
        else None
    )
    return CaseChange(kept(case, after), event=event_moved, events=(("step_result", {**entry.to_mapping()}),))


def _minutes(job: Job, family: Family, step: str, typed: Decimal | None, now: datetime) -> Decimal:
    """Typed minutes, else the clock's (at least one), else the step's median."""
    if typed is not None:
        if not 0 <= typed <= LONGEST_STEP_MINUTES:
            raise BadInputError("minutes", str(typed), f"0 to {LONGEST_STEP_MINUTES}")
        return typed
    if job.running and job.running["step"] == step:
        seconds = (now - datetime.fromisoformat(job.running["at"])).total_seconds()
        return min(max(Decimal(1), Decimal(round(seconds / 60))), LONGEST_STEP_MINUTES)
    return Decimal(repr(family.steps[step_id(step)].minutes))


def undo_result(case: Case, now: datetime, *, by: str) -> CaseChange:
    """Take the last result back; the log keeps both.

    Raises: ConflictError when there is none, or the outcome is written already.
    """
    job = Job.of(case)
    if not job.entries or job.outcome is not None:
        raise ConflictError("there is no bench result to take back")
    gone = job.entries[-1]
    after = replace(job, entries=job.entries[:-1], running=None)
    return CaseChange(
        kept(case, after), events=(("step_undone", {"step": gone.step, "result": gone.result, "by": by}),)
    )


def ask_for_more(
    assessments: Assessments,
    case: Case,
    now: datetime,
    *,
    by: str,
    reason: str = "",
    queue: Queue | None = None,
) -> CaseChange:
    """A revised quote for the rest of the plan, with the work so far in it; the customer is asked."""
    job = Job.of(case)
    family, _, _ = _parts(assessments, case)
    texts = Texts(assessments.definitions, family.id, case.conversation["locale"])
    said = reason.strip() or texts.say("workshop.ask_more_reason")
    return revise(
        assessments, case, now, reason=said, by=by, done=done_so_far(family, job.entries), queue=queue
    )
