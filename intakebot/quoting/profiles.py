"""What a written estimate has to hold: the fields this project can fill, and what published rules ask for.

General information, not legal advice; the form says so itself. `STATUTES` restates public rules in our own field ids so that a
profile that claims to follow one cannot leave out a field it asks for. A profile follows the statute whose id it carries, alone
or as a beginning (`ohio`, `ohio_2027`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from intakebot.definitions.model import Definitions, Profile
from intakebot.definitions.problems import Problem

FIELD_IDS: tuple[str, ...] = (
    "repairer_name", "repairer_registration", "repairer_address", "repairer_phone", "repairer_email", "repairer_website",
    "customer_name", "customer_address", "customer_phone", "customer_email",
    "reference", "quote_number", "date_given", "valid_until",
    "item", "model", "serial", "accessories", "discs", "customer_words",
    "fault_suspected", "proposed_work", "parts", "labour", "labour_rate", "assessment_fee", "shipping_to_shop",
    "return_shipping", "tax", "price", "price_range", "maximum", "if_not_repaired", "deposit", "completion_date",
    "loan_item", "drop_off_place", "extras",
    "old_parts", "data_loss_notice", "refurbished_parts_notice", "warranty", "consent_log",
    "if_declined", "if_unpaid", "if_uncollected", "local_law", "not_legal_advice", "right_to_estimate", "cap_rule",
)  # fmt: skip
"""Every field a profile may require: the superset of the rules below and of good practice."""

ALWAYS_REQUIRED = ("repairer_name", "item", "maximum", "valid_until", "local_law", "not_legal_advice")
"""A range needs a maximum, and the form says that it is no legal advice (house rule)."""


@dataclass(frozen=True)
class Statute:
    """A published rule. cap: (kind, amount, percent) as in `Profile`, or None when it sets none."""

    id: str
    required: tuple[str, ...]
    source: str
    minimum_validity_days: int = 0
    cap: tuple[str, str, str] | None = None


STATUTES: tuple[Statute, ...] = (
    Statute(
        "eu_repair_form",
        (
            "repairer_name", "repairer_address", "repairer_phone", "repairer_email", "item", "fault_suspected",
            "proposed_work", "price", "maximum", "completion_date", "loan_item", "drop_off_place", "extras", "valid_until",
        ),
        "Directive (EU) 2024/1799 art. 4 and Annex I; list and 30 days from memory",
        minimum_validity_days=30,
    ),
    Statute(
        "california",
        ("repairer_name", "parts", "labour", "assessment_fee", "maximum", "tax"),
        "California Business and Professions Code 9844; 16 CCR 2722",
        cap=("amount", "0", "0"),
    ),
    Statute(
        "california_receipt",
        (
            "repairer_name", "repairer_registration", "repairer_address", "repairer_phone", "date_given", "item", "model",
            "serial", "customer_words", "customer_name", "customer_address",
        ),
        "16 CCR 2721",
    ),
    Statute(
        "quebec",
        (
            "repairer_name", "repairer_address", "customer_name", "customer_address", "item", "proposed_work", "price",
            "date_given", "valid_until", "old_parts", "warranty",
        ),
        "Consumer Protection Act (Quebec) ss. 182-185",
        cap=("amount", "0", "0"),
    ),
    Statute(
        "ohio",
        (
            "date_given", "repairer_name", "customer_name", "customer_phone", "completion_date", "price", "assessment_fee",
            "old_parts", "right_to_estimate", "cap_rule",
        ),
        "Ohio Administrative Code 109:4-3-05",
        cap=("larger_of", "5", "10"),
    ),
    Statute(
        "australia",
        ("data_loss_notice", "refurbished_parts_notice"),
        "Australian Consumer Law, repair notices, since 1 July 2011",
    ),
    Statute(
        "ireland",
        ("repairer_name", "repairer_address", "repairer_phone", "repairer_email", "proposed_work", "price", "tax"),
        "Ireland, Consumer Rights Act 2022 s. 104",
    ),
)  # fmt: skip


def statute_of(profile_id: str) -> Statute | None:
    """The statute a profile claims to follow by its id: the longest id that is the whole or the beginning of it."""
    fitting = [
        statute for statute in STATUTES if profile_id == statute.id or profile_id.startswith(statute.id + "_")
    ]
    return max(fitting, key=lambda statute: len(statute.id), default=None)


Fault = tuple[str, str, str]
"""Where in the profile, what was found, what was expected."""


def profile_faults(profile: Profile) -> tuple[Fault, ...]:
    """Why a profile cannot be used; empty when it can."""
    faults: list[Fault] = [
        ("required_fields", f"no field {name!r}", "fields that the form has")
        for name in profile.required_fields
        if name not in FIELD_IDS
    ]
    faults += _missing(profile, ALWAYS_REQUIRED, "every estimate says it")
    statute = statute_of(profile.id)
    if statute is not None:
        faults += _missing(profile, statute.required, statute.source)
        if profile.minimum_validity_days < statute.minimum_validity_days:
            expected = f"at least {statute.minimum_validity_days} ({statute.source})"
            faults.append(("minimum_validity_days", str(profile.minimum_validity_days), expected))
        if statute.cap is not None and statute.cap[0] == "larger_of" and not _within(profile, statute.cap):
            expected = (
                f"the larger of {statute.cap[1]} or {statute.cap[2]} percent, or less ({statute.source})"
            )
            faults.append(
                ("cap_rule", f"{profile.cap_rule} {profile.cap_amount}, {profile.cap_percent} %", expected)
            )
    if profile.cap_amount < 0 or profile.cap_percent < 0 or profile.minimum_validity_days < 0:
        faults.append(("cap_amount, cap_percent, minimum_validity_days", "a number below 0", "0 or more"))
    return tuple(faults)


def _missing(profile: Profile, names: Iterable[str], why: str) -> list[Fault]:
    return [
        ("required_fields", f"no {name!r}", f"it to be required ({why})")
        for name in names
        if name not in profile.required_fields
    ]


def _within(profile: Profile, cap: tuple[str, str, str]) -> bool:
    """Whether a profile's cap is at most a statute's "larger of" cap. No cap of its own: the maximum alone holds, which is stricter."""
    return profile.cap_rule == "none" or (
        profile.cap_amount <= Decimal(cap[1]) and profile.cap_percent <= Decimal(cap[2])
    )


def profile_check(definitions: Definitions) -> list[Problem]:
    """Every reason why a shipped profile cannot be used, as the other problems of definitions are told."""
    return [
        Problem("pricing", 1, f"profile {profile.id}, {place}", found, expected)
        for profile in definitions.pricing.profiles.values()
        for place, found, expected in profile_faults(profile)
    ]
