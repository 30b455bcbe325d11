"""Which cautions apply, in which order, and what they are attached to.

A stop sign outranks a warning, a warning a note; within a severity the family's own order is kept. A caution without
a condition applies always. `unknown` is not `true`: a caution whose facts nobody answered is not shown.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from intakebot.definitions.facts import Answers, holds
from intakebot.definitions.model import Family
from intakebot.packing.roles import facts_with

Severity = Literal["stop", "warning", "note"]
SEVERITIES: tuple[Severity, ...] = ("stop", "warning", "note")


@dataclass(frozen=True)
class ShownCaution:
    """asked: packing instructions it belongs to (`enclose.<x>`, `leave_out.<x>`, `stuck_disc`, `ship`); empty: the sheet.

    always: it has no condition, so it is shown with its instructions only and never stops a label.
    """

    id: str
    severity: Severity
    asked: tuple[str, ...]
    always: bool = False


def shown_cautions(family: Family, answers: Answers) -> tuple[ShownCaution, ...]:
    """Every caution that applies now, stop signs first.

    Bench cautions (those that only belong to steps, with neither condition nor packing instruction) are left out.
    """
    applying = [
        ShownCaution(caution.id, caution.severity, caution.asked, caution.when is None)
        for caution in family.cautions.values()
        if (caution.when is not None and holds(caution.when, answers) is True)
        or (caution.when is None and caution.asked)
    ]
    return tuple(sorted(applying, key=lambda caution: SEVERITIES.index(caution.severity)))


def stop_signs(family: Family, answers: Answers) -> tuple[str, ...]:
    """Ids of the stop signs that stand; while there is one, no shipping label until a person has answered.

    A hazard fact answered `yes` is a stop sign even when no caution of the family mentions it: its fact id is then
    given, so that a gap in the data can never let a smoking device be posted.
    """
    stops = [
        caution.id
        for caution in shown_cautions(family, answers)
        if caution.severity == "stop" and not caution.always
    ]
    hazards = [fact.id for fact in facts_with(family, "hazard") if _is_yes(answers, fact.id)]
    if hazards and not stops:
        stops = hazards
    return tuple(stops)


def attached(cautions: tuple[ShownCaution, ...], instruction: str) -> tuple[str, ...]:
    """Ids of the cautions that belong to one packing instruction, strictest first."""
    return tuple(caution.id for caution in cautions if instruction in caution.asked)


def _is_yes(answers: Answers, fact_id: str) -> bool:
    answer = answers.get(fact_id)
    return answer is not None and answer.value == "yes"
