"""A family's faults and findings as arrays: every fault set of up to three, and how likely each makes each finding.

Theory: faults are independent with their own prior odds; findings are independent given the faults (noisy-OR with leak,
or the row of the dominant fault for a many-valued finding). A hypothesis is a non-empty set of at most three faults; the
device is known to have a complaint. A fault marked `alone` is only ever a hypothesis by itself.

Likelihoods are kept off 0 and 1 (`FLOOR`): judgement is never certain, and one wrong answer must not rule a fault out.
Source: D. Heckerman, "A tractable inference algorithm for diagnosing multiple diseases" (1989), for the model; the
restriction to small sets and the constants are ours.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from intakebot.definitions.facts import ALWAYS, Answer, Answers, Condition, facts_of, holds
from intakebot.definitions.model import Family, Finding, OddsChange

Floats = npt.NDArray[np.float64]

LARGEST_SET = 3
FLOOR = 1e-3
"""Smallest and, from 1, largest chance that a fault shows a finding; also the smallest leak and share of a value."""
LARGEST_LEAK = 0.5


@dataclass(frozen=True, eq=False)
class Network:
    """F faults, H hypotheses.

    sets: the fault numbers of each hypothesis; padded: [H, 3], the same filled up with F. members: [H, F], 1 where the
    fault is in the set. given: per finding and
    value, [H] P(value | hypothesis). usual: the same for any device of the
    family. alone: [F] bool. looks_at: facts of each finding. facts: all that triage looks at.
    """

    family: Family
    faults: tuple[str, ...]
    sets: tuple[tuple[int, ...], ...]
    members: Floats
    padded: npt.NDArray[np.int64]
    given: Mapping[str, Mapping[str, Floats]]
    alone: npt.NDArray[np.bool_]
    usual: Mapping[str, Mapping[str, float]]
    looks_at: Mapping[str, tuple[str, ...]]
    device_fact: str | None
    facts: frozenset[str]


class _Same:
    """Wraps a family so that it can be a cache key by identity (families hold mappings and have no hash)."""

    def __init__(self, family: Family) -> None:
        self.family = family

    def __hash__(self) -> int:
        return id(self.family)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.family is self.family


def network_of(family: Family) -> Network:
    """The family's network, built once for each family object."""
    return _build(_Same(family))


@functools.lru_cache(maxsize=16)
def _build(key: _Same) -> Network:
    family = key.family
    faults = tuple(family.faults)
    alone = np.array([family.faults[fault].alone for fault in faults], dtype=bool)
    together = [index for index in range(len(faults)) if not alone[index]]
    sets: list[tuple[int, ...]] = [(index,) for index in range(len(faults))]
    for size in range(2, LARGEST_SET + 1):
        sets.extend(combinations(together, size))
    members = np.zeros((len(sets), len(faults)))
    for row, chosen in enumerate(sets):
        members[row, list(chosen)] = 1.0
    device_fact = next((fact.id for fact in family.facts.values() if fact.role == "device_kind"), None)
    used = {device_fact} if device_fact else set()
    for fault in family.faults.values():
        used |= {fact for change in fault.odds_when for fact in facts_of(change.when)}
    for finding in family.findings.values():
        used |= finding_facts(finding)
    for step in family.steps.values():
        used |= {fact for change in step.tried for fact in facts_of(change.when)}
        used |= facts_of(step.only_when) if step.only_when is not None else set()
    used |= {part.candidates_fact for part in family.paired_parts.values() if part.candidates_fact}
    given = {finding.id: _given(finding, faults, members) for finding in family.findings.values()}
    priors = np.clip([family.faults[fault].prior for fault in faults], 1e-6, 1.0 - 1e-6)
    weights = np.exp(members @ np.log(priors / (1.0 - priors)))
    weights /= weights.sum()
    return Network(
        family=family,
        faults=faults,
        sets=tuple(sets),
        members=members,
        padded=np.array(
            [chosen + (len(faults),) * (LARGEST_SET - len(chosen)) for chosen in sets], dtype=np.int64
        ),
        given=given,
        usual={
            finding: {value: float(chance @ weights) for value, chance in values.items()}
            for finding, values in given.items()
        },
        alone=alone,
        looks_at={finding.id: tuple(sorted(finding_facts(finding))) for finding in family.findings.values()},
        device_fact=device_fact,
        facts=frozenset(used),
    )


def finding_facts(finding: Finding) -> set[str]:
    """Every fact the finding looks at."""
    found: set[str] = set()
    for condition in (*finding.values.values(), finding.applies_when or ALWAYS):
        found |= facts_of(condition)
    return found


def is_noisy_or(finding: Finding) -> bool:
    return set(finding.values) == {"yes", "no"} and not finding.rows


def clamped(chance: float) -> float:
    return min(max(chance, FLOOR), 1.0 - FLOOR)


def clamped_leak(leak: float | None) -> float:
    return min(max(leak or 0.0, FLOOR), LARGEST_LEAK)


def _given(finding: Finding, faults: tuple[str, ...], members: Floats) -> dict[str, Floats]:
    if is_noisy_or(finding):
        spared = np.array(
            [
                np.log1p(-clamped(finding.raises[fault])) if fault in finding.raises else 0.0
                for fault in faults
            ]
        )
        no = (1.0 - clamped_leak(finding.leak)) * np.exp(members @ spared)
        return {"yes": 1.0 - no, "no": no}
    values = tuple(finding.values)
    base = _shares(finding.base, values)
    rows = [_shares(finding.rows[fault], values) if fault in finding.rows else base for fault in faults]
    normal = values.index(finding.normal) if finding.normal in values else 0
    has_row = np.array([fault in finding.rows for fault in faults])
    # The dominant fault gives the smallest share to the normal value; without a row a fault dominates nobody.
    rank = np.where(has_row, np.array([row[normal] for row in rows]), np.inf)
    table = np.array([*rows, base])
    ranked = np.where(members > 0, rank, np.inf)
    dominant = np.where(np.isfinite(ranked.min(axis=1)), ranked.argmin(axis=1), len(faults))
    shares = table[dominant]
    return {value: shares[:, column] for column, value in enumerate(values)}


def _shares(row: Mapping[str, float], values: tuple[str, ...]) -> Floats:
    shares = np.array([max(row.get(value, 0.0), FLOOR) for value in values])
    return shares / shares.sum()


# ---- what the answers say ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Evidence:
    """One finding with a value. certainty: probability that the value is meant (1 for a plain answer)."""

    finding: str
    value: str
    certainty: float


def evidence_in(network: Network, answers: Answers) -> tuple[Evidence, ...]:
    """Every finding whose value follows from the answers, in the family's order.

    A finding whose `applies_when` does not hold, or none of whose conditions holds, drops out.
    """
    found = (reading(network, finding, answers) for finding in network.family.findings)
    return tuple(each for each in found if each is not None)


def reading(network: Network, finding_id: str, answers: Answers) -> Evidence | None:
    """What the answers say about one finding; None when it drops out. Kept by the facts that it looks at."""
    return _reading(network, finding_id, tuple(map(answers.get, network.looks_at[finding_id])))


@functools.lru_cache(maxsize=16384)
def _reading(network: Network, finding_id: str, told: tuple[Answer | None, ...]) -> Evidence | None:
    pairs = zip(network.looks_at[finding_id], told, strict=True)
    answers = {fact: answer for fact, answer in pairs if answer is not None}
    finding = network.family.findings[finding_id]
    if finding.applies_when is not None and holds(finding.applies_when, answers) is not True:
        return None
    for value, condition in finding.values.items():
        if holds(condition, answers) is True:
            return Evidence(finding_id, value, certainty_of(condition, answers))
    return None


def certainty_of(condition: Condition, answers: Answers) -> float:
    """How sure it is that a condition which holds really does: the weakest link of `all`, the best of `any`."""
    parts = getattr(condition, "parts", None)
    if parts is None:
        inner = getattr(condition, "part", None)
        if inner is not None:
            return certainty_of(inner, answers)
        answer = answers.get(getattr(condition, "fact", ""))
        return 1.0 if answer is None else answer.certainty
    known = [certainty_of(part, answers) for part in parts if facts_of(part) & answers.keys()]
    if not known:
        return 1.0
    if type(condition).__name__ == "AnyOf":
        true = [certainty_of(part, answers) for part in parts if holds(part, answers) is True]
        return max(true, default=max(known))
    return min(known)


def likelihood(network: Network, evidence: Evidence) -> Floats:
    """[H] P(what was said | hypothesis).

    A value that is only probably meant enters as virtual evidence (Pearl 1988): with its certainty it tells about the
    device; otherwise it tells nothing, and is said as often as the value comes with any device. So doubt weakens
    evidence, down to nothing, and never turns it round; a rare sign stays a strong one when it was plainly said.
    """
    chance = network.given[evidence.finding][evidence.value]
    if evidence.certainty >= 1.0:
        return chance
    usual = network.usual[evidence.finding][evidence.value]
    return evidence.certainty * chance + (1.0 - evidence.certainty) * usual


def prior_odds(network: Network, answers: Answers) -> Floats:
    """[F] odds of each fault before the findings: the device's own prior, then every change whose condition holds."""
    return np.array([fault_odds(network, fault, answers) for fault in network.faults])


def fault_odds(network: Network, fault_id: str, answers: Answers) -> float:
    """Odds of one fault before the findings."""
    fault = network.family.faults[fault_id]
    device = answers.get(network.device_fact) if network.device_fact else None
    prior = fault.prior
    if device is not None and isinstance(device.value, str) and device.value in fault.by_device:
        prior += device.certainty * (fault.by_device[device.value] - prior)
    prior = min(max(prior, 1e-6), 1.0 - 1e-6)
    return prior / (1.0 - prior) * math.prod(factor(change, answers) for change in fault.odds_when)


def factor(change: OddsChange, answers: Answers) -> float:
    """What the change multiplies by: 1 unless its condition holds; in between when that is only probable."""
    if holds(change.when, answers) is not True:
        return 1.0
    certainty = certainty_of(change.when, answers)
    return 1.0 + certainty * (change.times - 1.0)
