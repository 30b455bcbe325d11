"""The OpenAPI 3.1 document, printed from the operations and the schemas that validate; and the same as a page.

Source: OpenAPI Specification 3.1.1 (schemas are JSON Schema 2020-12; `webhooks`; `links`).
"""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Any

from intakebot.turn_draft import EVENT_TYPES
from intakebot.web.api_operations import Operation
from intakebot.web.api_problems import TITLES
from intakebot.web.api_schemas import SCHEMAS, ref

_SECURITY = {"customer": "conversationToken", "shop": "shopKey", "gateway": "webhookSignature"}
_DESCRIPTION = """Intake, triage and quote service for a mail-in repair shop.

Customers' programs hold one conversation token; the shop's own systems hold a key with scopes; gateways sign.
Errors are problem details (RFC 9457). A 2xx answer means that the turn is on disk. Repeat a POST with the same
Idempotency-Key and the first answer comes again, byte for byte; keys are kept for 7 days."""


def document(base_url: str = "") -> dict[str, Any]:
    """The whole document."""
    from intakebot.web.api_table import OPERATIONS

    paths: dict[str, dict[str, Any]] = {}
    for operation in OPERATIONS:
        path = operation.path if operation.root else "/api/v1" + operation.path
        paths.setdefault(path, {})[operation.method.lower()] = _operation(operation)
    return {
        "openapi": "3.1.0",
        "info": {"title": "intakebot", "version": "1", "description": _DESCRIPTION},
        "jsonSchemaDialect": "https://json-schema.org/draft/2020-12/schema",
        "servers": [{"url": base_url or "/"}],
        "paths": paths,
        "webhooks": {name: _webhook(name) for name in EVENT_TYPES},
        "components": {
            "schemas": SCHEMAS,
            "securitySchemes": {
                "conversationToken": {"type": "http", "scheme": "bearer", "description": "From opening it."},
                "shopKey": {
                    "type": "http",
                    "scheme": "bearer",
                    "description": "`ik_<id>.<secret>`, with scopes.",
                },
                "webhookSignature": {
                    "type": "apiKey",
                    "in": "header",
                    "name": "webhook-signature",
                    "description": "Standard Webhooks: webhook-id, webhook-timestamp, webhook-signature.",
                },
            },
        },
    }


def statuses(operation: Operation) -> tuple[int, ...]:
    """Every problem status an operation can answer with."""
    found = {*operation.problems, 500}
    if not operation.root:
        found.add(429)
    if operation.caller in ("customer", "shop"):
        found.add(401)
    if operation.caller == "shop":
        found.add(403)
    if operation.caller == "gateway":
        found |= {401, 404}
    if operation.body is not None:
        found |= {400, 413, 415, 422}
    if operation.key != "none":
        found |= {400, 409, 422}
    if operation.if_match:
        found |= {412, 428}
    if operation.method != "GET":
        found.add(503)
    return tuple(sorted(found - set(operation.answers)))


def _operation(operation: Operation) -> dict[str, Any]:
    result: dict[str, Any] = {
        "operationId": operation.id,
        "summary": operation.summary,
        "responses": {
            str(status): _answer(operation, status, what) for status, what in operation.answers.items()
        },
    }
    for status in statuses(operation):
        result["responses"][str(status)] = _problem(status)
    if operation.handler.__doc__:
        result["description"] = " ".join(operation.handler.__doc__.split())
    parameters = _parameters(operation)
    if parameters:
        result["parameters"] = parameters
    if operation.body is not None:
        result["requestBody"] = _body(operation.body)
    if operation.caller in _SECURITY:
        result["security"] = [{_SECURITY[operation.caller]: []}]
        if operation.scope:
            result["x-scope"] = operation.scope
    return result


def _body(name: str) -> dict[str, Any]:
    if name == "multipart":
        properties = {
            "photo": {"type": "string", "contentMediaType": "application/octet-stream"},
            "label": {"type": "string", "maxLength": 200},
        }
        schema = {"type": "object", "required": ["photo"], "properties": properties}
        return {"required": True, "content": {"multipart/form-data": {"schema": schema}}}
    return {"required": True, "content": {"application/json": {"schema": ref(name)}}}


def _answer(operation: Operation, status: int, what: Any) -> dict[str, Any]:
    if what is None:
        return {"description": {204: "Done", 304: "Not changed"}.get(status, "Done")}
    if isinstance(what, tuple):
        content_type, description = what
        schema: Mapping[str, Any] = {} if "json" in content_type else {"type": "string"}
        return {"description": description, "content": {content_type: {"schema": schema}}}
    answer: dict[str, Any] = {
        "description": {201: "Made", 202: "Taken, to be done"}.get(status, "As asked"),
        "content": {"application/json": {"schema": ref(what)}},
    }
    if operation.links and status < 300:
        answer["links"] = {
            name: {"operationId": name, "parameters": dict(parameters)}
            for name, parameters in operation.links.items()
        }
    return answer


def _problem(status: int) -> dict[str, Any]:
    kinds = [kind for kind, (its_status, _) in TITLES.items() if its_status == status]
    answer: dict[str, Any] = {
        "description": "; ".join(TITLES[kind][1] for kind in kinds),
        "content": {"application/problem+json": {"schema": ref("Problem")}},
    }
    if status in (429, 503):
        answer["headers"] = {"Retry-After": {"schema": {"type": "string"}, "description": "Seconds"}}
    return answer


def _parameters(operation: Operation) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = [
        {"name": name, "in": "path", "required": True, "schema": {"type": "string", "minLength": 1}}
        for name in operation.parameters
    ]
    found += [
        {
            "name": parameter.name,
            "in": "query",
            "required": False,
            "schema": dict(parameter.schema),
            "description": parameter.description,
        }
        for parameter in operation.query
    ]
    if operation.key != "none":
        least = 16 if operation.caller == "anyone" else 1
        found.append(
            {
                "name": "Idempotency-Key",
                "in": "header",
                "required": operation.key == "required",
                "schema": {
                    "type": "string",
                    "minLength": least,
                    "maxLength": 255,
                    "pattern": "^[!#-\\[\\]-~]+$",
                },
                "description": "The same key again gives the same answer and has no second effect.",
            }
        )
    if operation.if_match:
        found.append(
            {
                "name": "If-Match",
                "in": "header",
                "required": True,
                "schema": {"type": "string", "pattern": '^"v[0-9]{1,9}"$'},
                "description": "The ETag seen last.",
            }
        )
    return found


def _webhook(name: str) -> dict[str, Any]:
    return {
        "post": {
            "summary": name,
            "description": "CloudEvents 1.0 body, signed as Standard Webhooks; `webhook-id` is the event's id.",
            "requestBody": {"content": {"application/cloudevents+json": {"schema": ref("Event")}}},
            "responses": {
                "2XX": {"description": "Taken; anything else is tried again."},
                "410": {"description": "Gone: nothing more is sent there."},
            },
        }
    }


_STYLE = """body{font:16px/1.5 system-ui,sans-serif;max-width:60rem;margin:0 auto;padding:1rem;color:#1d2330;background:#fff}
h2{margin-top:2.5rem;border-top:1px solid #ccd;padding-top:1rem}code{font-family:ui-monospace,monospace}
table{border-collapse:collapse}td,th{text-align:left;padding:.2rem .8rem .2rem 0;vertical-align:top}pre{overflow:auto}
@media(prefers-color-scheme:dark){body{color:#e8eaf0;background:#14171f}h2{border-color:#334}a{color:#9cc2ff}}"""


def page(base_url: str = "") -> str:
    """The document for people: every operation with what it takes and answers. No script, nothing loaded."""
    from intakebot.web.api_table import OPERATIONS

    parts = [
        f"<p>{escape(_DESCRIPTION)}</p>",
        '<p><a href="openapi.json">The same as OpenAPI 3.1 (JSON)</a></p>',
    ]
    parts += [_section(operation) for operation in OPERATIONS]
    parts.append("<h2 id='schemas'>Schemas</h2>")
    parts += [_schema_section(name) for name in sorted(SCHEMAS)]
    body = "\n".join(parts)
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>API</title>'
        f'<meta name="viewport" content="width=device-width"><style>{_STYLE}</style></head>'
        f"<body><h1>API</h1>{body}</body></html>"
    )


def _section(operation: Operation) -> str:
    path = operation.path if operation.root else "/api/v1" + operation.path
    rows = [("Caller", operation.caller + (f", scope {operation.scope}" if operation.scope else ""))]
    if operation.body:
        rows.append(("Takes", operation.body))
    for parameter in _parameters(operation):
        rows.append((f"{parameter['in']} {parameter['name']}", parameter.get("description", "")))
    for status, what in operation.answers.items():
        rows.append((str(status), what[0] if isinstance(what, tuple) else what or "no content"))
    rows.append(("Problems", ", ".join(str(status) for status in statuses(operation))))
    cells = "".join(f"<tr><th>{escape(a)}</th><td>{_linked(b)}</td></tr>" for a, b in rows)
    heading = f"<h2 id='{operation.id}'><code>{operation.method} {escape(path)}</code></h2>"
    return f"{heading}<p>{escape(operation.summary)}.</p><table>{cells}</table>"


def _linked(text: str) -> str:
    return f"<a href='#s-{text}'>{text}</a>" if text in SCHEMAS else escape(text)


def _schema_section(name: str) -> str:
    import json

    return f"<h3 id='s-{name}'>{name}</h3><pre>{escape(json.dumps(SCHEMAS[name], indent=1, ensure_ascii=False))}</pre>"
