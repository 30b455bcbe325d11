"""The pre-triage sheet: what the technician reads before the box arrives. One page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from intakebot.definitions.texts import Texts
from intakebot.documents.ladder import Rung
from intakebot.sheets import Section, Sheet, Table


@dataclass(frozen=True)
class Cause:
    """A likely fault: its bench name, chance, the chance in figures, and why, one line each."""

    name: str
    chance: float
    said: str
    because: tuple[str, ...] = ()


@dataclass(frozen=True)
class PartToHave:
    """A part the plan may use. ready: it is on the shelf."""

    name: str
    ready: bool


@dataclass(frozen=True)
class PretriageNotes:
    """All finished strings. odd: what is unusual about this job (earlier repair, unpaired board, stuck disc).

    why: one line a step, why it comes where it does. not_known: what the customer did not know or say.
    acceptance: discs and tests that prove the repair, the customer's own disc class first. summary: label/value rows, such
    as the chance of repair and the expected bench time.
    """

    device: str
    customer_words: str
    causes: tuple[Cause, ...]
    warnings: tuple[str, ...]
    odd: tuple[str, ...]
    rungs: tuple[Rung, ...]
    why: tuple[str, ...]
    parts: tuple[PartToHave, ...]
    not_known: tuple[str, ...]
    acceptance: tuple[str, ...]
    summary: tuple[tuple[str, str], ...] = ()


def pretriage_sheet(notes: PretriageNotes, texts: Texts, *, reference: str) -> Sheet:
    """The sheet; sections `causes` and `ladder` have the figures `chances` and `ladder`."""
    sections = (
        Section("warnings", texts.say("documents.pretriage.warnings"), tone="warning", items=notes.warnings),
        _causes(notes.causes, texts),
        Section("odd", texts.say("documents.pretriage.odd"), tone="note", items=notes.odd),
        _ladder(notes, texts),
        _parts(notes.parts, texts),
        Section(
            "acceptance", texts.say("documents.pretriage.acceptance"), items=notes.acceptance, ticks=True
        ),
        Section("not_known", texts.say("documents.pretriage.not_known"), paragraphs=_joined(notes.not_known)),
        Section("story", texts.say("documents.pretriage.story"), paragraphs=_joined((notes.customer_words,))),
    )
    return Sheet(
        id="pretriage",
        title=texts.say("documents.pretriage.title"),
        subtitle=notes.device,
        reference=reference,
        locale=texts.locale,
        sections=tuple(section for section in sections if not section.is_empty),
        footer=texts.say("documents.pretriage.footer"),
        audience="bench",
    )


def _causes(causes: Sequence[Cause], texts: Texts) -> Section:
    title = texts.say("documents.pretriage.causes")
    if not causes:
        return Section("causes", title)
    columns = tuple(texts.say(f"documents.pretriage.column.{name}") for name in ("cause", "chance", "why"))
    rows = tuple((cause.name, cause.said, "; ".join(cause.because)) for cause in causes)
    return Section(
        "causes", title, tables=(Table(columns, rows, shares=(0.39, 0.14, 0.47)),), figure="chances"
    )


def _ladder(notes: PretriageNotes, texts: Texts) -> Section:
    title = texts.say("documents.pretriage.plan")
    if not notes.rungs:
        return Section("ladder", title, paragraphs=(texts.say("documents.ladder.nothing"),))
    summary = _joined([f"{label}: {value}" for label, value in notes.summary])
    return Section(
        "ladder",
        title,
        paragraphs=summary,
        items=notes.why,
        figure="ladder",
        notes=(texts.say("documents.ladder.legend"),),
    )


def _parts(parts: Sequence[PartToHave], texts: Texts) -> Section:
    items = tuple(
        texts.say(
            "documents.pretriage.part_ready" if part.ready else "documents.pretriage.part_order",
            part=part.name,
        )
        for part in parts
    )
    return Section("parts", texts.say("documents.pretriage.parts"), items=items, ticks=True)


def _joined(lines: Sequence[str]) -> tuple[str, ...]:
    said = [line for line in lines if line.strip()]
    return ("; ".join(said),) if said else ()
