"""The end of a job: acceptance list, outcome with its true cause, packing for the way back, handing over."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, redirect, render_template, request, url_for

from intakebot.errors import BadInputError
from intakebot.web import cases, numbers, security, staff_case, words
from intakebot.web.access import BENCH, STAFF, access
from intakebot.web.bench_view import bench_page
from intakebot.workshop import Job, Workshop
from intakebot.workshop.closing import ENDINGS

pages = Blueprint("closing", __name__)


def _workshop() -> Workshop:
    return security.services().workshop


@pages.get("/bench/<case>/acceptance")
@access(STAFF)
def acceptance(case: str) -> Any:
    """What must play before the job is done, the customer's own disc class first."""
    staff_case.load(case)
    tests = _workshop().acceptance(cases.definitions(), cases.case(), words.texts())
    return render_template(
        "acceptance.html", tests=tests, case=cases.case(), message_id=security.services().new_id()
    )


@pages.post("/bench/<case>/acceptance")
@access(BENCH)
def record_acceptance(case: str) -> Any:
    """Keep which tests passed."""
    staff_case.load(case)
    form = request.form
    results = {name[5:]: value for name, value in form.items() if name.startswith("test.") and value}
    staff_case.change(_workshop().record_acceptance, results=results)
    return redirect(url_for("closing.outcome", case=case, done="acceptance_kept"))


@pages.get("/bench/<case>/outcome")
@access(STAFF)
def outcome(case: str) -> Any:
    """How it ended, and what it really was."""
    staff_case.load(case)
    return _outcome_page({})


def _outcome_page(problems: dict[str, str]) -> str:
    services, spoken = security.services(), words.texts()
    view = _workshop().bench(cases.definitions(), cases.case(), services.now(), spoken)
    return render_template(
        "outcome.html",
        page=bench_page(view, (), cases.family(), spoken, spoken),
        faults=tuple(cases.family().faults),
        endings=ENDINGS,
        written=Job.of(cases.case()).outcome is not None,
        case=cases.case(),
        problems=problems,
        sent=request.form,
        currency=view.authorised.currency,
        message_id=services.new_id(),
    )


@pages.post("/bench/<case>/outcome")
@access(BENCH)
def record_outcome(case: str) -> Any:
    """Keep the outcome; it is what the shop learns from."""
    staff_case.load(case)
    form = request.form
    try:
        staff_case.change(
            _workshop().record_outcome,
            ending=form.get("ending", ""),
            causes=tuple(form.getlist("causes")),
            total=numbers.decimal("total"),
            note=form.get("note", "").strip(),
        )
    except BadInputError as error:
        return _outcome_page({error.where: staff_case.sentence(error)}), 422
    return redirect(url_for("closing.pack_back", case=case, done="outcome_kept"))


@pages.get("/bench/<case>/return")
@access(STAFF)
def pack_back(case: str) -> Any:
    """What goes back into the box, the customer's disc among it."""
    staff_case.load(case)
    return _return_page({})


def _return_page(problems: dict[str, str]) -> str:
    services = security.services()
    form = _workshop().arrival_form(cases.definitions(), cases.case(), services.now(), words.texts())
    return render_template(
        "pack_back.html",
        form=form,
        job=Job.of(cases.case()),
        case=cases.case(),
        problems=problems,
        message_id=services.new_id(),
    )


@pages.post("/bench/<case>/return")
@access(STAFF)
def record_return(case: str) -> Any:
    """Keep what was packed and how it was sent."""
    staff_case.load(case)
    form = request.form
    try:
        staff_case.change(
            _workshop().record_return,
            contents=tuple(form.getlist("contents")),
            disc_returned={"yes": True, "no": False}.get(form.get("disc_returned", "")),
            tracking=form.get("tracking", "").strip(),
        )
    except BadInputError as error:
        return _return_page({error.where: staff_case.sentence(error)}), 422
    return redirect(url_for("closing.pack_back", case=case, done="return_kept"))


@pages.post("/bench/<case>/handed-over")
@access(STAFF)
def hand_over(case: str) -> Any:
    """The box is with the customer or the carrier."""
    staff_case.load(case)
    staff_case.change(_workshop().hand_over)
    return redirect(url_for("desk.intake", case=case, done="handed_over"))
