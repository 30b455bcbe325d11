"""One record per operation of the API: how it is called, by whom, what it takes and what it answers.

The blueprint registers routes from these records and the OpenAPI document is printed from them, so neither can say
something the other does not.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

Caller = Literal["anyone", "customer", "shop", "gateway"]


@dataclass(frozen=True)
class Answer:
    """What a handler gives back. body: a mapping, canonical JSON text, or bytes with their own content type."""

    status: int
    body: Any
    headers: Mapping[str, str] = field(default_factory=dict)
    content_type: str = "application/json"


@dataclass(frozen=True)
class Parameter:
    """A query parameter."""

    name: str
    schema: Mapping[str, Any]
    description: str


@dataclass(frozen=True)
class Operation:
    """
    Attributes:
        path: in OpenAPI form, `/conversations/{id}`; below /api/v1 unless `root`.
        caller: who may call; `shop` needs `scope`.
        body: name of the request schema; None for no body; `multipart` for a photo.
        answers: status -> name of the schema, or (content type, description) for something that is not JSON.
        problems: further statuses it can answer with, each a problem.
        key: whether an Idempotency-Key is read, and whether it must be there.
        if_match: a state change by staff: needs the version.
        links: OpenAPI links, operation id -> {parameter: runtime expression}.
    """

    id: str
    method: str
    path: str
    summary: str
    handler: Callable[[Any], Answer]
    caller: Caller
    answers: Mapping[int, Any]
    body: str | None = None
    scope: str | None = None
    query: tuple[Parameter, ...] = ()
    problems: tuple[int, ...] = ()
    key: Literal["none", "optional", "required"] = "none"
    if_match: bool = False
    root: bool = False
    links: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    max_bytes: int = 64 * 1024

    @property
    def parameters(self) -> tuple[str, ...]:
        """Names in the path."""
        return tuple(part[1:-1] for part in self.path.split("/") if part.startswith("{"))
