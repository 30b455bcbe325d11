"""Signing in and out, and joining by a one-time link."""

from __future__ import annotations

from math import ceil
from typing import Any

from flask import Blueprint, current_app, redirect, render_template, request, url_for

from intakebot.errors import BadInputError
from intakebot.web import accounts, security, sessions, words
from intakebot.web.access import PUBLIC, STAFF, access
from intakebot.web.accounts import first_owner_link
from intakebot.web.api_limits import SIGN_INS
from intakebot.web.throttle import Throttle

__all__ = ["first_owner_link", "pages"]

pages = Blueprint("signin", __name__)


@pages.get("/sign-in")
@access(PUBLIC)
def page() -> Any:
    """The sign-in form."""
    return render_template(
        "sign_in.html", login="", problem="", next=local_path(request.args.get("next", ""))
    )


@pages.post("/sign-in")
@access(PUBLIC)
def enter() -> Any:
    """Check name and password; slow down guessing."""
    services, login = security.services(), request.form.get("login", "")[:200]
    now, throttle = services.now(), _throttle()
    keys = (f"{login.strip().casefold()}|{request.remote_addr}", f"|{request.remote_addr}")
    wait = max(throttle.wait(key, now) for key in keys)
    if wait:
        return _refused(
            login,
            words.say("web.sign_in.wait", seconds=ceil(wait.total_seconds())),
            429,
            wait.total_seconds(),
        )
    services.limiter.take(f"sign-in|{keys[0]}", SIGN_INS, now)
    user = accounts.check_password(services, login, request.form.get("password", ""))
    if user is None:
        throttle.failed(keys[0], now)
        throttle.failed(keys[1], now)
        return _refused(login, words.say("web.sign_in.wrong"), 422)
    throttle.succeeded(keys[0])
    return sessions.start(redirect(local_path(request.form.get("next", "")) or url_for("desk.intakes")), user)


def _throttle() -> Throttle:
    throttle: Throttle = current_app.extensions.setdefault("sign_in_throttle", Throttle())
    return throttle


def _refused(login: str, problem: str, status: int, wait: float = 0.0) -> Any:
    page = render_template(
        "sign_in.html", login=login, problem=problem, next=local_path(request.form.get("next", ""))
    )
    return page, status, {"Retry-After": str(ceil(wait))} if wait else {}


@pages.post("/sign-out")
@access(STAFF)
def leave() -> Any:
    """End this session."""
    return sessions.end(redirect(url_for("signin.page")))


@pages.get("/join/<code>")
@access(PUBLIC)
def join_page(code: str) -> Any:
    """The form behind a one-time link. Opening it uses nothing up."""
    link = accounts.open_link(security.services(), code)
    return render_template("join.html", link=link, problems={}, login="", name="")


@pages.post("/join/<code>")
@access(PUBLIC)
def join(code: str) -> Any:
    """Use the link: the person is made and signed in."""
    services, login, name = security.services(), request.form.get("login", ""), request.form.get("name", "")
    link = accounts.open_link(services, code)
    try:
        user = accounts.join(services, code, login, name, request.form.get("password", ""))
    except BadInputError as error:
        problems = {error.where: words.say(f"web.join.problem.{error.where}_{error.found}")}
        return render_template("join.html", link=link, problems=problems, login=login, name=name), 422
    return sessions.start(redirect(url_for("desk.intakes")), user)


def local_path(wanted: str) -> str:
    """A path of this site to go on to, or nothing."""
    is_local = wanted.startswith("/") and not wanted.startswith(("//", "/\\")) and wanted.isprintable()
    return wanted if is_local and "\\" not in wanted else ""
