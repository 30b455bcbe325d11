"""Page texts: every key a template or view names is there in every language, and none is there for nothing."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from intakebot.definitions import Definitions
from intakebot.web.access import ROLES
from intakebot.web.desk import WAITS
from intakebot.web.status_view import WAY

WEB = Path(__file__).resolve().parents[2] / "intakebot" / "web"
NAMED = re.compile(r"""['"](web\.[a-z_0-9.]*[a-z_0-9])['"]""")
BEGUN = re.compile(r"""['"](web\.[a-z_.]*\.?)['"]\s*~|f"(web\.[a-z_.]+)\{|['"](web\.[a-z_.]+_)['"]\s*~""")


def sources() -> list[str]:
    files = [
        *WEB.glob("templates/*.html"),
        *(path for path in WEB.glob("*.py") if not path.name.startswith("api")),
    ]
    return [path.read_text(encoding="utf-8") for path in files]


def test_every_named_text_is_there_in_every_language(definitions: Definitions) -> None:
    named = {key for source in sources() for key in NAMED.findall(source) if not key.endswith(".")}
    whole = {
        key for key in named if not any(other.startswith(key + ".") for other in definitions.core_texts["en"])
    }

    missing = [
        (locale, key)
        for locale in definitions.locales
        for key in sorted(whole)
        if key not in definitions.core_texts[locale]
    ]

    assert len(named) > 200
    assert missing == []


def test_no_page_text_is_there_for_nothing(definitions: Definitions) -> None:
    named = {key for source in sources() for key in NAMED.findall(source)}
    begun = {part for source in sources() for match in BEGUN.findall(source) for part in match if part}

    unused = [
        key
        for key in definitions.core_texts["en"]
        if key.startswith("web.") and key not in named and not any(key.startswith(start) for start in begun)
    ]

    assert unused == []


@pytest.mark.parametrize(
    ("start", "ends"),
    [
        pytest.param("web.status.stage.", (*WAY, "declined", "withdrawn"), id="stages"),
        pytest.param("web.status.phase.", (*WAY, "declined", "withdrawn"), id="phases"),
        pytest.param("web.status.next.", WAITS, id="who-is-next"),
        pytest.param("web.waits.", (*WAITS, "all"), id="waits"),
        pytest.param("web.waits_long.", (*WAITS, "all"), id="waits-long"),
        pytest.param("web.role.", ROLES, id="roles"),
        pytest.param(
            "web.bench.result.",
            ("done", "done_untested", "test_passed", "test_failed", "could_not", "saw"),
            id="results",
        ),
        pytest.param(
            "web.bench.blocked.",
            ("not_here.title", "hold.title", "consent.title", "stop.title"),
            id="blocked",
        ),
        pytest.param(
            "web.certainty.",
            ("confirmed", "heard", "derived", "not_known", "declined", "open"),
            id="certainty",
        ),
        pytest.param(
            "web.origin.", ("text", "tap", "form", "staff", "photo", "derived", "verified"), id="origins"
        ),
        pytest.param("web.outcome.ending.", ("fixed", "repairable", "end_of_life", "unknown"), id="endings"),
        pytest.param(
            "web.estimate.consent.", ("none", "accepted", "declined", "expired", "invoiced"), id="consent"
        ),
        pytest.param(
            "workshop.evidence.",
            ("seal_broken", "mixed_screws", "flux_residue", "tool_marks", "label_mismatch"),
            id="evidence",
        ),
    ],
)
def test_every_code_has_its_words(definitions: Definitions, start: str, ends: tuple[str, ...]) -> None:
    missing = [
        (locale, start + end)
        for locale in definitions.locales
        for end in ends
        if start + end not in definitions.core_texts[locale]
    ]

    assert missing == []


def test_every_reason_to_ask_for_a_person_has_its_words(definitions: Definitions) -> None:
    """The reasons are read from the conversation's own source, so that a new one cannot be forgotten."""
    sources = [path.read_text(encoding="utf-8") for path in (WEB.parent / "conversation").glob("*.py")]
    reasons = {reason for source in sources for reason in re.findall(r'hand_off\(\s*work,\s*"(\w+)"', source)}

    missing = [
        (locale, reason)
        for locale in definitions.locales
        for reason in sorted(reasons)
        if f"web.intake.reason.{reason}" not in definitions.core_texts[locale]
    ]

    assert {"too_long", "wants_out", "safety"} <= reasons
    assert missing == []


def test_every_group_and_every_fact_type_has_its_words(definitions: Definitions) -> None:
    from intakebot.web.form_lines import GROUPS, group_of

    family = definitions.families["disc_drive"]
    keys = [f"web.form.group.{group}" for group in GROUPS]
    keys += [
        f"web.form.problem.{kind}"
        for kind in ("choice", "choices", "yes_no", "text", "amount", "count", "date", "photo")
    ]

    assert [
        (locale, key)
        for locale in definitions.locales
        for key in keys
        if key not in definitions.core_texts[locale]
    ] == []
    assert {group_of(fact) for fact in family.facts.values()} <= set(GROUPS)
