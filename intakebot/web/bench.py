"""The bench until the device plays: jobs, pre-triage, arrival check, one step at a time. Every POST names its version."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, g, redirect, render_template, request, url_for

from intakebot.errors import BadInputError
from intakebot.web import cases, numbers, papers, security, staff_case, words
from intakebot.web.access import BENCH, STAFF, access
from intakebot.web.bench_view import bench_page
from intakebot.workshop import Workshop

pages = Blueprint("bench", __name__)

LISTED = 50


def _workshop() -> Workshop:
    return security.services().workshop


@pages.get("/bench")
@access(STAFF)
def jobs() -> Any:
    """What is on the bench, what waits for it, and which boxes are on their way."""
    with security.services().store.reading() as work:
        lists = {
            phase: work.cases.page(phase=phase, limit=LISTED, oldest_first=True)
            for phase in ("on_bench", "arrived", "shipped")
        }
    return render_template("bench_jobs.html", lists=lists)


@pages.get("/bench/<case>/pretriage")
@access(STAFF)
def pretriage(case: str) -> Any:
    """What is probably wrong and what to do first, before the box arrives."""
    staff_case.load(case)
    drawn = papers.draw("pretriage")
    return render_template(
        "staff_sheet.html", sheet=drawn.sheet, figures=drawn.figures, case=cases.case(), name="pretriage"
    )


@pages.get("/bench/<case>/arrival")
@access(STAFF)
def arrival(case: str) -> Any:
    """The list to tick when the box is opened."""
    staff_case.load(case)
    return _arrival_page({})


def _arrival_page(problems: dict[str, str]) -> str:
    services = security.services()
    form = _workshop().arrival_form(cases.definitions(), cases.case(), services.now(), words.texts())
    with services.store.reading() as work:
        photos = work.photos.all(cases.case().id)
    return render_template(
        "arrival.html",
        form=form,
        theirs=[photo for photo in photos if photo.id in form.photos],
        ours=[photo for photo in photos if photo.id not in form.photos],
        case=cases.case(),
        problems=problems,
        sent=request.form,
        message_id=services.new_id(),
    )


@pages.post("/bench/<case>/arrival")
@access(STAFF)
def record_arrival(case: str) -> Any:
    """Keep what was found; differences change facts and re-plan."""
    staff_case.load(case)
    form = request.form
    try:
        staff_case.change(
            _workshop().record_arrival,
            found={name.removeprefix("found."): form[name] for name in form if name.startswith("found.")},
            screws=numbers.whole("screws"),
            seals=form.get("seals") or None,
            earlier_repair=tuple(form.getlist("earlier_repair")),
            weight_kg=numbers.decimal("weight_kg"),
            disc=form.get("disc") or None,
            board_matches={"yes": True, "no": False}.get(form.get("board_matches", "")),
            notes=form.get("notes", "").strip()[:2000],
        )
    except BadInputError as error:
        return _arrival_page({error.where: staff_case.sentence(error)}), 422
    return redirect(url_for("bench.job", case=case, done="arrived"))


@pages.get("/bench/<case>")
@access(STAFF)
def job(case: str) -> Any:
    """The next step, big; the ladder with what was done; the authorised maximum as a line across it."""
    staff_case.load(case)
    services, now = security.services(), security.services().now()
    view = _workshop().bench(cases.definitions(), cases.case(), now, words.texts())
    ladder = _workshop().ladder(cases.definitions(), cases.case(), view, now, words.texts())
    page = bench_page(
        view, ladder, cases.family(), words.texts(), words.texts(in_locale=g.conversation.locale)
    )
    return render_template("bench.html", page=page, case=cases.case(), message_id=services.new_id())


@pages.post("/bench/<case>/start")
@access(BENCH)
def start(case: str) -> Any:
    """Start the clock of a step."""
    staff_case.load(case)
    staff_case.change(_workshop().start_step, step=request.form.get("step", ""))
    return redirect(url_for("bench.job", case=case))


@pages.post("/bench/<case>/result")
@access(BENCH)
def result(case: str) -> Any:
    """One tap: what came of the step. The rest is planned anew."""
    staff_case.load(case)
    form = request.form
    staff_case.change(
        _workshop().record_result,
        step=form.get("step", ""),
        result=form.get("result", ""),
        seen={name[5:]: form[name] for name in form if name.startswith("seen.") and form[name]},
        minutes=numbers.decimal("minutes"),
    )
    return redirect(url_for("bench.job", case=case, done="result_kept"))


@pages.post("/bench/<case>/undo")
@access(BENCH)
def undo(case: str) -> Any:
    """Take the last result back."""
    staff_case.load(case)
    staff_case.change(_workshop().undo_result)
    return redirect(url_for("bench.job", case=case, done="undone"))


@pages.post("/bench/<case>/ask")
@access(STAFF)
def ask(case: str) -> Any:
    """Send the customer the request for a higher maximum, with the reason as it stands in the form."""
    staff_case.load(case)
    staff_case.change(_workshop().ask_for_more, reason=request.form.get("reason", "").strip()[:1000])
    return redirect(url_for("bench.job", case=case, done="asked"))
