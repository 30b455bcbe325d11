"""The front desk, to look at: the list by what intakes wait for, one intake, rates, calendar, exports."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, g, redirect, render_template, request, url_for

from intakebot.web import cases, rates_view, security, staff_case, uploads, words
from intakebot.web.access import OFFICE, STAFF, access
from intakebot.web.formatting import COUNTED_UP_TO
from intakebot.web.intake_view import intake_page
from intakebot.web.receivers import needs_attention

pages = Blueprint("desk", __name__)

WAITS = ("shop_answer", "customer_consent", "box", "bench", "collection", "nothing")
PAGE_SIZE = 30


@pages.get("/desk")
@access(STAFF)
def intakes() -> Any:
    """Intakes by what they wait for, longest waiting first, with counts, filters and search."""
    wanted, search = request.args.get("waits_for", ""), request.args.get("q", "")[:100].strip()
    waits_for = wanted if wanted in WAITS else None if wanted == "all" or search else "shop_answer"
    with security.services().store.reading() as work:
        page = work.cases.page(
            waits_for=waits_for,
            search=search,
            after=request.args.get("after"),
            limit=PAGE_SIZE,
            oldest_first=waits_for not in (None, "nothing"),
        )
        counts = work.cases.counts(COUNTED_UP_TO)
        attention = g.person.role in OFFICE and needs_attention(work)
    return render_template(
        "desk.html", page=page, counts=counts, waits=WAITS, waits_for=waits_for or "all", search=search,
        attention=attention,
    )  # fmt: skip


@pages.get("/i/<reference>")
@access(STAFF)
def by_reference(reference: str) -> Any:
    """Where the QR code on a box leads, for somebody who is signed in."""
    with security.services().store.reading() as work:
        found = work.cases.id_of_reference(reference)
    return redirect(url_for("bench.job" if g.person.role == "technician" else "desk.intake", case=found))


@pages.get("/desk/<case>")
@access(STAFF)
def intake(case: str) -> Any:
    """One intake: words, form, talk, photos, estimates, consent, what can be done now."""
    staff_case.load(case)
    services = security.services()
    with services.store.reading() as work:
        page = intake_page(
            cases.case(),
            g.conversation,
            cases.family(),
            words.texts(),
            cases.currency(),
            messages=work.messages.last(case, 200),
            events=work.events.since(case),
            quotes=work.quotes.all(case),
            authorisations=work.authorisations.all(case),
            photos=work.photos.all(case),
            names={f"staff:{user.id}": user.name for user in work.users.all()},
        )
    return render_template("intake.html", page=page, case=cases.case(), message_id=services.new_id())


@pages.get("/desk/<case>/photos/<photo>")
@access(STAFF)
def photo(case: str, photo: str) -> Response:
    """A photo of the case."""
    return uploads.send_photo(case, photo)


@pages.get("/rates")
@access(STAFF)
def rates() -> Any:
    """The rate card in force, parts and postage, and every problem of the files explained."""
    services = security.services()
    page = rates_view.rates_page(
        services.definitions, cases.today(), words.texts(next(iter(services.definitions.families)))
    )
    return render_template("rates.html", page=page, problems=rates_view.problems(services.definitions_root))


@pages.get("/calendar")
@access(STAFF)
def calendar() -> Any:
    """Days the shop is closed."""
    page = rates_view.calendar_page(security.services().definitions.pricing, cases.today(), words.texts())
    return render_template("calendar.html", page=page)


@pages.get("/export.csv")
@access(OFFICE)
def export() -> Response:
    """All intakes as a table for a spreadsheet; no cell can be a formula."""
    from intakebot.web.exports import intakes_csv

    return intakes_csv()
