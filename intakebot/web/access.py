"""Who may open which page: declared beside each view, refused when nothing is declared.

A view without a declaration cannot be reached at all (default deny), so a forgotten line is a closed door.
Customers prove a conversation with its token; staff have a role. Roles do not include one another.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal, TypeVar

Role = Literal["owner", "desk", "technician"]
ROLES: tuple[Role, ...] = ("owner", "desk", "technician")

PUBLIC = frozenset({"public"})
CUSTOMER = frozenset({"customer"})
STAFF = frozenset(ROLES)
OFFICE: frozenset[str] = frozenset({"owner", "desk"})
OWNER: frozenset[str] = frozenset({"owner"})
BENCH: frozenset[str] = frozenset({"owner", "technician"})

OWN_AUTHENTICATION = frozenset({"api"})
"""Blueprints whose views check their callers themselves (bearer tokens and signatures, never cookies)."""

View = TypeVar("View", bound=Callable[..., Any])


def access(who: frozenset[str]) -> Callable[[View], View]:
    """Declare who may reach a view: PUBLIC, CUSTOMER, or a set of staff roles."""

    def mark(view: View) -> View:
        view.__dict__["access"] = who
        return view

    return mark


def declared(view: Callable[..., Any] | None) -> frozenset[str]:
    """The declaration of a view; empty when there is none (nobody)."""
    return getattr(view, "access", frozenset()) if view is not None else frozenset()
