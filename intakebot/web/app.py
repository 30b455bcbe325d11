"""The application factory: one Flask application around one `Services`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from babel import Locale
from flask import Flask, g, request, url_for
from jinja2 import StrictUndefined
from markupsafe import Markup

from intakebot.web import (
    bench,
    closing,
    customer,
    customer_papers,
    desk,
    desk_actions,
    failures,
    formatting,
    live,
    papers,
    people,
    receivers,
    security,
    signin,
    staff_papers,
    words,
)
from intakebot.web.access import OFFICE, OWNER, STAFF
from intakebot.web.services import Services

LARGEST_REQUEST = 10 * 1024 * 1024
LARGEST_FORM_TEXT = 256 * 1024


def create_app(services: Services) -> Flask:
    """Build the application. Nothing connects, reads the environment or starts threads here."""
    app = Flask(__name__)
    app.config.update(
        MAX_CONTENT_LENGTH=LARGEST_REQUEST,
        MAX_FORM_MEMORY_SIZE=LARGEST_FORM_TEXT,
        MAX_FORM_PARTS=600,
        SEND_FILE_MAX_AGE_DEFAULT=3600,
    )
    app.jinja_env.undefined = StrictUndefined
    app.jinja_env.trim_blocks = True
    app.jinja_env.lstrip_blocks = True
    app.url_map.strict_slashes = False
    security.protect(app, services)
    words.install(app)
    formatting.install(app)
    failures.install(app)
    app.context_processor(_for_every_template)
    for blueprint in (
        customer.pages,
        customer_papers.pages,
        live.pages,
        signin.pages,
        people.pages,
        desk.pages,
        desk_actions.pages,
        receivers.pages,
        bench.pages,
        closing.pages,
        staff_papers.pages,
        *services.blueprints,
    ):
        app.register_blueprint(blueprint)
    return app


def _for_every_template() -> dict[str, Any]:
    services = security.services()
    done = request.args.get("done", "")
    return {
        "token": _token_field,
        "person": g.get("person"),
        "shop": services.definitions.pricing.shop,
        "locales": services.definitions.locales,
        "here": lambda: request.full_path.rstrip("?"),
        "static": lambda name: url_for("static", filename=name),
        "places": places,
        "device_words": words.device,
        "staff_papers": papers.staff_papers,
        "language_name": lambda code: Locale.parse(code).get_display_name(code),
        "done": done if words.has_text(f"web.done.{done}") else "",
        "reference": g.case.reference if g.get("case") else "",
    }


def _token_field() -> Markup:
    return Markup('<input type="hidden" name="csrf" value="{}">').format(security.csrf_token())


@dataclass(frozen=True)
class Place:
    """An entry of the staff navigation."""

    endpoint: str
    label: str
    who: frozenset[str]


_PLACES = (
    Place("desk.intakes", "web.nav.desk", STAFF),
    Place("bench.jobs", "web.nav.bench", STAFF),
    Place("desk.rates", "web.nav.rates", STAFF),
    Place("desk.calendar", "web.nav.calendar", STAFF),
    Place("receivers.overview", "web.nav.receivers", OFFICE),
    Place("people.everybody", "web.nav.people", OWNER),
)


def places(role: str) -> tuple[Place, ...]:
    """The pages somebody of this role goes to."""
    return tuple(place for place in _PLACES if role in place.who)
