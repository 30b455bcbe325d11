"""Papers and data of one case for staff: PDFs, the label, the intake form as data."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, g, render_template

from intakebot.definitions.form import intake_form
from intakebot.documents.exports import csv_bytes, json_bytes
from intakebot.errors import NotFoundError
from intakebot.web import cases, papers, staff_case, words
from intakebot.web.access import OFFICE, STAFF, access
from intakebot.web.form_lines import derived_lines, form_groups, unpicked_lines

pages = Blueprint("staff_papers", __name__)


@pages.get("/desk/<case>/papers/<name>.pdf")
@access(STAFF)
def paper(case: str, name: str) -> Response:
    """One paper as PDF, in the language of whoever asks."""
    if name not in papers.STAFF_PAPERS:
        raise NotFoundError("no such paper")
    staff_case.load(case)
    return papers.pdf(name)


@pages.get("/desk/<case>/papers/<name>")
@access(STAFF)
def on_screen(case: str, name: str) -> Any:
    """One paper as a page."""
    if name not in papers.STAFF_PAPERS:
        raise NotFoundError("no such paper")
    staff_case.load(case)
    drawn = papers.draw(name)
    return render_template(
        "staff_sheet.html", sheet=drawn.sheet, figures=drawn.figures, case=cases.case(), name=name
    )


@pages.get("/desk/<case>/papers/label.pdf")
@access(STAFF)
def label(case: str) -> Response:
    """The label, when shipping is allowed."""
    staff_case.load(case)
    return papers.label()


@pages.get("/desk/<case>/papers/form.json")
@access(OFFICE)
def form_json(case: str) -> Response:
    """The intake form as data; valid against the schema it names."""
    staff_case.load(case)
    content = json_bytes(intake_form(cases.family(), g.conversation.answers))
    return papers.download(content, "application/json", f"form-{cases.case().reference}.json")


@pages.get("/desk/<case>/papers/form.csv")
@access(OFFICE)
def form_csv(case: str) -> Response:
    """The intake form as a table: fact, value, certainty, the words it came from."""
    staff_case.load(case)
    groups = form_groups(cases.family(), words.texts(), g.conversation, cases.currency())
    held = [line for group in groups for line in group.lines]
    held += unpicked_lines(cases.family(), words.texts(), g.conversation, cases.currency())
    held += derived_lines(cases.family(), words.texts(), g.conversation, cases.currency())
    rows = [(line.label, line.value, line.certainty_words, line.quote) for line in held]
    columns = tuple(words.say(f"web.form.column.{name}") for name in ("fact", "value", "certainty", "words"))
    return papers.download(
        csv_bytes(columns, rows), "text/csv; charset=utf-8", f"form-{cases.case().reference}.csv"
    )
