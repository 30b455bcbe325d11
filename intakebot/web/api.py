"""The JSON API as a Flask blueprint: routes from the operations, one wrapper, one place for errors.

app.register_blueprint(api_blueprint(services))
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Mapping
from contextlib import nullcontext

from flask import Blueprint, Response, current_app, request
from werkzeug.exceptions import HTTPException, MethodNotAllowed, NotFound

from intakebot.errors import IntakebotError
from intakebot.records.columns import to_json
from intakebot.web.api_call import ApiServices, Call, new_instance, read_call
from intakebot.web.api_limits import headers_of
from intakebot.web.api_operations import Answer, Operation
from intakebot.web.api_problems import Problem, problem_of
from intakebot.web.api_table import OPERATIONS

PREFIX = "/api/v1"
_METHODS = ["GET", "POST", "PUT", "PATCH", "DELETE", "TRACE"]
_log = logging.getLogger("intakebot.api")

__all__ = ["ApiServices", "api_blueprint"]


def api_blueprint(services: ApiServices) -> Blueprint:
    """The API, /livez, /readyz and /metrics."""
    blueprint = Blueprint("api", __name__)
    own_options = {operation.path for operation in OPERATIONS if operation.method == "OPTIONS"}
    for operation in OPERATIONS:
        blueprint.add_url_rule(
            flask_path(operation),
            endpoint=operation.id,
            view_func=_view(services, operation),
            methods=[operation.method],
            strict_slashes=True,
            provide_automatic_options=False if operation.path in own_options else None,
        )
    for path in (f"{PREFIX}/", f"{PREFIX}/<path:rest>"):
        blueprint.add_url_rule(path, endpoint="elsewhere", view_func=_elsewhere, methods=_METHODS)
    return blueprint


def flask_path(operation: Operation) -> str:
    """The route of an operation as Flask writes it."""
    path = operation.path.replace("{", "<").replace("}", ">")
    return path if operation.root else PREFIX + path


def _view(services: ApiServices, operation: Operation) -> Callable[..., Response]:
    def view(**path: str) -> Response:
        started = time.perf_counter()
        response = _answered(services, operation, path)
        services.metrics.count(operation.id, response.status_code, time.perf_counter() - started)
        return response

    return view


def _answered(services: ApiServices, operation: Operation, path: Mapping[str, str]) -> Response:
    call: Call | None = None
    try:
        call = read_call(services, operation, request, path)
        running = services.turns.running
        with running.only(call.request.scope, call.request.key) if call.request else nullcontext():
            answer = operation.handler(call)
        return _with_rate(_response(answer), call)
    except IntakebotError as error:
        return _with_rate(problem_response(problem_of(error), call.instance if call else None), call)
    except HTTPException as error:
        return problem_response(_http_problem(error), call.instance if call else None)
    except Exception:
        instance = call.instance if call else new_instance()
        _log.exception("unexpected error in %s (%s)", operation.id, instance)
        return problem_response(Problem("internal", "The request could not be handled."), instance)


def _response(answer: Answer) -> Response:
    body = answer.body
    if isinstance(body, Mapping):
        body = to_json(body)
    response = Response(body, status=answer.status, content_type=answer.content_type)
    response.headers["Cache-Control"] = "no-store"
    response.headers["X-Content-Type-Options"] = "nosniff"
    for name, value in answer.headers.items():
        response.headers[name] = value
    return response


def _with_rate(response: Response, call: Call | None) -> Response:
    if call is not None and call.rate is not None:
        for name, value in headers_of(call.rate).items():
            response.headers[name] = value
    return response


def problem_response(problem: Problem, instance: str | None = None) -> Response:
    """An error answer (RFC 9457)."""
    body = to_json(problem.to_mapping(instance or new_instance()))
    response = Response(body, status=problem.status, content_type="application/problem+json")
    response.headers["Cache-Control"] = "no-store"
    response.headers["X-Content-Type-Options"] = "nosniff"
    for name, value in problem.headers.items():
        response.headers[name] = value
    return response


def _http_problem(error: HTTPException) -> Problem:
    if error.code == 413:
        return Problem("too-large", "The request is too large.")
    if error.code == 415:
        return Problem("unsupported-media-type", "This content type is not taken here.")
    if error.code == 404:
        return Problem("not-found", "There is no such address.")
    return Problem("malformed-request", "The request cannot be read.")


def _elsewhere(rest: str = "") -> Response:
    """Any other address or method below /api/v1."""
    allowed = sorted(_allowed_methods(request.path))
    if allowed:
        headers = {"Allow": ", ".join(allowed)}
        return problem_response(Problem("method-not-allowed", "Not with this method.", headers=headers))
    return problem_response(Problem("not-found", "There is no such address."))


def _allowed_methods(path: str) -> set[str]:
    adapter = current_app.url_map.bind("")
    allowed = set()
    for method in _METHODS:
        try:
            endpoint, _ = adapter.match(path, method=method)
        except (NotFound, MethodNotAllowed, HTTPException):
            continue
        if str(endpoint) != "api.elsewhere":
            allowed.add(method)
    return allowed
