"""The arrival check: what came against what was to come, and what each difference changes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import Any

from intakebot.assess import Assessments
from intakebot.conversation import Conversation, FactsEntered, PhaseMoved
from intakebot.definitions.texts import Texts
from intakebot.errors import BadInputError, ConflictError
from intakebot.packing.custody import StuckDisc
from intakebot.packing.parcel import ParcelPlan
from intakebot.packing.roles import value_for
from intakebot.packing.sheet import PackingSheet, packing_sheet
from intakebot.records.case import Case
from intakebot.turn_draft import CaseChange
from intakebot.workshop.estimating import local_day
from intakebot.workshop.job import Job, kept

DEVICE = "device"
"""Arrival line of the device itself."""
FOUND = ("here", "missing", "different", "extra")
SEALS = ("intact", "broken", "none")
EVIDENCE = (
    "seal_broken",
    "mixed_screws",
    "stripped_heads",
    "flux_residue",
    "tool_marks",
    "lens_touched",
    "label_mismatch",
)
"""Signs of an earlier repair to look for (common practice, no source)."""
WEIGHT_SLACK = Decimal("0.25")
"""A box this share lighter than it was sent has lost something (common practice, no source)."""


@dataclass(frozen=True)
class ArrivalLine:
    """One thing that should be in the box."""

    id: str
    label: str
    original_part: bool


@dataclass(frozen=True)
class ArrivalForm:
    """What the arrival page shows. board_*: what the customer said about the paired part. checked: the check as kept, if made."""

    lines: tuple[ArrivalLine, ...]
    disc: StuckDisc | None
    expected_kg: Decimal | None
    board_label: str
    board_serial: str
    photos: tuple[str, ...]
    evidence: tuple[str, ...]
    checked: Mapping[str, Any] | None


def expected(assessments: Assessments, case: Case, now: datetime) -> PackingSheet:
    """The packing sheet of the case, which says what should come."""
    conversation = Conversation.from_mapping(case.conversation)
    today = local_day(assessments.definitions, now).date()
    return packing_sheet(assessments.definitions, conversation.family, conversation.answers, today)


def arrival_form(assessments: Assessments, case: Case, now: datetime, texts: Texts) -> ArrivalForm:
    """The arrival page of a case."""
    conversation = Conversation.from_mapping(case.conversation)
    family, sheet = assessments.definitions.families[conversation.family], expected(assessments, case, now)
    answers = conversation.answers
    photos = value_for(family, answers, "photos")
    return ArrivalForm(
        lines=arrival_lines(sheet, texts),
        disc=sheet.stuck_disc,
        expected_kg=expected_weight(sheet),
        board_label=_said(answers, "board_label"),
        board_serial=_said(answers, "board_serial"),
        photos=photos if isinstance(photos, tuple) else (),
        evidence=EVIDENCE,
        checked=Job.of(case).arrival,
    )


def arrival_lines(sheet: PackingSheet, texts: Texts) -> tuple[ArrivalLine, ...]:
    """The device itself, then what the packing sheet asked for."""
    device = texts.say(f"device.{sheet.device}") if sheet.device else texts.say("workshop.arrival.the_device")
    asked = tuple(
        ArrivalLine(item.id, texts.say(f"enclose.{item.id}"), item.original_part) for item in sheet.enclosures
    )
    return (ArrivalLine(DEVICE, device, False), *asked)


def expected_weight(sheet: PackingSheet) -> Decimal | None:
    """What the packed box should weigh; None when no box was recommended."""
    return Decimal(str(round(sheet.parcel.gross_kg, 2))) if isinstance(sheet.parcel, ParcelPlan) else None


def is_light(weight_kg: Decimal | None, sheet: PackingSheet) -> bool:
    """Whether a box weighs so much less than expected that something may be missing."""
    usual = expected_weight(sheet)
    return weight_kg is not None and usual is not None and weight_kg < usual * (1 - WEIGHT_SLACK)


def _said(answers: Mapping[str, Any], fact: str) -> str:
    answer = answers.get(fact)
    return str(answer.value) if answer is not None and answer.value is not None else ""


def record_arrival(
    assessments: Assessments,
    case: Case,
    now: datetime,
    *,
    found: Mapping[str, str],
    screws: int | None,
    seals: str | None,
    earlier_repair: tuple[str, ...],
    weight_kg: Decimal | None,
    disc: str | None,
    board_matches: bool | None,
    notes: str,
    by: str,
) -> CaseChange:
    """Keep the arrival check. A missing paired part holds the job and the customer is told; evidence changes facts.

    Raises: BadInputError for anything unreadable; ConflictError before acceptance or after the outcome.
    """
    conversation, job = Conversation.from_mapping(case.conversation), Job.of(case)
    if conversation.phase not in ("accepted", "shipped", "arrived", "on_bench"):
        raise ConflictError("a box is only checked in for a job that was agreed")
    sheet = expected(assessments, case, now)
    texts = Texts(assessments.definitions, conversation.family, conversation.locale)
    lines = {line.id: line for line in arrival_lines(sheet, texts)}
    _check(found, lines, screws, seals, earlier_repair, weight_kg, disc)
    missing = tuple(item for item in lines if found.get(item) == "missing")
    lost = tuple(item for item in missing if lines[item].original_part or item == DEVICE)
    wrong = board_matches is False
    arrival = {
        "found": dict(found), "screws": screws, "seals": seals, "earlier_repair": list(earlier_repair),
        "weight_kg": str(weight_kg) if weight_kg is not None else None, "disc": disc, "board_matches": board_matches,
        "notes": notes[:2000], "by": by, "at": now.isoformat(), "light": is_light(weight_kg, sheet), "missing": list(missing),
    }  # fmt: skip
    hold, notices = job.hold, []
    if lost or wrong:
        names = ", ".join(lines[item].label for item in lost) or texts.say("workshop.arrival.the_board")
        hold = "part_missing"
        notices.append(
            texts.say(
                "workshop.arrival.part_missing" if lost else "workshop.arrival.part_differs", parts=names
            )
        )
    elif job.hold == "part_missing":
        hold = ""
    custody = list(job.custody)
    if disc == "here" and not any(entry["item"] == "stuck_disc" for entry in custody):
        custody.append(
            {"item": "stuck_disc", "holder": "shop", "actor": by, "at": now.isoformat(), "note": ""}
        )
    after = replace(job, arrival=arrival, hold=hold, custody=tuple(custody))
    parts = tuple(item for item in lost if lines[item].original_part)
    facts = _facts(assessments, case, earlier_repair, parts, wrong, disc)
    moved = (
        PhaseMoved(f"arrival-{now.isoformat()}", "arrived")
        if conversation.phase in ("accepted", "shipped")
        else None
    )
    edits = (
        (FactsEntered(f"arrival-facts-{now.isoformat()}", facts, by="staff", verified=True),) if facts else ()
    )
    return CaseChange(
        kept(case, after),
        event=moved,
        more=edits,
        notices=tuple(notices),
        events=(("arrival_checked", arrival),),
    )


def _check(
    found: Mapping[str, str], lines: Mapping[str, Any], screws: int | None, seals: str | None,
    evidence: tuple[str, ...], weight_kg: Decimal | None, disc: str | None,
) -> None:  # fmt: skip
    for item, state in found.items():
        if item not in lines:
            raise BadInputError(f"found.{item}", item, "something on the packing sheet")
        if state not in FOUND:
            raise BadInputError(f"found.{item}", state, "one of " + ", ".join(FOUND))
    for item in lines:
        if item not in found:
            raise BadInputError(f"found.{item}", "no answer", "whether it is here")
    if screws is not None and not 0 <= screws <= 200:
        raise BadInputError("screws", screws, "0 to 200")
    if seals is not None and seals not in SEALS:
        raise BadInputError("seals", seals, "one of " + ", ".join(SEALS))
    for sign in evidence:
        if sign not in EVIDENCE:
            raise BadInputError("earlier_repair", sign, "one of " + ", ".join(EVIDENCE))
    if weight_kg is not None and not 0 < weight_kg <= 70:
        raise BadInputError("weight_kg", str(weight_kg), "more than 0 and at most 70 kg")
    if disc is not None and disc not in ("here", "none"):
        raise BadInputError("disc", disc, "here or none")


def _facts(
    assessments: Assessments,
    case: Case,
    evidence: tuple[str, ...],
    lost: tuple[str, ...],
    wrong: bool,
    disc: str | None,
) -> dict[str, Any]:
    """What the evidence says about facts: opened or soldered by someone, the paired part missing or doubtful."""
    family = assessments.definitions.families[case.family]
    answers = Conversation.from_mapping(case.conversation).answers
    facts: dict[str, Any] = {}

    def someone(fact: str) -> None:
        answer = answers.get(fact)
        if fact in family.facts and (answer is None or answer.value in (None, "nobody")):
            facts[fact] = "someone"

    if evidence:
        someone("opened")
    if "flux_residue" in evidence:
        someone("soldered")
    for part in family.paired_parts.values():
        gone = [option for option, gate in part.places.items() if gate in ("hold", "cannot")]
        doubtful = [option for option, gate in part.places.items() if gate == "doubt"]
        answer = answers.get(part.place_fact)
        if lost and gone and answer is not None and answer.is_known and "with_someone" in gone:
            facts[part.place_fact] = "with_someone"
        elif wrong and doubtful:
            facts[part.place_fact] = doubtful[0]
    stuck = next((fact.id for fact in family.facts.values() if fact.role == "stuck_disc"), None)
    if disc == "here" and stuck is not None and (stuck not in answers or answers[stuck].value != "yes"):
        facts[stuck] = "yes"
    return facts
