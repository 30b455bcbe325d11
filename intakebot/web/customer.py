"""The customer's way: first words, talk, one-page form, one fact, photos, erasing. Works without JavaScript."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Any

from flask import Blueprint, Response, g, redirect, render_template, request, url_for
from markupsafe import Markup

from intakebot.conversation import ChoiceTaken, FactsEntered, MessageReceived
from intakebot.documents.label import qr_svg
from intakebot.errors import BadInputError, NotFoundError
from intakebot.records.tokens import hash_secret
from intakebot.turns import Request, Via, open_case, take_turn
from intakebot.web import cases, customers, facts_form, security, uploads, words
from intakebot.web.access import CUSTOMER, PUBLIC, access
from intakebot.web.api_limits import MESSAGES, OPENING
from intakebot.web.form_lines import GROUPS, field_for, field_groups
from intakebot.web.talk_view import PICKED, joined_picks, safety_ticks, talk_page, without_none

pages = Blueprint("customer", __name__)

CUSTOMER_GROUPS = tuple(group for group in GROUPS if group != "bench")
NEWEST_MESSAGES = 200


@pages.get("/")
@access(PUBLIC)
def start() -> Any:
    """What this is, and the first words."""
    return _start_page(customers.held_talks())


def _start_page(talks: tuple[str, ...], problem: str = "", ticked: Sequence[str] = ()) -> str:
    """ticked: what was ticked before a problem."""
    return render_template(
        "start.html",
        text="",
        problem=problem,
        talks=talks,
        message_id=security.services().new_id(),
        safety=safety_ticks(security.services().definitions, words.locale(), ticked),
    )


@pages.post("/talk")
@access(PUBLIC)
def begin() -> Any:
    """Open a talk with the first words and the ticks of the safety list, or go straight to the one-page form."""
    text, on_one_page = request.form.get("text", "").strip(), request.form.get("way") == "form"
    ticked = request.form.getlist("pick")[:20]
    if not text and not on_one_page:
        return _start_page((), words.say("web.start.say_something"), ticked), 422
    services = security.services()
    services.limiter.take(str(request.remote_addr), OPENING, services.now())
    fingerprint = hashlib.sha256(f"{words.locale()}:{on_one_page}:{ticked}:{text}".encode()).hexdigest()
    key = f"{request.form.get('message_id', '')[:80]}:{fingerprint[:16]}"
    opened = open_case(
        services.turns,
        via=Via("web"),
        locale=words.locale(),
        text=None if on_one_page else text,
        request=Request(f"web-open:{hash_secret(security.visitor())}", key, fingerprint),
    )
    picks = joined_picks(without_none(ticked))
    if picks is not None:
        take_turn(
            services.turns,
            opened.conversation_id,
            ChoiceTaken("start", picks[:300], "web"),
            via=Via("web"),
            request=Request(f"web:{opened.conversation_id}", "start", fingerprint),
        )
    place = "customer.whole_form" if on_one_page else "customer.talk"
    anchor = None if on_one_page else "latest"
    there = redirect(url_for(place, talk=opened.conversation_id, _anchor=anchor))
    return customers.remember(there, opened.conversation_id, opened.token)


@pages.get("/talk/<talk>")
@access(CUSTOMER)
def talk(talk: str) -> Any:
    """The talk, and the form filling itself in beside it."""
    return _talk_page()


def _talk_page(problem: str = "", text: str = "", nothing_picked: bool = False) -> str:
    with security.services().store.reading() as work:
        messages = work.messages.last(g.case.id, NEWEST_MESSAGES)
        photos = work.photos.all(g.case.id)
    page = talk_page(
        cases.family(), words.texts(), g.conversation, messages, cases.currency(), cases.still_open()
    )
    return render_template(
        "talk.html",
        page=page,
        photos=photos,
        problem=problem,
        text=text,
        nothing_picked=nothing_picked,
        message_id=security.services().new_id(),
    )


@pages.post("/talk/<talk>/messages")
@access(CUSTOMER)
def message(talk: str) -> Any:
    """One message, one tapped choice, or the ticked choices of a list."""
    message_id, text = request.form.get("message_id", "")[:80], request.form.get("text", "")
    choice = request.form.get("choice")
    if choice == PICKED:
        choice = joined_picks(request.form.getlist("pick"))
        if choice is None:
            return _talk_page(nothing_picked=True), 422
    if choice is None and not text.strip():
        return _talk_page(words.say("web.talk.say_something")), 422
    event = (
        MessageReceived(message_id, text, "web")
        if choice is None
        else ChoiceTaken(message_id, choice[:300], "web")
    )
    _take(event, message_id, text if choice is None else f"choice:{choice}")
    return redirect(url_for("customer.talk", talk=talk, _anchor="latest"))


def _take(event: Any, message_id: str, content: str) -> None:
    """Run a customer's turn. The same form sent twice is one turn; a form changed and sent again is another."""
    services = security.services()
    services.limiter.take(g.case.id, MESSAGES, services.now())
    fingerprint = hashlib.sha256(content.encode()).hexdigest()
    repeat = Request(f"web:{g.case.id}", f"{message_id}:{fingerprint[:16]}", fingerprint)
    take_turn(services.turns, g.case.id, event, via=Via("web"), request=repeat, token_hash=g.token_hash)


@pages.get("/talk/<talk>/form")
@access(CUSTOMER)
def whole_form(talk: str) -> Any:
    """Everything on one page instead of the talk."""
    return _form_page({})


def _form_page(problems: dict[str, str]) -> str:
    groups = field_groups(cases.family(), words.texts(), g.conversation, CUSTOMER_GROUPS)
    return render_template(
        "whole_form.html", groups=groups, problems=problems, message_id=security.services().new_id()
    )


@pages.post("/talk/<talk>/form")
@access(CUSTOMER)
def save_form(talk: str) -> Any:
    """Keep what changed on the one-page form."""
    facts = [
        fact
        for fact in cases.family().facts.values()
        if fact.type != "photo" and "bench" not in fact.purposes
    ]
    sent, problems = facts_form.read(facts, g.conversation)
    if not sent.is_empty:
        message_id = request.form.get("message_id", "")[:80]
        _take(FactsEntered(message_id, sent.facts, sent.declined, sent.cleared), message_id, repr(sent))
    if problems:
        cases.load(talk, g.token_hash)
        return _form_page(problems), 422
    return redirect(url_for("customer.talk", talk=talk, _anchor="latest", done="form_saved"))


@pages.get("/talk/<talk>/facts/<fact>")
@access(CUSTOMER)
def one_fact(talk: str, fact: str) -> Any:
    """Change one line of the form."""
    return _fact_page(fact, {})


def _fact_page(fact_id: str, problems: dict[str, str]) -> str:
    fact = cases.customer_fact(fact_id)
    field = field_for(words.texts(), fact, g.conversation.facts.get(fact_id))
    entry = g.conversation.facts.get(fact_id)
    return render_template(
        "one_fact.html",
        field=field,
        quote=entry.quote if entry else "",
        problems=problems,
        message_id=security.services().new_id(),
    )


@pages.post("/talk/<talk>/facts/<fact>")
@access(CUSTOMER)
def save_fact(talk: str, fact: str) -> Any:
    """Keep one line; it is confirmed by that."""
    sent, problems = facts_form.read([cases.customer_fact(fact)], g.conversation, confirm=True)
    if problems:
        return _fact_page(fact, problems), 422
    if not sent.is_empty:
        message_id = request.form.get("message_id", "")[:80]
        _take(FactsEntered(message_id, sent.facts, sent.declined, sent.cleared), message_id, repr(sent))
    return redirect(url_for("customer.talk", talk=talk, _anchor=f"fact-{fact}", done="fact_saved"))


@pages.post("/talk/<talk>/photos")
@access(CUSTOMER)
def add_photo(talk: str) -> Any:
    """Store a photo, made anew without its hidden data, and tell the talk."""
    try:
        uploads.store_customer_photo(request.files.get("photo"), request.form.get("label", ""))
    except BadInputError:
        return _talk_page(words.say("web.talk.bad_photo")), 422
    return redirect(url_for("customer.talk", talk=talk, _anchor="photos", done="photo_saved"))


@pages.get("/talk/<talk>/photos/<photo>")
@access(CUSTOMER)
def photo(talk: str, photo: str) -> Response:
    """One of the customer's own photos."""
    return uploads.send_photo(g.case.id, photo)


@pages.get("/talk/<talk>/erase")
@access(CUSTOMER)
def ask_erase(talk: str) -> Any:
    """What erasing means, before it is done."""
    return render_template("erase.html")


@pages.post("/talk/<talk>/erase")
@access(CUSTOMER)
def erase(talk: str) -> Any:
    """Erase the talk and everything that hangs on it."""
    cases.erase()
    return customers.forget(redirect(url_for("customer.start", done="erased")), talk)


@pages.post("/talk/<talk>/link")
@access(CUSTOMER)
def link(talk: str) -> Any:
    """A one-time link to go on with another device; shown once."""
    address = cases.make_resume_link()
    return render_template("link.html", link=address, qr=Markup(qr_svg(address)))


@pages.get("/resume/<code>")
@access(PUBLIC)
def resume_page(code: str) -> Any:
    """Go on with a talk on this device: a button, so that a mail program's preview does not use the link up."""
    return render_template("resume.html")


@pages.post("/resume/<code>")
@access(PUBLIC)
def resume(code: str) -> Any:
    """Exchange the one-time link for the talk's token."""
    talk, token = cases.redeem_resume(code)
    return customers.remember(redirect(url_for("customer.talk", talk=talk, _anchor="latest")), talk, token)


@pages.post("/language")
@access(PUBLIC)
def language() -> Any:
    """Choose the language of the pages."""
    from intakebot.web.signin import local_path

    wanted = request.form.get("language", "")
    if wanted not in security.services().definitions.locales:
        raise NotFoundError("no such language")
    response = redirect(local_path(request.form.get("back", "")) or url_for("customer.start"))
    security.set_cookie(response, "language", wanted, customers.KEEP_SECONDS)
    return response
