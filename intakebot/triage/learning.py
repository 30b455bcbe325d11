"""What bench outcomes teach: fault shares, success chances, and how faults show.

Everything is conjugate counting with a stated strength, so a few boxes never overrule the trade and many do. Boxes that
were given up are not "no fault": the caller adds their causes weighted by the posterior. Steps late in a plan are tried only
on hard boxes; success chances therefore come from `step_chance` with the posterior chance that the fault was still there, never
from raw success rates.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from intakebot.definitions.model import Family

Floats = npt.NDArray[np.float64]


def beta_mean(prior: float, strength: float, successes: float, trials: float) -> float:
    """Posterior mean of a chance: Beta(strength * prior, strength * (1 - prior)) after successes in trials."""
    return (strength * prior + successes) / (strength + trials)


def exclusive_shares(
    prior: Mapping[str, float], strength: float, counts: Mapping[str, float]
) -> dict[str, float]:
    """Shares of exclusive causes: Dirichlet(strength * prior) after counts; sums to the sum of `prior`, normally 1."""
    whole = sum(prior.values())
    seen = sum(counts.get(fault, 0.0) for fault in prior)
    return {
        fault: whole * (strength * share / whole + counts.get(fault, 0.0)) / (strength + seen)
        for fault, share in prior.items()
    }


def with_learned_priors(family: Family, counts: Mapping[str, float], strength: float = 20.0) -> Family:
    """The family with its fault priors moved by true causes counted at the bench.

    Shares of the odds are updated as a Dirichlet; their sum, which says how often faults come together, stays. by_device
    priors move by the same factor. Changed faults carry the source `learned`.
    """
    odds = {fault.id: fault.prior / (1.0 - fault.prior) for fault in family.faults.values()}
    updated = exclusive_shares(odds, strength, counts)
    faults = {}
    for fault in family.faults.values():
        times = updated[fault.id] / odds[fault.id] if odds[fault.id] > 0 else 1.0
        faults[fault.id] = replace(
            fault,
            prior=_times(fault.prior, times),
            by_device={device: _times(prior, times) for device, prior in fault.by_device.items()},
            source=f"learned; {sum(counts.values()):g} outcomes on top of: {fault.source}",
        )
    return replace(family, faults=faults)


def _times(prior: float, times: float) -> float:
    odds = prior / (1.0 - prior) * times
    return odds / (1.0 + odds)


@dataclass(frozen=True)
class StepTry:
    """One try of a step on a fault. present: posterior chance that the fault was there (1 when known); worked: the test passed."""

    present: float
    worked: bool


def step_chance(prior: float, strength: float, tries: Sequence[StepTry]) -> float:
    """P(step cures the fault) after these tries, each counted by the chance that the fault was there at all."""
    trials = sum(each.present for each in tries)
    successes = sum(each.present for each in tries if each.worked)
    return beta_mean(prior, strength, successes, trials)


def learn_noisy_or(
    shown: Floats,
    leak: float,
    present: npt.NDArray[np.bool_],
    seen: npt.NDArray[np.bool_],
    strength: float,
    rounds: int = 50,
) -> tuple[Floats, float]:
    """P(fault shows the finding) and the leak, from boxes whose faults are known, by EM.

    Args:
        shown: [F] current values, also the prior means. leak: current value and prior mean.
        present: [boxes, F] which faults a box had. seen: [boxes] whether the finding was there.
        strength: boxes that the prior counts as, for each number.
    Returns:
        New shown [F] and leak.
    """
    prior_shown, prior_leak = shown.copy(), leak
    for _ in range(rounds):
        spared = np.where(present, 1.0 - shown, 1.0).prod(axis=1)
        chance = np.maximum(1.0 - (1.0 - leak) * spared, 1e-12)
        by_fault = np.where(present & seen[:, None], shown / chance[:, None], 0.0)
        by_leak = np.where(seen, leak / chance, 0.0)
        shown = (strength * prior_shown + by_fault.sum(axis=0)) / (strength + present.sum(axis=0))
        leak = float((strength * prior_leak + by_leak.sum()) / (strength + len(seen)))
    return shown, leak
