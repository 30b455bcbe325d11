"""Is every part that works only with its own mainboard at hand?

In many disc devices the drive's logic board is paired with the mainboard: with a foreign board the drive plays video
discs but no games, or the device does not start (owner reports; common practice). So before a price is promised or a
box is sent, each paired part passes a gate: **go**, **doubt** (go, with a chance that it is the wrong one),
**hold** (get the part first) or **cannot** (disc play cannot be restored here).

With k look-alike candidates, one of them the original and each as likely as the next, the position of the original in
the order of trials is uniform on 1..k: at worst k trials, on average (1 + ... + k)/k = (k + 1)/2.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

from intakebot.definitions.facts import Answer, Answers, holds
from intakebot.definitions.model import Family, PairedPart
from intakebot.packing.roles import device_of

Decision = Literal["go", "doubt", "hold", "cannot"]
_SEVERITY: dict[Decision, int] = {"go": 0, "doubt": 1, "hold": 2, "cannot": 3}
MOST_CANDIDATES = 50
"""More look-alike boards than this is a typing mistake: it is treated as not known."""


@dataclass(frozen=True)
class PartGate:
    """One paired part.

    place: the option the customer chose, None when not asked or not known (`answered` tells which).
    doubt: P(none of the parts at hand is the original); 0 for go, 1 for hold and cannot.
    candidates: number of look-alikes that come in the box, at least 1 where the part is at hand.
    expected_trials: given that one candidate is the original; 0 when it still sits where it belongs.
    worst_trials: largest number of trials before it is found, or before it is known that none of them is the one.
    """

    part: str
    decision: Decision
    place: str | None
    answered: bool
    doubt: float
    candidates: int
    expected_trials: float
    worst_trials: int

    @property
    def expected_trials_with_doubt(self) -> float:
        """Average over both cases: the original is among them (1 - doubt), or all are tried in vain (doubt)."""
        return (1 - self.doubt) * self.expected_trials + self.doubt * self.worst_trials


@dataclass(frozen=True)
class Gate:
    """The strictest decision over all paired parts of the device; `go` when it has none."""

    decision: Decision
    doubt: float
    parts: tuple[PartGate, ...]

    @property
    def expected_trials(self) -> float:
        return sum(part.expected_trials for part in self.parts)

    @property
    def worst_trials(self) -> int:
        return sum(part.worst_trials for part in self.parts)

    @property
    def hold_parts(self) -> tuple[str, ...]:
        """Parts that must be found before anything is sent."""
        return tuple(part.part for part in self.parts if part.decision == "hold")

    @property
    def unanswered(self) -> tuple[str, ...]:
        return tuple(part.part for part in self.parts if not part.answered)

    def to_mapping(self) -> dict[str, Any]:
        return {
            "decision": self.decision,
            "doubt": round(self.doubt, 4),
            "expected_trials": self.expected_trials,
            "worst_trials": self.worst_trials,
            "parts": [
                {
                    "part": part.part,
                    "decision": part.decision,
                    "place": part.place,
                    "answered": part.answered,
                    "doubt": round(part.doubt, 4),
                    "candidates": part.candidates,
                    "expected_trials": part.expected_trials,
                    "worst_trials": part.worst_trials,
                }
                for part in self.parts
            ],
        }


def board_trials(candidates: int) -> tuple[float, int]:
    """(expected, worst) number of trials among k equally likely candidates, one of them the original.

    Raises: ValueError for fewer than one candidate.
    """
    if candidates < 1:
        raise ValueError(f"{candidates} candidates, expected at least 1")
    return (candidates + 1) / 2, candidates


def paired_parts(family: Family, answers: Answers) -> tuple[PairedPart, ...]:
    """The paired parts that the answered device may have; all of the family's while the device is not known."""
    device = device_of(family, answers)
    candidates = (part for part in family.paired_parts.values() if device is None or part.id in device.paired)
    return tuple(
        part
        for part in candidates
        if part.applies_when is None or holds(part.applies_when, answers) is not False
    )


def pairing_gate(family: Family, answers: Answers) -> Gate:
    """Decide for each paired part, then take the strictest (cannot > hold > doubt > go).

    A place not asked yet, not known or declined counts as `doubt` with the part's own chance. A `go` that was only heard
    with certainty c becomes `doubt` with 1 - c: the customer may not have meant it.
    """
    gates = tuple(_part_gate(part, answers) for part in paired_parts(family, answers))
    decision: Decision = max((gate.decision for gate in gates), key=_SEVERITY.__getitem__, default="go")
    return Gate(decision, _any_of(gate.doubt for gate in gates), gates)


def _part_gate(part: PairedPart, answers: Answers) -> PartGate:
    answer = answers.get(part.place_fact)
    place = answer.value if answer is not None else None
    decision: Decision = part.places.get(place, "doubt") if isinstance(place, str) else "doubt"
    doubt = {"go": 0.0, "doubt": part.doubt, "hold": 1.0, "cannot": 1.0}[decision]
    if decision in ("go", "doubt") and answer is not None and answer.is_known and answer.certainty < 1:
        doubt = _any_of((doubt, 1 - answer.certainty))
        decision = "doubt"
    counted = _candidates(answers.get(part.candidates_fact or ""))
    at_hand = decision in ("go", "doubt")
    candidates = (counted or 1) if at_hand else 0
    expected, worst = board_trials(candidates) if _needs_trials(decision, candidates) else (0.0, 0)
    return PartGate(
        part=part.id,
        decision=decision,
        place=place if isinstance(place, str) else None,
        answered=answer is not None,
        doubt=doubt,
        candidates=candidates,
        expected_trials=expected,
        worst_trials=worst,
    )


def _needs_trials(decision: Decision, candidates: int) -> bool:
    """A part that surely sits where it belongs is not tried; doubtful or several look-alikes are."""
    return candidates >= 1 and (decision == "doubt" or candidates > 1)


def _candidates(answer: Answer | None) -> int | None:
    if answer is None or not isinstance(answer.value, int) or isinstance(answer.value, bool):
        return None
    return answer.value if 0 <= answer.value <= MOST_CANDIDATES else None


def _any_of(chances: Iterable[float]) -> float:
    """P(at least one), the chances taken as independent."""
    none = 1.0
    for chance in chances:
        none *= 1 - chance
    return 1 - none
