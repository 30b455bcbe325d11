"""Which language a page is in, and the `t` function of the templates.

A customer's talk has its own language; everybody else gets the one chosen by cookie, else the best of what the browser
asks for. Page texts are keys under `web.`; families add their own.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from flask import Flask, g, request

from intakebot.definitions.model import Definitions
from intakebot.definitions.texts import Texts
from intakebot.web import security

FALLBACK = "en"
"""For browsers that ask for no language we have."""


def install(app: Flask) -> None:
    """Give every template `t(key, **values)` and `locale`."""
    app.context_processor(lambda: {"t": say, "has_text": has_text, "locale": locale()})


def locale() -> str:
    """The language of this page."""
    if "locale" not in g:
        offered = security.services().definitions.locales
        chosen = request.cookies.get(security.cookie_name("language"), "")
        usual = FALLBACK if FALLBACK in offered else offered[0]
        g.locale = chosen if chosen in offered else request.accept_languages.best_match(offered, usual)
    return g.locale


def use_locale(chosen: str) -> None:
    """Fix the language of this page (a customer's talk has its own)."""
    if chosen in security.services().definitions.locales:
        g.locale = chosen


def texts(family: str | None = None, in_locale: str | None = None) -> Texts:
    """The texts of this page's language."""
    definitions = g.get("definitions") or security.services().definitions
    return _texts(definitions, family or g.get("family"), in_locale or locale())


def say(key: str, wording: int = 0, **values: Any) -> str:
    """One page text."""
    return texts().say(key, wording, **values)


def has_text(key: str) -> bool:
    """Whether there is such a text."""
    return texts().has(key)


def device(kind: str) -> str:
    """A kind of device in words, out of whichever family knows it."""
    for family in security.services().definitions.families:
        found = texts(family)
        if found.has(f"device.{kind}"):
            return found.say(f"device.{kind}")
    return kind.replace("_", " ")


class _ByIdentity:
    """Definitions are large; remember texts by which object it is, not by its contents."""

    def __init__(self, definitions: Definitions) -> None:
        self.definitions = definitions

    def __hash__(self) -> int:
        return id(self.definitions)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _ByIdentity) and self.definitions is other.definitions


@lru_cache(maxsize=32)
def _remembered(key: _ByIdentity, family: str | None, in_locale: str) -> Texts:
    return Texts(key.definitions, family, in_locale)


def _texts(definitions: Definitions, family: str | None, in_locale: str) -> Texts:
    return _remembered(_ByIdentity(definitions), family, in_locale)
