"""Small families and cases for tests; all numbers invented unless a test says otherwise."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal

from intakebot.definitions.facts import Answer, Comparison, Value
from intakebot.definitions.model import (
    Fact,
    Family,
    Fault,
    Finding,
    GivingUp,
    Level,
    PlayTest,
    Pricing,
    RateCard,
    Step,
)

DAY = date(2026, 11, 25)
INVENTED = "invented for the demo"


def yes_no(fact: str) -> Fact:
    return Fact(fact, "yes_no", (), ("triage",), "medium")


def said(fact: str, value: Value) -> Comparison:
    return Comparison(fact, "=", value)


def finding(name: str, raises: Mapping[str, float], leak: float) -> Finding:
    """A yes/no finding that reads the fact of the same name."""
    values = {"yes": said(name, "yes"), "no": said(name, "no")}
    return Finding(name, values, INVENTED, leak=leak, raises=raises)


def family(
    faults: Mapping[str, float] | Sequence[Fault],
    findings: Sequence[Finding] = (),
    steps: Sequence[Step] = (),
    levels: Sequence[Level] = (),
    facts: Sequence[Fact] = (),
    test_minutes: float = 0.0,
    give_up: tuple[float, str] = (0.0, "0.00"),
) -> Family:
    records = (
        [Fault(name, prior, True, INVENTED) for name, prior in faults.items()]
        if isinstance(faults, Mapping)
        else list(faults)
    )
    known = {fact.id: fact for fact in facts}
    for each in findings:
        known.setdefault(each.id, yes_no(each.id))
    every_level = levels or [Level("outside", None, 0.0, 0.0, True, INVENTED)]
    return Family(
        id="small",
        title_key="family.title",
        version="1",
        devices={},
        disc_classes={},
        facts=known,
        questions={},
        faults={fault.id: fault for fault in records},
        findings={each.id: each for each in findings},
        levels={level.id: level for level in every_level},
        steps={step.id: step for step in steps},
        cautions={},
        paired_parts={},
        enclosures=(),
        leave_outs=(),
        play_test=PlayTest(test_minutes, INVENTED),
        giving_up=GivingUp(give_up[0], Decimal(give_up[1]), INVENTED),
        phrases={},
        texts={},
    )


def answers(**values: Value) -> dict[str, Answer]:
    return {fact: Answer(value) for fact, value in values.items()}


def hourly(pricing: Pricing, rate: str) -> RateCard:
    """The latest shipped rate card with another labour rate."""
    return replace(pricing.rate_cards[-1], hourly_rate=Decimal(rate))


def no_parts(pricing: Pricing) -> Pricing:
    return replace(pricing, parts={})
