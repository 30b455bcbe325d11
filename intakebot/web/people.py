"""Who works here: the owner's list of people, and everybody's own page."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, g, redirect, render_template, request, url_for

from intakebot.errors import BadInputError
from intakebot.web import accounts, passwords, security, sessions, words
from intakebot.web.access import OWNER, ROLES, STAFF, access

pages = Blueprint("people", __name__)


@pages.get("/people")
@access(OWNER)
def everybody() -> Any:
    """The list, with a form to invite somebody."""
    return _list_page({}, "")


@pages.post("/people")
@access(OWNER)
def invite() -> Any:
    """Make a one-time link; it is shown once, on the answer to this request."""
    form = request.form
    try:
        link = accounts.invitation_link(
            security.services(), form.get("login", ""), form.get("name", ""), form.get("role", "")
        )
    except BadInputError as error:
        return _list_page({error.where: words.say(f"web.join.problem.{error.where}_unusable")}, ""), 422
    return _list_page({}, link)


@pages.post("/people/<user>")
@access(OWNER)
def change(user: str) -> Any:
    """Another role, or no longer active."""
    accounts.change_person(
        security.services(),
        user,
        role=request.form.get("role", ""),
        active=request.form.get("active") == "yes",
    )
    return redirect(url_for("people.everybody", done="saved"))


@pages.post("/people/<user>/end-sessions")
@access(OWNER)
def end_sessions(user: str) -> Any:
    """Sign somebody out everywhere."""
    sessions.end_others(user)
    return redirect(url_for("people.everybody", done="sessions_ended"))


@pages.get("/me")
@access(STAFF)
def me() -> Any:
    """One's own page."""
    return render_template("me.html", problems={})


@pages.post("/me")
@access(STAFF)
def change_password() -> Any:
    """A new password, with the old one as proof; all other sessions end."""
    services, new = security.services(), request.form.get("password", "")
    user = accounts.check_password(services, g.person.login, request.form.get("current", ""))
    if user is None:
        return render_template("me.html", problems={"current": words.say("web.me.wrong")}), 422
    reason = passwords.weakness(new, (user.login, user.name, services.definitions.pricing.shop.name))
    if reason is not None:
        return render_template(
            "me.html", problems={"password": words.say(f"web.join.problem.password_{reason}")}
        ), 422
    accounts.set_password(services, user, new)
    sessions.end_others(user.id)
    return redirect(url_for("people.me", done="password_changed"))


@pages.post("/me/end-sessions")
@access(STAFF)
def end_my_sessions() -> Any:
    """End one's sessions on other devices."""
    sessions.end_others(g.person.id)
    return redirect(url_for("people.me", done="sessions_ended"))


def _list_page(problems: dict[str, str], link: str) -> str:
    with security.services().store.reading() as work:
        users = work.users.all()
    return render_template("people.html", users=users, roles=ROLES, problems=problems, link=link)
