"""The job that grows from a conversation, as a typed view of the case's `job` mapping. Frozen; changed by `with_`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import datetime
from decimal import Decimal
from typing import Any, Literal

from intakebot.definitions.facts import Value
from intakebot.definitions.values import value_to_json
from intakebot.quoting.consent import Consent, consent_from_json, consent_to_json
from intakebot.records.case import Case
from intakebot.triage import StepResult

ResultKind = Literal["done", "test_passed", "test_failed", "could_not"]


@dataclass(frozen=True)
class BenchEntry:
    """One step as it went. step: id in the plan. minutes: hands-on, as timed or typed. seen: bench facts."""

    step: str
    result: ResultKind
    minutes: Decimal
    at: datetime
    by: str
    seen: Mapping[str, Value] = field(default_factory=dict)
    note: str = ""

    @property
    def as_result(self) -> StepResult:
        return StepResult(self.step, self.result, dict(self.seen))

    def to_mapping(self) -> dict[str, Any]:
        return {"step": self.step, "result": self.result, "minutes": str(self.minutes), "at": self.at.isoformat(),
                "by": self.by, "seen": {f: value_to_json(v) for f, v in sorted(self.seen.items())}, "note": self.note}  # fmt: skip

    @classmethod
    def from_mapping(cls, raw: Mapping[str, Any]) -> BenchEntry:
        return cls(raw["step"], raw["result"], Decimal(raw["minutes"]), datetime.fromisoformat(raw["at"]), raw["by"],
                   dict(raw["seen"]), raw["note"])  # fmt: skip


@dataclass(frozen=True)
class Job:
    """Everything about a case that is not the talk.

    Attributes:
        estimate: the current written estimate as JSON; quote_number: how many were issued.
        consent: the state of consent; None before the first estimate.
        arrival: the arrival check as JSON. entries: bench steps in the order they were done.
        running: the step being timed, {step, at}. acceptance: test id -> passed, failed, not_possible.
        outcome: {ending, causes, ...}; returned: {contents, disc_returned, tracking, at}; collected: handed over.
        hold: why the job stands still, in the shop's words; "" when it does not. cleared: a person answered a stop sign.
        declined: why the shop declined, in its words. custody: hand-overs as JSON, append-only.
    """

    estimate: Mapping[str, Any] | None = None
    quote_number: int = 0
    consent: Consent | None = None
    arrival: Mapping[str, Any] | None = None
    entries: tuple[BenchEntry, ...] = ()
    running: Mapping[str, str] | None = None
    acceptance: Mapping[str, str] = field(default_factory=dict)
    outcome: Mapping[str, Any] | None = None
    returned: Mapping[str, Any] | None = None
    collected: bool = False
    hold: str = ""
    cleared: bool = False
    declined: str = ""
    custody: tuple[Mapping[str, Any], ...] = ()

    @classmethod
    def of(cls, case: Case) -> Job:
        """The job of a case; an empty one for a new case."""
        raw = dict(case.job)
        known = {item.name for item in fields(cls)}
        values: dict[str, Any] = {key: value for key, value in raw.items() if key in known}
        if raw.get("consent") is not None:
            values["consent"] = consent_from_json(raw["consent"])
        values["entries"] = tuple(BenchEntry.from_mapping(entry) for entry in raw.get("entries", ()))
        values["custody"] = tuple(raw.get("custody", ()))
        return cls(**values)

    def to_mapping(self) -> dict[str, Any]:
        """JSON form; `Job.of` gives back an equal job."""
        plain = {item.name: getattr(self, item.name) for item in fields(self)}
        plain["consent"] = consent_to_json(self.consent) if self.consent is not None else None
        plain["entries"] = [entry.to_mapping() for entry in self.entries]
        plain["custody"] = list(self.custody)
        return plain

    @property
    def results(self) -> tuple[StepResult, ...]:
        return tuple(entry.as_result for entry in self.entries)


def kept(case: Case, job: Job) -> Case:
    """The case with this job."""
    return replace(case, job=job.to_mapping())
