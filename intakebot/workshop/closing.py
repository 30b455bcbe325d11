"""The end of a job: acceptance tests, the outcome with its true cause, the way back, custody."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import Any

from intakebot.assess import Assessments
from intakebot.conversation import Conversation, PhaseMoved
from intakebot.definitions.facts import Answers
from intakebot.definitions.model import Family
from intakebot.definitions.texts import Texts
from intakebot.errors import BadInputError, ConflictError
from intakebot.packing.custody import stuck_disc
from intakebot.packing.roles import device_of
from intakebot.quoting import consent as consents
from intakebot.quoting.consent import Actor, invoice_cap
from intakebot.quoting.money import Money
from intakebot.records.case import Case
from intakebot.turn_draft import CaseChange
from intakebot.workshop.bench import bill_so_far, step_id
from intakebot.workshop.job import Job, kept

RESULTS = ("passed", "failed", "not_possible")
ENDINGS = ("fixed", "repairable", "end_of_life", "unknown")
"""Outcome words of the Open Repair Data Standard, so that records can be compared with open data."""
CYCLES = 10
"""Load and eject cycles before a drive goes home (common practice, no source)."""


@dataclass(frozen=True)
class AcceptanceTest:
    """id: `disc:<class>`, `stuck_disc` or `cycles`. result: "" until it was made."""

    id: str
    label: str
    result: str


def acceptance_ids(family: Family, answers: Answers) -> tuple[str, ...]:
    """Tests that prove the repair: the class of the customer's own disc or of what failed first, then each other class
    the device should play, then load and eject cycles. A stuck disc itself comes last of the discs: never the first to risk."""
    device = device_of(family, answers)
    classes = list(device.discs) if device is not None else list(family.disc_classes)
    disc = stuck_disc(family, answers)
    failed = {
        fact.disc_class for fact in family.facts.values()
        if fact.role == "disc_result" and fact.id in answers and answers[fact.id].value == "fails"
    }  # fmt: skip
    first = ({disc.disc_class} if disc is not None else set()) | failed
    ordered = sorted(classes, key=lambda each: (each not in first, classes.index(each)))
    own = ("stuck_disc",) if disc is not None else ()
    return (*(f"disc:{each}" for each in ordered), *own, "cycles")


def acceptance(assessments: Assessments, case: Case, texts: Texts) -> tuple[AcceptanceTest, ...]:
    """The acceptance list of a case with the results so far."""
    family = assessments.definitions.families[case.family]
    answers, job = Conversation.from_mapping(case.conversation).answers, Job.of(case)
    return tuple(
        AcceptanceTest(test, acceptance_label(test, texts), job.acceptance.get(test, ""))
        for test in acceptance_ids(family, answers)
    )


def acceptance_label(test: str, texts: Texts) -> str:
    if test.startswith("disc:"):
        return texts.say("workshop.acceptance.disc", disc=texts.say(f"disc.{test[5:]}"))
    return texts.say(f"workshop.acceptance.{test}", cycles=CYCLES)


def record_acceptance(
    assessments: Assessments, case: Case, now: datetime, *, results: Mapping[str, str], by: str
) -> CaseChange:
    """Keep acceptance results. Raises: BadInputError, ConflictError when the job is closed."""
    family, job = assessments.definitions.families[case.family], Job.of(case)
    if job.outcome is not None:
        raise ConflictError("the outcome is written already")
    known = acceptance_ids(family, Conversation.from_mapping(case.conversation).answers)
    for test, result in results.items():
        if test not in known:
            raise BadInputError(f"acceptance.{test}", test, "one of " + ", ".join(known))
        if result not in RESULTS:
            raise BadInputError(f"acceptance.{test}", result, "one of " + ", ".join(RESULTS))
    after = replace(job, acceptance={**job.acceptance, **results})
    return CaseChange(kept(case, after), events=(("acceptance", {"results": dict(results), "by": by}),))


def record_outcome(
    assessments: Assessments,
    case: Case,
    now: datetime,
    *,
    ending: str,
    causes: tuple[str, ...],
    total: Decimal | None,
    note: str = "",
    by: str,
) -> CaseChange:
    """Close the job: how it ended, what it really was, and the bill, which cannot pass what was authorised.

    Args: total: None takes the bill for the work recorded, capped at the authorised maximum.
    Raises: BadInputError, ConflictError, OverCapError.
    """
    family, job = assessments.definitions.families[case.family], Job.of(case)
    conversation = Conversation.from_mapping(case.conversation)
    if job.outcome is not None:
        raise ConflictError("the outcome is written already")
    if conversation.phase not in ("arrived", "on_bench"):
        raise ConflictError("an outcome is written for a device that is here")
    if ending not in ENDINGS:
        raise BadInputError("ending", ending, "one of " + ", ".join(ENDINGS))
    if not causes:
        raise BadInputError("causes", "nothing", "at least one fault, also when it is only likely")
    for cause in causes:
        if cause not in family.faults:
            raise BadInputError("causes", cause, "faults of this family")
    if ending == "fixed":
        missing = [
            test for test in acceptance_ids(family, conversation.answers) if test not in job.acceptance
        ]
        if missing:
            raise BadInputError(
                "acceptance",
                ", ".join(missing),
                "a result for every acceptance test before it counts as fixed",
            )
    if job.consent is None:
        raise ConflictError("there was never an estimate")
    cap = invoice_cap(job.consent)
    worked = bill_so_far(assessments, case, job.entries, now)
    amount = min(worked, cap) if total is None else Money(total, cap.currency)
    consent = consents.invoice(job.consent, amount, Actor(by, "shop"), now)
    outcome = {"ending": ending, "causes": list(causes), "total": str(amount.amount), "currency": amount.currency,
               "worked": str(worked.amount), "note": note[:2000], "by": by, "at": now.isoformat()}  # fmt: skip
    after = replace(job, consent=consent, outcome=outcome, running=None)
    event = PhaseMoved(f"outcome-{now.isoformat()}", "finished")
    return CaseChange(
        kept(case, after),
        event=event,
        events=(("outcome", outcome),),
        outcome=lesson(assessments, case, after, outcome),
    )


def lesson(assessments: Assessments, case: Case, job: Job, outcome: Mapping[str, Any]) -> dict[str, Any]:
    """What a finished job teaches: facts that triage uses, steps with results, the true cause; nothing personal."""
    conversation = Conversation.from_mapping(case.conversation)
    family = assessments.definitions.families[case.family]
    facts = {
        fact: answer.value for fact, answer in sorted(conversation.answers.items())
        if answer.value is not None and not family.facts[fact].personal and family.facts[fact].type in ("choice", "yes_no", "count")
    }  # fmt: skip
    return {
        "family": case.family, "definitions": case.definitions_version, "facts": facts,
        "steps": [{"step": step_id(e.step), "result": e.result, "minutes": str(e.minutes)} for e in job.entries],
        "ending": outcome["ending"], "causes": list(outcome["causes"]),
    }  # fmt: skip


def record_return(
    case: Case,
    now: datetime,
    *,
    contents: tuple[str, ...],
    disc_returned: bool | None,
    tracking: str,
    by: str,
) -> CaseChange:
    """The box is packed and on its way back; a disc in the shop's custody must go with it.

    Raises: ConflictError before the outcome, or while a disc is still held.
    """
    job = Job.of(case)
    if job.outcome is None:
        raise ConflictError("write the outcome first")
    if job.returned is not None:
        raise ConflictError("it was sent back already")
    held = _held(job)
    if "stuck_disc" in held and not disc_returned:
        raise BadInputError(
            "disc_returned", "no", "the customer's disc in the box; it is in the shop's custody"
        )
    custody = tuple(
        {"item": item, "holder": "carrier", "actor": by, "at": now.isoformat(), "note": tracking[:100]}
        for item in held
    )
    returned = {"contents": [item[:200] for item in contents[:40]], "disc_returned": disc_returned, "tracking": tracking[:100],
                "by": by, "at": now.isoformat()}  # fmt: skip
    after = replace(job, returned=returned, custody=(*job.custody, *custody))
    return CaseChange(kept(case, after), events=(("returned", returned),))


def _held(job: Job) -> tuple[str, ...]:
    """Items that are with the shop now."""
    last = {str(entry["item"]): entry["holder"] for entry in job.custody}
    return tuple(item for item, holder in last.items() if holder == "shop")


def hand_over(case: Case, now: datetime, *, by: str) -> CaseChange:
    """The customer has it back: collected, or the carrier delivered it. Raises: ConflictError."""
    job = Job.of(case)
    if job.returned is None and job.outcome is None:
        raise ConflictError("it is not finished yet")
    if job.collected:
        raise ConflictError("it was handed over already")
    custody = tuple({"item": str(e["item"]), "holder": "customer", "actor": by, "at": now.isoformat(), "note": ""}
                    for e in {str(entry["item"]): entry for entry in job.custody}.values() if e["holder"] != "customer")  # fmt: skip
    after = replace(job, collected=True, custody=(*job.custody, *custody))
    return CaseChange(kept(case, after), events=(("handed_over", {"by": by}),))
