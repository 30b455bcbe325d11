"""Two people at one case: the second one sees both sides and chooses; nothing is lost, nothing is overwritten."""

from __future__ import annotations

from flask import g, render_template, request

from intakebot.errors import StaleVersionError
from intakebot.web import cases, security, staff_case, words
from intakebot.web.intake_view import LogLine, log_line

_OURS = frozenset({"csrf", "version", "message_id"})
SHOWN_CHANGES = 12


def show(error: StaleVersionError) -> tuple[str, int]:
    """The page with what changed meanwhile and what was about to be saved, ready to be sent again."""
    carried = [
        (name, value) for name, values in request.form.lists() if name not in _OURS for value in values
    ]
    if g.person is None:
        return render_template("failure.html", name="conflict", status=409), 409
    staff_case.load(cases.case().id)
    shown = [
        (_label(name), _value(name, value))
        for name, value in carried
        if value and not name.startswith("shown.")
    ]
    page = render_template(
        "conflict.html",
        case=cases.case(),
        current=cases.case().version,
        changes=_changes(error.seen),
        shown=shown,
        carried=carried,
    )
    return page, 409


def _changes(seen: int) -> tuple[LogLine, ...]:
    """The newest entries of the log (more than one may belong to one version)."""
    with security.services().store.reading() as work:
        events = work.events.since(cases.case().id)
        names = {f"staff:{user.id}": user.name for user in work.users.all()}
    wanted = cases.case().version - seen
    return tuple(
        log_line(event, words.texts(), names)
        for event in reversed(events[-min(SHOWN_CHANGES, max(1, wanted) * 3) :])
    )


def _label(name: str) -> str:
    """A form field's name in words."""
    fact = name.removeprefix("fact.").removeprefix("seen.")
    for key in (f"web.conflict.field.{name}", f"fact.{fact}", f"enclose.{name.removeprefix('found.')}"):
        if words.has_text(key):
            return words.say(key)
    return fact.replace("_", " ").replace(".", " ")


def _value(name: str, value: str) -> str:
    """A form field's value in words."""
    fact = cases.family().facts.get(name.removeprefix("fact."))
    if fact is not None and value in (*fact.options, "yes", "no"):
        return words.texts().option(fact, value)
    return value
