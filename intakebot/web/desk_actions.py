"""The front desk, to act: reply, take and give back the floor, edit a fact, revise an estimate, hold, decline kindly."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flask import Blueprint, g, redirect, render_template, request, url_for
from markupsafe import Markup

from intakebot.conversation import FactsEntered, GivenBack, StaffReplied, TakenOver
from intakebot.documents.label import qr_svg
from intakebot.errors import BadInputError
from intakebot.turns import CaseChange
from intakebot.web import cases, facts_form, security, staff_case, uploads, words
from intakebot.web.access import OFFICE, STAFF, access
from intakebot.web.form_lines import field_for

pages = Blueprint("desk_actions", __name__)


def _back(case: str, done: str, anchor: str | None = None) -> Any:
    return redirect(url_for("desk.intake", case=case, done=done, _anchor=anchor))


@pages.post("/desk/<case>/reply")
@access(OFFICE)
def reply(case: str) -> Any:
    """Write to the customer; the person has the floor from then on."""
    staff_case.load(case)
    text = request.form.get("text", "").strip()
    if not text:
        raise BadInputError("text", "nothing", "some words")
    staff_case.tell(StaffReplied(staff_case.message_id(), text))
    return _back(case, "replied", "talk")


@pages.post("/desk/<case>/take")
@access(OFFICE)
def take(case: str) -> Any:
    """Take the floor: the engine is silent from now on."""
    staff_case.load(case)
    staff_case.tell(TakenOver(staff_case.message_id()))
    return _back(case, "taken", "talk")


@pages.post("/desk/<case>/give-back")
@access(OFFICE)
def give_back(case: str) -> Any:
    """Give the floor back to the engine."""
    staff_case.load(case)
    staff_case.tell(GivenBack(staff_case.message_id()))
    return _back(case, "given_back", "talk")


@pages.get("/desk/<case>/facts/<fact>")
@access(STAFF)
def one_fact(case: str, fact: str) -> Any:
    """The form for one fact."""
    staff_case.load(case)
    return _fact_page(fact, {})


def _fact_page(fact_id: str, problems: dict[str, str]) -> str:
    entry = g.conversation.facts.get(fact_id)
    field = field_for(words.texts(), cases.fact_of(fact_id), entry)
    return render_template(
        "staff_fact.html", field=field, quote=entry.quote if entry else "", case=cases.case(), problems=problems,
        message_id=security.services().new_id(),
    )  # fmt: skip


@pages.post("/desk/<case>/facts/<fact>")
@access(STAFF)
def save_fact(case: str, fact: str) -> Any:
    """Keep what staff say about one fact; seen on the bench, it cannot be talked away."""
    staff_case.load(case)
    sent, problems = facts_form.read([cases.fact_of(fact)], g.conversation, confirm=True)
    if problems:
        return _fact_page(fact, problems), 422
    verified = request.form.get("verified") == "yes"
    staff_case.tell(
        FactsEntered(
            staff_case.message_id(), sent.facts, sent.declined, sent.cleared, by="staff", verified=verified
        )
    )
    return _back(case, "fact_saved", f"fact-{fact}")


@pages.post("/desk/<case>/quote")
@access(OFFICE)
def quote(case: str) -> Any:
    """A revised estimate from the facts as they are now; it supersedes, it overwrites nothing."""
    return _with_reason(case, security.services().workshop.revise_quote, "quote_revised", "quotes")


@pages.post("/desk/<case>/hold")
@access(OFFICE)
def hold(case: str) -> Any:
    """Stop the job for a reason the customer is told."""
    return _with_reason(case, security.services().workshop.hold, "held")


@pages.post("/desk/<case>/release")
@access(OFFICE)
def release(case: str) -> Any:
    """Let a held job go on."""
    staff_case.load(case)
    staff_case.change(security.services().workshop.release)
    return _back(case, "released")


@pages.post("/desk/<case>/clear-stop")
@access(OFFICE)
def clear_stop(case: str) -> Any:
    """A person has dealt with the stop sign; the label may be given out."""
    staff_case.load(case)
    staff_case.change(security.services().workshop.clear_stop)
    return _back(case, "stop_cleared")


@pages.post("/desk/<case>/decline")
@access(OFFICE)
def decline(case: str) -> Any:
    """Decline the job kindly, with the reason in the shop's own words."""
    return _with_reason(case, security.services().workshop.decline_kindly, "job_declined")


def _with_reason(case: str, decide: Callable[..., CaseChange], done: str, anchor: str | None = None) -> Any:
    """A workshop change that needs a reason."""
    staff_case.load(case)
    reason = request.form.get("reason", "").strip()
    if not reason:
        raise BadInputError("reason", "nothing", "a reason")
    staff_case.change(decide, reason=reason[:1000])
    return _back(case, done, anchor)


@pages.post("/desk/<case>/link")
@access(OFFICE)
def link(case: str) -> Any:
    """A one-time link for a customer who lost theirs or writes by another channel; shown once."""
    staff_case.load(case)
    address = cases.make_resume_link()
    return render_template("staff_link.html", link=address, qr=Markup(qr_svg(address)), case=cases.case())


@pages.post("/desk/<case>/photos")
@access(STAFF)
def add_photo(case: str) -> Any:
    """A photo taken by the shop."""
    staff_case.load(case)
    uploads.store_shop_photo(request.files.get("photo"), request.form.get("label", ""))
    back = request.form.get("back", "")
    return (
        redirect(url_for("bench.arrival", case=case, done="photo_saved"))
        if back == "arrival"
        else _back(case, "photo_saved", "photos")
    )
