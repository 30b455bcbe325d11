"""Which faults, from what is known: a posterior over fault sets, and what moved it.

Weights are kept as logarithms and normalised by log-sum-exp. What nobody answered drops out. Evidence that every
hypothesis calls (nearly) impossible is said to be so (`fits` is False) and is then believed only by half, so that no
fault is ruled out and the price widens; nothing is divided by zero.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from intakebot.definitions.facts import Answers
from intakebot.definitions.model import Family
from intakebot.triage import quickscore
from intakebot.triage.network import (
    FLOOR,
    Evidence,
    Network,
    clamped,
    clamped_leak,
    evidence_in,
    is_noisy_or,
    likelihood,
    network_of,
    prior_odds,
)

Floats = npt.NDArray[np.float64]

IMPOSSIBLE = 1e-12
"""Joint probability of the findings against the product of their single ones, below which they do not fit."""
BELIEVED = 0.5
"""Power to which likelihoods are raised when the findings do not fit."""
SMALLEST_SET_SHOWN = 1e-9
MOST_PRESENT = 10
"""Findings present that enter the estimate of the mass beyond small sets; Quickscore doubles with each."""


@dataclass(frozen=True)
class FaultSet:
    """These faults and no others, with their posterior probability."""

    faults: tuple[str, ...]
    probability: float


@dataclass(frozen=True)
class Contribution:
    """How far one finding moved each fault: log-odds with all findings less log-odds without this one.

    Faults moved by less than 0.005 are left out; the largest move comes first.
    """

    finding: str
    value: str
    certainty: float
    moved: Mapping[str, float]


@dataclass(frozen=True)
class Diagnosis:
    """The posterior over fault sets.

    evidence: findings that entered. fits: False when the findings do not fit the known faults. conflict: ln of the product
    of the findings' single probabilities over their joint one; above 0 they surprise together (Jensen et al. 1991, "Analysis
    in HUGIN of data conflict"). weights: [H] posterior of the network's hypotheses; odds: [F] before the findings.
    """

    evidence: tuple[Evidence, ...]
    fits: bool
    conflict: float
    network: Network = field(repr=False, compare=False)
    weights: Floats = field(repr=False, compare=False)
    odds: Floats = field(repr=False, compare=False)

    @cached_property
    def marginals(self) -> Mapping[str, float]:
        """fault -> P(present | evidence), falling. Faults may come together, so the sum may be above 1."""
        return _ranked(self.network.faults, self.weights @ self.network.members)

    @cached_property
    def prior(self) -> Mapping[str, float]:
        """fault -> P(present) before the findings, device, age and earlier work already considered."""
        return _ranked(
            self.network.faults, _normalised(_log_prior(self.network, self.odds)) @ self.network.members
        )

    @cached_property
    def sets(self) -> tuple[FaultSet, ...]:
        """The fault sets by falling probability; those below 1e-9 are left out."""
        order = np.argsort(-self.weights, kind="stable")
        return tuple(
            FaultSet(
                tuple(self.network.faults[fault] for fault in self.network.sets[row]),
                float(self.weights[row]),
            )
            for row in order.tolist()
            if self.weights[row] >= SMALLEST_SET_SHOWN
        )

    @cached_property
    def contributions(self) -> tuple[Contribution, ...]:
        """What each finding did, in the family's order of findings."""
        return _contributions(self)

    @cached_property
    def truncated_mass(self) -> float:
        """Posterior mass of sets larger than three faults; see `_truncated_mass`."""
        return _truncated_mass(self)

    def top(self, count: int) -> tuple[tuple[str, float], ...]:
        return tuple(self.marginals.items())[:count]


def diagnose(family: Family, answers: Answers) -> Diagnosis:
    """The posterior given the answers. Cached by the facts that triage looks at.

    Answers that are unknown or declined, and facts that no fault or finding looks at, change nothing.
    """
    network = network_of(family)
    used = {
        fact: answer for fact, answer in answers.items() if fact in network.facts and answer.value is not None
    }
    return _diagnose(network, tuple(sorted(used.items(), key=lambda item: item[0])))


@functools.lru_cache(maxsize=512)
def _diagnose(network: Network, answered: tuple[tuple[str, object], ...]) -> Diagnosis:
    answers: Answers = dict(answered)  # type: ignore[arg-type]
    odds = prior_odds(network, answers)
    evidence = evidence_in(network, answers)
    start = _log_prior(network, odds)
    before = _normalised(start)
    given = np.array([likelihood(network, each) for each in evidence]).reshape(len(evidence), len(start))
    logs = np.log(given)
    joint = _log_sum(start + logs.sum(axis=0)) - _log_sum(start)
    single = float(np.log(given @ before).sum())
    conflict = single - joint if evidence else 0.0
    fits = conflict <= -np.log(IMPOSSIBLE)
    if not fits:
        logs = BELIEVED * np.log(np.maximum(given, FLOOR))
    return Diagnosis(
        evidence=evidence,
        fits=bool(fits),
        conflict=conflict,
        network=network,
        weights=_normalised(start + logs.sum(axis=0)),
        odds=odds,
    )


def _log_prior(network: Network, odds: Floats) -> Floats:
    return network.members @ np.log(odds)


def _log_sum(logs: Floats) -> float:
    highest = float(logs.max())
    return highest + float(np.log(np.exp(logs - highest).sum()))


def _normalised(logs: Floats) -> Floats:
    weights = np.exp(logs - logs.max())
    return np.asarray(weights / weights.sum(), dtype=float)


def _ranked(faults: tuple[str, ...], chances: Floats) -> Mapping[str, float]:
    return dict(
        sorted(
            zip(faults, (float(min(max(chance, 0.0), 1.0)) for chance in chances), strict=True),
            key=lambda item: (-item[1], item[0]),
        )
    )


def _contributions(diagnosis: Diagnosis) -> tuple[Contribution, ...]:
    """By leaving one finding out at a time: posterior / its likelihood, normalised again."""
    network = diagnosis.network
    power = 1.0 if diagnosis.fits else BELIEVED
    now = _log_odds(diagnosis.weights @ network.members)
    found = []
    for each in diagnosis.evidence:
        chance = likelihood(network, each)
        if not diagnosis.fits:
            chance = np.maximum(chance, FLOOR)
        without = diagnosis.weights / chance**power
        moved = now - _log_odds(without @ network.members / without.sum())
        order = sorted(
            range(len(network.faults)), key=lambda fault: (-abs(moved[fault]), network.faults[fault])
        )
        found.append(
            Contribution(
                each.finding,
                each.value,
                each.certainty,
                {network.faults[fault]: float(moved[fault]) for fault in order if abs(moved[fault]) >= 0.005},
            )
        )
    return tuple(found)


def _log_odds(chances: Floats) -> Floats:
    safe = np.clip(chances, 1e-12, 1.0 - 1e-12)
    return np.asarray(np.log(safe / (1.0 - safe)), dtype=float)


def _truncated_mass(diagnosis: Diagnosis) -> float:
    """1 - (weight of sets up to three) / (weight of all non-empty sets), over the yes/no findings.

    Many-valued findings do not factorise over faults and are left out on both sides, and so are findings present beyond
    the first ten. The result says how much the limit on set size can matter, to a digit or two.
    """
    network = diagnosis.network
    faults = network.faults
    taken: list[Evidence] = []
    present = 0
    for each in diagnosis.evidence:
        if is_noisy_or(network.family.findings[each.finding]):
            plain_no = each.value == "no" and each.certainty >= 1.0
            present += not plain_no
            if plain_no or present <= MOST_PRESENT:
                taken.append(each)
    together = ~network.alone
    prior = diagnosis.odds / (1.0 + diagnosis.odds)
    findings = []
    for each in taken:
        finding = network.family.findings[each.finding]
        shown = np.array(
            [clamped(finding.raises[fault]) if fault in finding.raises else 0.0 for fault in faults]
        )[together]
        leak = clamped_leak(finding.leak)
        # P(said | faults) as in `likelihood`, written constant + slope * P(absent).
        constant, slope = (1.0 - each.certainty) * network.usual[each.finding][each.value], each.certainty
        if each.value == "yes":
            constant, slope = constant + each.certainty, -slope
        findings.append(quickscore.OneFinding(constant, slope, 1.0 - leak, 1.0 - shown))
    empty = float(np.prod(1.0 - prior[together]))
    nothing = empty * float(np.prod([f.constant + f.slope * f.unleaked for f in findings]))
    whole = quickscore.total(prior[together], findings) - nothing
    weight = np.exp(_log_prior(network, diagnosis.odds)) * empty
    for each in taken:
        weight = weight * likelihood(network, each)
    is_alone = network.members @ network.alone.astype(float) > 0
    small, alone = float(weight[~is_alone].sum()), float(weight[is_alone].sum())
    return min(max(1.0 - (small + alone) / (max(whole, small) + alone), 0.0), 1.0)
