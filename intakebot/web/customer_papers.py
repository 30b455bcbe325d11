"""What a customer gets out of the talk: estimate and decision, packing sheet, status, papers to keep."""

from __future__ import annotations

import json
from typing import Any

from flask import Blueprint, Response, g, redirect, render_template, request, url_for

from intakebot.conversation import PhaseMoved
from intakebot.definitions.form import intake_form
from intakebot.documents.calendar_file import ship_by_calendar
from intakebot.errors import BadInputError, ConflictError, NotFoundError
from intakebot.turns import Request, decide, take_turn
from intakebot.web import cases, papers, security, words
from intakebot.web.access import CUSTOMER, access
from intakebot.web.glance import glance
from intakebot.web.status_view import status_view
from intakebot.workshop import Job

pages = Blueprint("customer_papers", __name__)


@pages.get("/talk/<talk>/estimate")
@access(CUSTOMER)
def estimate(talk: str) -> Any:
    """The estimate: the likely price and the maximum first, then everything else."""
    view = security.services().workshop.estimate_view(cases.definitions(), cases.case())
    if not view:
        return render_template("not_yet.html", what="estimate")
    drawn = papers.draw("estimate")
    return render_template(
        "estimate.html",
        glance=glance(view, words.locale()),
        sheet=drawn.sheet,
        figures=drawn.figures,
        consent=_consent_state(),
    )


def _consent_state() -> str:
    """Where consent stands: quoted (the customer is asked), accepted, declined, expired, invoiced; "" before a quote."""
    consent = Job.of(cases.case()).consent
    return "" if consent is None else "invoiced" if consent.invoiced is not None else consent.state


@pages.get("/talk/<talk>/decision/<decision>")
@access(CUSTOMER)
def ask_decision(talk: str, decision: str) -> Any:
    """What exactly is agreed to, before it is."""
    return _decision_page(decision, "", "")


def _decision_page(decision: str, limit: str, problem: str) -> str:
    view = security.services().workshop.estimate_view(cases.definitions(), cases.case())
    if decision not in ("accept", "decline") or not view:
        raise NotFoundError("nothing to decide")
    return render_template(
        "decision.html",
        glance=glance(view, words.locale()),
        decision=decision,
        way="stop" if decision == "decline" and _consent_state() == "accepted" else decision,
        limit=limit,
        problem=problem,
        message_id=security.services().new_id(),
    )


@pages.post("/talk/<talk>/decision/<decision>")
@access(CUSTOMER)
def take_decision(talk: str, decision: str) -> Any:
    """Keep the decision: who, when, what was shown, how much."""
    limit, key, before = (
        request.form.get("limit", "").strip(),
        request.form.get("message_id", "")[:80],
        _consent_state(),
    )
    repeat = Request(f"web-decision:{talk}", f"{key}:{decision}:{limit}", f"{decision}:{limit}")
    quote = request.form.get("quote", "")
    if not quote.isascii() or not quote.isdigit():
        raise BadInputError("quote", quote[:20], "the number of the estimate on the page")
    try:
        decide(
            security.services().turns, talk, decision, limit or None, by="customer", channel="web",
            quote_number=int(quote), request=repeat, token_hash=g.token_hash,
        )  # fmt: skip
    except BadInputError:
        return _decision_page(decision, limit, words.say("web.decision.bad_limit")), 422
    place = "packing" if decision == "accept" and g.conversation.phase == "estimated" else "status"
    done = {"accept": "accepted" if place == "packing" else "accepted_more"}.get(
        decision, "declined" if before == "quoted" else "stopped"
    )
    return redirect(url_for(f"customer_papers.{place}", talk=talk, done=done))


@pages.get("/talk/<talk>/packing")
@access(CUSTOMER)
def packing(talk: str) -> Any:
    """What goes into the box, what stays at home, and when to ship; stop signs first."""
    if g.conversation.phase in ("open", "declined", "withdrawn"):
        return render_template("not_yet.html", what="packing")
    drawn = papers.draw("packing")
    services = security.services()
    label = services.workshop.label(cases.definitions(), cases.case(), papers.intake_address())
    ship_by = services.workshop.ship_by(cases.definitions(), cases.case(), cases.today())
    return render_template(
        "packing.html",
        sheet=drawn.sheet,
        figures=drawn.figures,
        may_ship=label is not None,
        may_send=_may_send(),
        ship_by=ship_by,
        asks_contact=g.conversation.pending is not None and g.conversation.pending.kind == "contact",
        phase=g.conversation.phase,
    )


@pages.post("/talk/<talk>/sent")
@access(CUSTOMER)
def sent(talk: str) -> Any:
    """The customer has handed the box to a carrier."""
    if g.conversation.phase != "accepted":
        raise ConflictError("nothing to send now")
    services = security.services()
    take_turn(services.turns, talk, PhaseMoved(services.new_id(), "shipped"), token_hash=g.token_hash)
    return redirect(url_for("customer_papers.status", talk=talk, done="sent"))


@pages.get("/talk/<talk>/status")
@access(CUSTOMER)
def status(talk: str) -> Any:
    """Where the job is, who is next, and by when."""
    with security.services().store.reading() as work:
        events = work.events.since(talk)
    view = status_view(g.conversation, cases.case().index.waits_for, events)
    return render_template("status.html", view=view, papers=available_papers())


def available_papers() -> tuple[str, ...]:
    """The papers a customer can have in this phase."""
    phase = g.conversation.phase
    if phase == "open":
        return ("form",)
    if phase in ("estimated", "declined", "withdrawn"):
        return ("form", "estimate")
    return ("form", "estimate", "packing", "slip") + (("return_note",) if phase == "finished" else ())


@pages.get("/talk/<talk>/papers/<name>.pdf")
@access(CUSTOMER)
def paper(talk: str, name: str) -> Response:
    """One paper as PDF."""
    if name not in available_papers():
        raise NotFoundError("no such paper")
    return papers.pdf(name)


@pages.get("/talk/<talk>/papers/label.pdf")
@access(CUSTOMER)
def label(talk: str) -> Response:
    """The address label, when the estimate is accepted and shipping is allowed."""
    if not _may_send():
        raise NotFoundError("no label")
    return papers.label()


def _may_send() -> bool:
    """Something was agreed: before that nothing is sent, so there is neither a label nor a date."""
    return g.conversation.phase in ("accepted", "shipped")


@pages.get("/talk/<talk>/papers/dates.ics")
@access(CUSTOMER)
def calendar(talk: str) -> Response:
    """The ship-by date for a calendar."""
    services, case = security.services(), cases.case()
    ship_by = services.workshop.ship_by(cases.definitions(), case, cases.today())
    if ship_by is None or not _may_send():
        raise NotFoundError("no date yet")
    content = ship_by_calendar(
        reference=case.reference,
        ship_by=ship_by,
        now=services.now(),
        summary=words.say("web.calendar.summary", reference=case.reference),
        description=words.say("web.calendar.description", shop=services.definitions.pricing.shop.name),
        sequence=case.version,
    )
    return papers.download(content, "text/calendar; charset=utf-8", f"dates-{case.reference}.ics")


@pages.get("/talk/<talk>/papers/form.json")
@access(CUSTOMER)
def form_json(talk: str) -> Response:
    """The intake form as data, to take along."""
    content = json.dumps(intake_form(cases.family(), g.conversation.answers), ensure_ascii=False, indent=2)
    return papers.download(content, "application/json", f"form-{cases.case().reference}.json")
