"""The shop's papers: which there are, who may have them, and each one as a sheet with its pictures.

A page, a PDF and the plain text of a paper are drawn from the same sheet, so they say the same.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from flask import Response, request
from markupsafe import Markup

from intakebot.definitions import Definitions
from intakebot.definitions.texts import Texts
from intakebot.documents.label import label_pdf, qr_svg
from intakebot.documents.pdf import render_pdf
from intakebot.documents.pictures import Picture, svg
from intakebot.errors import NotFoundError
from intakebot.records.case import Case
from intakebot.sheets import Sheet
from intakebot.web import cases, security, words

Paper = Literal["A4", "LETTER"]

CUSTOMER_PAPERS = ("estimate", "packing", "slip", "form")
STAFF_PAPERS = (*CUSTOMER_PAPERS, "pretriage", "bench_record", "return_note")


def staff_papers(phase: str) -> tuple[str, ...]:
    """The papers staff can have of a case in this phase."""
    if phase == "open":
        return ("form", "pretriage")
    if phase in ("estimated", "declined", "withdrawn"):
        return ("form", "estimate", "packing", "pretriage")
    if phase in ("accepted", "shipped"):
        return ("form", "estimate", "packing", "slip", "pretriage")
    return STAFF_PAPERS


@dataclass(frozen=True)
class Drawn:
    """A paper and its pictures, by the figure ids its sections name."""

    sheet: Sheet
    pictures: Mapping[str, Picture]

    @property
    def figures(self) -> dict[str, Markup]:
        """The pictures as inline SVG (drawn by our own code from numbers and escaped texts)."""
        return {name: Markup(svg(picture)) for name, picture in self.pictures.items()}


def draw(name: str) -> Drawn:
    """One paper of the case of this request. Raises: NotFoundError when there is no such paper (yet)."""
    workshop, arguments = security.services().workshop, (cases.definitions(), cases.case(), words.texts())
    sheets: dict[str, Callable[..., Sheet]] = {
        "estimate": workshop.estimate_sheet,
        "packing": workshop.packing_document,
        "slip": workshop.inside_slip_sheet,
        "form": workshop.intake_form_sheet,
        "pretriage": workshop.pretriage_sheet,
        "bench_record": _bench_record,
        "return_note": workshop.return_note_sheet,
    }
    if name not in sheets:
        raise NotFoundError("no such paper")
    sheet = sheets[name](*arguments)
    return Drawn(sheet, _pictures(sheet))


def _bench_record(definitions: Definitions, case: Case, texts: Texts) -> Sheet:
    return security.services().workshop.bench_record_sheet(definitions, case, texts, cases.people_names())


def _pictures(sheet: Sheet) -> dict[str, Picture]:
    """The pictures a sheet's sections ask for."""
    workshop = security.services().workshop
    makers: dict[str, Callable[..., Picture | None]] = {
        "price": workshop.price_picture,
        "ladder": workshop.ladder_picture,
        "chances": workshop.chances_picture,
        "box": workshop.box_picture,
    }
    wanted = {section.figure for section in sheet.sections if section.figure in makers}
    drawn = {name: makers[name](cases.definitions(), cases.case(), words.texts()) for name in wanted if name}
    return {name: picture for name, picture in drawn.items() if picture is not None}


def pdf(name: str) -> Response:
    """A paper as PDF, in A4 or (with `?paper=letter`) US Letter."""
    drawn = draw(name)
    one_page = name == "pretriage"
    content = render_pdf(drawn.sheet, paper=_paper(), pictures=drawn.pictures, one_page=one_page)
    return _attachment(content, "application/pdf", f"{name.replace('_', '-')}-{cases.case().reference}.pdf")


def label() -> Response:
    """The address label with its reference and QR code. Raises: NotFoundError while nothing may be shipped."""
    services = security.services()
    made = services.workshop.label(cases.definitions(), cases.case(), intake_address())
    if made is None:
        raise NotFoundError("no label")
    return _attachment(
        label_pdf(made, paper=_paper()), "application/pdf", f"label-{cases.case().reference}.pdf"
    )


def intake_address() -> str:
    """What the QR code holds: opens the intake for somebody who is signed in, and nothing for anybody else."""
    return f"{security.services().base_url}/i/{cases.case().reference}"


def qr() -> Markup:
    """The QR code as inline SVG."""
    return Markup(qr_svg(intake_address()))


def download(content: bytes | str, kind: str, name: str) -> Response:
    """A file to keep."""
    return _attachment(content, kind, name)


def _paper() -> Paper:
    return "LETTER" if request.args.get("paper") == "letter" else "A4"


def _attachment(content: bytes | str, kind: str, name: str) -> Response:
    headers: dict[str, Any] = {
        "Content-Disposition": f'attachment; filename="{name}"',
        "Content-Security-Policy": "sandbox; default-src 'none'",
    }
    return Response(content, headers=headers, content_type=kind)
