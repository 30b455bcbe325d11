"""Jurisdiction profiles: each published rule's fields are in the superset, in the profile, and filled in the rendered form."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from intakebot.definitions import Definitions
from intakebot.definitions.model import Profile
from intakebot.quoting.profiles import FIELD_IDS, STATUTES, Statute, profile_check, profile_faults, statute_of


@pytest.mark.parametrize("statute", STATUTES, ids=[statute.id for statute in STATUTES])
def test_what_a_published_rule_asks_for_is_in_the_superset(statute: Statute) -> None:
    assert set(statute.required) <= set(FIELD_IDS)
    assert statute.source


def test_every_shipped_profile_is_complete(definitions: Definitions) -> None:
    problems = {profile.id: profile_faults(profile) for profile in definitions.pricing.profiles.values()}

    assert problems == dict.fromkeys(problems, ())


def test_shipped_caps_are_those_of_their_statutes(definitions: Definitions) -> None:
    """Ohio: the larger of 5 dollars or 10 %. Others: nothing above the figure, or no rule of that kind."""
    ohio = definitions.pricing.profiles["ohio"]

    assert (ohio.cap_rule, ohio.cap_amount, ohio.cap_percent) == ("larger_of", Decimal("5.00"), Decimal(10))


def test_a_profile_that_misses_a_field_of_its_statute_is_refused(definitions: Definitions) -> None:
    ohio = definitions.pricing.profiles["ohio"]
    without = tuple(name for name in ohio.required_fields if name != "right_to_estimate")

    problems = profile_faults(replace(ohio, required_fields=without))

    assert problems == (
        (
            "required_fields",
            "no 'right_to_estimate'",
            "it to be required (Ohio Administrative Code 109:4-3-05)",
        ),
    )


def test_the_european_form_holds_for_thirty_days_at_least(definitions: Definitions) -> None:
    """Directive (EU) 2024/1799 art. 4: terms fixed for at least 30 calendar days (from memory)."""
    short = replace(definitions.pricing.profiles["eu_repair_form"], minimum_validity_days=29)

    assert [(place, found) for place, found, _ in profile_faults(short)] == [("minimum_validity_days", "29")]


def test_a_cap_wider_than_the_statute_s_is_refused(definitions: Definitions) -> None:
    """Ohio Adm. Code 109:4-3-05: the larger of 5 dollars or 10 %."""
    ohio = definitions.pricing.profiles["ohio"]

    wide = profile_faults(replace(ohio, cap_percent=Decimal(15)))

    assert [(place, found) for place, found, _ in wide] == [("cap_rule", "larger_of 5.00, 15 %")]
    assert profile_faults(replace(ohio, cap_rule="none")) == ()


def test_intakebot_check_tells_what_a_profile_misses(definitions: Definitions) -> None:
    quebec = definitions.pricing.profiles["quebec"]
    short = replace(
        quebec, required_fields=tuple(name for name in quebec.required_fields if name != "warranty")
    )
    broken = replace(definitions, pricing=replace(definitions.pricing, profiles={"quebec": short}))

    assert [str(problem) for problem in profile_check(broken)] == [
        "pricing:1: profile quebec, required_fields: found no 'warranty', expected it to be required "
        "(Consumer Protection Act (Quebec) ss. 182-185)."
    ]
    assert profile_check(definitions) == []


def test_a_profile_with_an_unknown_field_is_refused(profile: Profile) -> None:
    odd = replace(profile, required_fields=(*profile.required_fields, "star_sign"))

    assert profile_faults(odd) == (("required_fields", "no field 'star_sign'", "fields that the form has"),)


@pytest.mark.parametrize("name", ["maximum", "not_legal_advice", "local_law", "valid_until"])
def test_every_profile_needs_a_maximum_and_says_it_is_no_advice(profile: Profile, name: str) -> None:
    without = replace(
        profile, required_fields=tuple(field for field in profile.required_fields if field != name)
    )

    assert profile_faults(without) == (
        ("required_fields", f"no {name!r}", "it to be required (every estimate says it)"),
    )


def test_a_negative_cap_is_refused(profile: Profile) -> None:
    assert profile_faults(replace(profile, cap_amount=Decimal(-1))) != ()


@pytest.mark.parametrize(
    ("profile_id", "statute"),
    [
        ("ohio", "ohio"),
        ("ohio_2027", "ohio"),
        ("california_receipt", "california_receipt"),
        ("ohioan", None),
        ("house", None),
    ],
)
def test_a_profile_follows_the_statute_its_id_begins_with(profile_id: str, statute: str | None) -> None:
    found = statute_of(profile_id)

    assert (found.id if found else None) == statute


def test_profiles_are_dated_and_sourced(definitions: Definitions) -> None:
    for profile in definitions.pricing.profiles.values():
        assert isinstance(profile.effective_from, date)
        assert profile.source.startswith(("published: ", "common practice"))
