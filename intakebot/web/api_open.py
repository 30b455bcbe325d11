"""What anyone may ask: health, metrics, schemas, the OpenAPI document and its readable page."""

from __future__ import annotations

import shutil

from intakebot.definitions import Texts, form_version, intake_form_schema
from intakebot.errors import NotFoundError
from intakebot.web.api_call import Call
from intakebot.web.api_metrics import CONTENT_TYPE_LATEST
from intakebot.web.api_operations import Answer
from intakebot.web.api_problems import TITLES

MIN_FREE_SHARE = 0.05


def livez(call: Call) -> Answer:
    """The process answers."""
    return Answer(200, {"status": "ok"})


def readyz(call: Call) -> Answer:
    """The database answers, is migrated and set to keep what it acknowledges, and the disk is not full."""
    store = call.services.turns.store
    disk = shutil.disk_usage(store.data_dir)
    if store.is_ready() and disk.free / disk.total > MIN_FREE_SHARE:
        return Answer(200, {"status": "ok"})
    return Answer(503, {"status": "not ready"}, {"Retry-After": "5"})


def metrics(call: Call) -> Answer:
    services = call.services
    text = services.metrics.text(services.turns.store, services.turns.now())
    return Answer(200, text, content_type=CONTENT_TYPE_LATEST)


def form_schema(call: Call) -> Answer:
    """The JSON Schema a filled intake form of this version validates against."""
    definitions = call.services.turns.editions.current
    for family in definitions.families.values():
        if form_version(family) == call.path["version"]:
            texts = Texts(definitions, family.id, definitions.locales[0])
            schema = intake_form_schema(family, texts, call.services.base_url)
            return Answer(200, schema, content_type="application/schema+json")
    raise NotFoundError("there is no intake form of this version")


def problem_type(call: Call) -> Answer:
    """What a problem type means, for whoever follows the `type` of an error answer."""
    kind = call.path["kind"]
    if kind not in TITLES:
        raise NotFoundError("there is no such problem type")
    status, title = TITLES[kind]
    return Answer(200, {"type": kind, "status": status, "title": title})


def openapi(call: Call) -> Answer:
    from intakebot.web.api_openapi import document

    return Answer(200, document(call.services.base_url))


def docs(call: Call) -> Answer:
    from intakebot.web.api_openapi import page

    headers = {"Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'"}
    return Answer(200, page(call.services.base_url), headers, "text/html; charset=utf-8")
