"""The bench record (what was found and done) and the return note that goes back in the box."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from intakebot.definitions.texts import Texts
from intakebot.sheets import Section, Sheet, Table


@dataclass(frozen=True)
class StepLine:
    """One step as it was done: finished strings."""

    name: str
    minutes: str
    result: str
    seen: str = ""
    by: str = ""


@dataclass(frozen=True)
class BenchRecord:
    """All finished strings.

    arrival: label/value rows of the arrival check. differences: what was not as the packing sheet said. acceptance: (test,
    result). custody: (when, who, what) in order of time. ending: label/value rows: outcome, true cause, total, authorised.
    """

    device: str
    arrival: tuple[tuple[str, str], ...]
    differences: tuple[str, ...]
    steps: tuple[StepLine, ...]
    parts: tuple[str, ...]
    acceptance: tuple[tuple[str, str], ...]
    ending: tuple[tuple[str, str], ...]
    custody: tuple[tuple[str, str, str], ...] = ()


def bench_record_sheet(record: BenchRecord, texts: Texts, *, reference: str) -> Sheet:
    """The record of one job, for the shop's own file."""
    sections = (
        Section("ending", texts.say("documents.bench.ending"), rows=record.ending),
        Section("arrival", texts.say("documents.bench.arrival"), rows=record.arrival),
        Section(
            "differences", texts.say("documents.bench.differences"), tone="warning", items=record.differences
        ),
        _steps(record.steps, texts),
        Section("parts", texts.say("documents.bench.parts"), items=record.parts),
        Section("acceptance", texts.say("documents.bench.acceptance"), rows=record.acceptance),
        _custody(record.custody, texts),
    )
    return Sheet(
        id="bench_record",
        title=texts.say("documents.bench.title"),
        subtitle=record.device,
        reference=reference,
        locale=texts.locale,
        sections=tuple(section for section in sections if not section.is_empty),
        audience="bench",
    )


def _steps(steps: Sequence[StepLine], texts: Texts) -> Section:
    title = texts.say("documents.bench.steps")
    if not steps:
        return Section("steps", title, paragraphs=(texts.say("documents.bench.no_steps"),))
    names = ("step", "minutes", "result", "seen", "by")
    columns = tuple(texts.say(f"documents.bench.column.{name}") for name in names)
    rows = tuple((line.name, line.minutes, line.result, line.seen, line.by) for line in steps)
    return Section("steps", title, tables=(Table(columns, rows, align=("left", "right")),))


def _custody(custody: Sequence[tuple[str, str, str]], texts: Texts) -> Section:
    title = texts.say("documents.bench.custody")
    if not custody:
        return Section("custody", title)
    columns = tuple(texts.say(f"documents.bench.column.{name}") for name in ("when", "by", "what"))
    return Section("custody", title, tables=(Table(columns, tuple(custody)),))


@dataclass(frozen=True)
class ReturnNote:
    """All finished strings. contents: everything in the box on its way back, the customer's disc included.

    repaired: False gives the honest sentence instead of the warranty. summary: label/value rows: total, warranty until,
    sent on, tracking.
    """

    device: str
    repaired: bool
    done: tuple[str, ...]
    parts: tuple[str, ...]
    tests: tuple[tuple[str, str], ...]
    contents: tuple[str, ...]
    summary: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...] = ()


def return_note_sheet(note: ReturnNote, texts: Texts, *, reference: str) -> Sheet:
    """What the customer finds on top in the box that comes back."""
    verdict = texts.say("documents.return.repaired" if note.repaired else "documents.return.not_repaired")
    sections = (
        Section("result", texts.say("documents.return.result"), paragraphs=(verdict,), rows=note.summary),
        Section("start", texts.say("documents.return.start"), tone="note", items=_start(texts)),
        Section("cautions", texts.say("documents.return.cautions"), tone="warning", items=note.cautions),
        Section("contents", texts.say("documents.return.contents"), items=note.contents, ticks=True),
        Section("done", texts.say("documents.return.done"), items=note.done),
        Section("parts", texts.say("documents.return.parts"), items=note.parts),
        Section("tests", texts.say("documents.return.tests"), rows=note.tests),
    )
    return Sheet(
        id="return_note",
        title=texts.say("documents.return.title"),
        subtitle=note.device,
        reference=reference,
        locale=texts.locale,
        sections=tuple(section for section in sections if not section.is_empty),
        footer=texts.say("documents.return.footer"),
    )


def _start(texts: Texts) -> tuple[str, ...]:
    """Before it is switched on: warm up, check the lead, look for marks of the journey."""
    return tuple(texts.say(f"documents.return.step.{step}") for step in ("look", "warm", "photo"))
