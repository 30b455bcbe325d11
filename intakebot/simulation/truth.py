"""A hidden truth for one simulated customer: a device, its faults, and the answer to every intake fact.

Sampled from the definitions themselves, by the very model that triage uses: first what happened to the device (facts that move the
odds of faults), then the fault set by its prior given those, then findings by their likelihoods given the fault set, and facts so
that the findings' conditions hold. Facts that nothing looks at get ordinary answers. A truth is consistent with what facts
imply, as the talk's derived facts will be; what no customer could tell together is drawn anew.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from intakebot.definitions.facts import (
    AllOf,
    Answer,
    AnyOf,
    Comparison,
    Condition,
    NotOf,
    Value,
    facts_of,
    holds,
)
from intakebot.definitions.model import Choice, Family, Finding, Question
from intakebot.definitions.values import options_of
from intakebot.triage.network import network_of, prior_odds

MOST_DRAWS = 60
"""Draws until a truth is one that a customer could tell; the last one is taken as it is."""
PLAIN_SHARE = 0.7
"""Share of devices to which nothing in particular happened just before; the other options share the rest."""
HAZARD = 0.004
YES_SHARE = 0.12
READS_SOME = ("some_discs_fail", "only_one_disc", "intermittent_read", "skips")
COMPLAINTS = (
    *READS_SOME, "no_power", "no_display", "no_sound", "shuts_off", "disc_not_read", "loading_trouble", "drive_not_detected",
)  # fmt: skip
VAGUE = "someone"
ATTEMPT_SHARES = (("nobody", 0.72), ("owner", 0.14), ("friend", 0.05), ("shop", 0.09))


@dataclass(frozen=True)
class Truth:
    """faults: the true cause(s). facts: fact id -> true value."""

    faults: tuple[str, ...]
    facts: Mapping[str, Value]

    @property
    def answers(self) -> dict[str, Answer]:
        return {fact: Answer(value) for fact, value in self.facts.items()}


def true_choice(question: Question, truth: Truth) -> Choice | None:
    """The first choice of a question that is true of the device; None when none of them is."""
    return next((choice for choice in question.choices if is_true(choice, truth)), None)


def is_true(choice: Choice, truth: Truth) -> bool:
    """Whether all that a choice says is true; "someone" is true of every attempt that was made."""
    sets = {fact: value for fact, value in choice.sets.items() if value is not None}
    return bool(sets) and all(fits_truth(truth.facts.get(fact), value) for fact, value in sets.items())


def fits_truth(true: Value | None, said: Value) -> bool:
    """Whether a value said is right; "someone" says less than a name but nothing wrong."""
    return true == said or (said == VAGUE and true not in (None, "nobody"))


def sample_truth(family: Family, rng: random.Random) -> Truth:
    """One truth; the same state of `rng` gives the same one."""
    for _ in range(MOST_DRAWS):
        truth = _draw(family, rng)
        if _tellable(family, truth.facts):
            break
    return truth


def _draw(family: Family, rng: random.Random) -> Truth:
    facts: dict[str, Value] = {}
    device = rng.choice(sorted(family.devices))
    _set(family, facts, "device_kind", device)
    loadings = family.devices[device].loading
    if "loading" in family.facts and "loading" not in facts and loadings:
        facts["loading"] = rng.choice(loadings)
    for fact in family.facts.values():
        plays = family.devices[device].discs
        if fact.role == "disc_result" and (fact.disc_class not in plays or len(plays) == 1):
            facts[fact.id] = (
                "not_tried"  # of a device for one class only, nobody tells the class apart from "discs"
            )
    _background(family, facts, rng)
    network = network_of(family)
    odds = prior_odds(network, {fact: Answer(value) for fact, value in facts.items()})
    logs = network.members @ np.log(odds)
    row = rng.choices(range(len(network.sets)), np.exp(logs - logs.max()).tolist())[0]
    # Findings with many values first: they say most, and the plain ones have to fit them.
    for finding in sorted(family.findings.values(), key=lambda finding: len(finding.values) <= 2):
        if finding.stage == "intake":
            shares = {value: float(chance[row]) for value, chance in network.given[finding.id].items()}
            _sample_finding(family, finding, shares, facts, rng)
    _fill(family, device, facts, rng)
    _make_plain(facts)
    return Truth(
        tuple(sorted(network.faults[fault] for fault in network.sets[row])), dict(sorted(facts.items()))
    )


def _background(family: Family, facts: dict[str, Value], rng: random.Random) -> None:
    """What happened before: attempts, age, accidents; they shift the odds of faults."""
    opened = _weighted(ATTEMPT_SHARES, rng)
    for fact in family.facts.values():
        if fact.id in facts or "bench" in fact.purposes:
            continue
        if fact.role == "attempt":
            who = opened if fact.id == "opened" else "nobody"
            if opened != "nobody" and fact.id != "opened" and rng.random() < 0.2:
                who = opened
            facts[fact.id] = who
        elif fact.role == "age_years":
            facts[fact.id] = rng.choice((1, 5, 10, 20))
        elif fact.role == "hazard":
            facts[fact.id] = "yes" if rng.random() < HAZARD else "no"
        elif fact.role == "part_place":
            facts[fact.id] = _weighted((("in_device", 0.8), ("loose_in_box", 0.1), ("lost", 0.1)), rng)
        elif fact.role == "part_candidates":
            facts[fact.id] = rng.choice((1, 2))
    for fact_id in sorted(
        _moves_odds(family) - facts.keys(), key=lambda each: (each == "started_after", each)
    ):
        fact = family.facts[fact_id]
        if fact.type == "yes_no":
            _set(family, facts, fact_id, "yes" if rng.random() < YES_SHARE else "no")
        elif fact_id == "started_after":
            _set(family, facts, fact_id, _what_happened(family, facts, rng))


def _what_happened(family: Family, facts: Mapping[str, Value], rng: random.Random) -> str:
    """What happened just before it began: mostly nothing; never what other facts deny."""
    options = [
        option
        for option in family.facts["started_after"].options
        if _fits(family, facts, {"started_after": option})
        and not (option == "opening" and facts.get("opened") == "nobody")
    ]
    each = (1 - PLAIN_SHARE) / max(len(family.facts["started_after"].options) - 1, 1)
    return _weighted(tuple((o, PLAIN_SHARE if o == "nothing" else each) for o in options), rng)


def _moves_odds(family: Family) -> frozenset[str]:
    """Facts that change the odds of faults or what steps can still do, and that no finding looks at."""
    moving = {
        fact
        for fault in family.faults.values()
        for change in fault.odds_when
        for fact in facts_of(change.when)
    }
    moving |= {
        fact for step in family.steps.values() for change in step.tried for fact in facts_of(change.when)
    }
    return frozenset(moving) - _in_findings(family)


def _in_findings(family: Family) -> frozenset[str]:
    return frozenset(
        fact
        for finding in family.findings.values()
        for condition in finding.values.values()
        for fact in facts_of(condition)
    )


def _sample_finding(
    family: Family, finding: Finding, shares: dict[str, float], facts: dict[str, Value], rng: random.Random
) -> None:
    answers = {fact: Answer(value) for fact, value in facts.items()}
    if finding.applies_when is not None and holds(finding.applies_when, answers) is not True:
        return
    while shares:
        value = _weighted(tuple(sorted(shares.items())), rng)
        wanted = assignment(finding.values[value], facts, rng)
        if wanted is not None and _fits(family, facts, wanted):
            for fact, fact_value in wanted.items():
                _set(family, facts, fact, fact_value)
            return
        del shares[value]


def assignment(
    condition: Condition, facts: Mapping[str, Value], rng: random.Random
) -> dict[str, Value] | None:
    """Values for the facts still open that make a condition hold with the facts given; None when that cannot be."""
    if isinstance(condition, Comparison):
        return _of_comparison(condition, facts)
    if isinstance(condition, AllOf):
        found: dict[str, Value] = {}
        for part in condition.parts:
            more = assignment(part, {**facts, **found}, rng)
            if more is None:
                return None
            found |= more
        return found
    if isinstance(condition, AnyOf):
        parts = list(condition.parts)
        rng.shuffle(parts)
        for part in parts:
            some = assignment(part, facts, rng)
            if some is not None:
                return some
        return None
    if isinstance(condition, NotOf):
        answers = {fact: Answer(value) for fact, value in facts.items()}
        return {} if holds(condition, answers) is True else None
    return None


def _of_comparison(condition: Comparison, facts: Mapping[str, Value]) -> dict[str, Value] | None:
    if condition.op == "exists":
        wanted = condition.value in (None, True)
        return {} if (condition.fact in facts) == wanted else None
    if condition.fact in facts:
        answers = {condition.fact: Answer(facts[condition.fact])}
        return {} if holds(condition, answers) is True else None
    if condition.op == "=" and not isinstance(condition.value, bool) and condition.value is not None:
        return {condition.fact: condition.value}
    return None


def _fits(family: Family, facts: Mapping[str, Value], wanted: Mapping[str, Value]) -> bool:
    """Whether setting these would contradict a fact held, through what they imply."""
    for fact, value in wanted.items():
        for implied in family.facts[fact].implies:
            if implied.value == value and facts.get(implied.fact, implied.gives) != implied.gives:
                return False
    return True


def _set(family: Family, facts: dict[str, Value], fact: str, value: Value) -> None:
    """Set a fact and what it implies (facts held already stay)."""
    if fact not in family.facts or facts.get(fact) == value:
        return
    facts[fact] = value
    for implied in family.facts[fact].implies:
        if implied.value == value and implied.fact not in facts:
            _set(family, facts, implied.fact, implied.gives)


def _fill(family: Family, device: str, facts: dict[str, Value], rng: random.Random) -> None:
    """Ordinary answers for what is left; facts of findings that did not apply stay unknown to the customer."""
    plays = family.devices[device].discs
    in_findings = _in_findings(family)
    for fact in family.facts.values():
        if fact.id in in_findings and fact.role != "disc_result":
            continue
        if fact.id in facts or {"bench", "contact"} & set(fact.purposes) or fact.personal:
            continue
        if fact.role == "disc_result":
            if fact.disc_class not in plays or facts.get("no_power") == "yes":
                value: Value = "not_tried"
            else:
                value = "fails" if facts.get("disc_not_read") == "yes" else rng.choice(("plays", "not_tried"))
            if value == "plays" and not _fits(family, facts, {fact.id: value}):
                value = "not_tried"
            _set(family, facts, fact.id, value)
        elif fact.id == "main_symptom":
            facts[fact.id] = _main_symptom(facts)
        elif fact.type == "yes_no" and "safety" not in fact.purposes:
            wanted = "yes" if rng.random() < YES_SHARE and not fact.implies else "no"
            _set(family, facts, fact.id, wanted)
        elif fact.type == "yes_no":
            facts[fact.id] = "no"
        elif fact.type == "choice" and "triage" in fact.purposes and not fact.role:
            fitting = [option for option in options_of(fact) if _fits(family, facts, {fact.id: option})]
            if fitting:
                _set(family, facts, fact.id, rng.choice(fitting))


def _make_plain(facts: dict[str, Value]) -> None:
    """No time of a noise that is not there."""
    if facts.get("noise") == "none":
        facts.update({fact: "no" for fact in ("noise_at_power_on", "noise_with_disc") if fact in facts})


def _tellable(family: Family, facts: Mapping[str, Value]) -> bool:
    """Whether one customer could tell all of it of one device.

    Not: a tray that will not close on a device without one; reading something though every class tried fails, or
    nothing at all though one class plays; reading as the moment it fails though it reads; a device that has no complaint.
    """
    results = {
        facts[fact.id] for fact in family.facts.values() if fact.role == "disc_result" and fact.id in facts
    }
    reads_some = any(facts.get(fact) == "yes" for fact in READS_SOME)
    if facts.get("tray_wont_close") == "yes" and facts.get("loading") != "tray":
        return False
    if (
        "fails" in results
        and "plays" not in results
        and facts.get("disc_not_read") == "no"
        and not reads_some
    ):
        return False
    if facts.get("when_fails") == "reading" and facts.get("disc_not_read") == "no" and not reads_some:
        return False
    return "fails" in results or any(facts.get(fact) == "yes" for fact in COMPLAINTS)


def _main_symptom(facts: Mapping[str, Value]) -> str:
    """What the customer would name first."""
    order = (
        ("no_power", "something_else"), ("loading_trouble", "loading"), ("disc_not_read", "reading"), ("skips", "skipping"),
        ("some_discs_fail", "reading"), ("only_one_disc", "reading"), ("intermittent_read", "reading"),
    )  # fmt: skip
    named = next((name for fact, name in order if facts.get(fact) == "yes"), None)
    if named is not None:
        return named
    failing = any(fact.endswith("_result") and value == "fails" for fact, value in facts.items())
    return "reading" if failing else "something_else"


def _weighted(shares: tuple[tuple[str, float], ...], rng: random.Random) -> str:
    names = [name for name, _ in shares]
    return rng.choices(names, [max(weight, 0.0) for _, weight in shares])[0]
