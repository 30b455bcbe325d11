"""What the talk's script asks every few seconds: is there anything new? Small on purpose; the page itself is fetched only then."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, g, jsonify

from intakebot.web import words
from intakebot.web.access import CUSTOMER, access

pages = Blueprint("live", __name__)


@pages.get("/talk/<talk>/news")
@access(CUSTOMER)
def news(talk: str) -> Any:
    """Number of messages and version of the talk, and the words for a lost connection (needed when nothing can be asked)."""
    said = {name: words.say(f"web.live.{name}") for name in ("lost", "kept", "back")}
    return jsonify(messages=g.case.message_count, version=g.case.version, words=said)
