"""The weight of *all* fault sets, not only the small ones, by Heckerman's Quickscore (1989).

    P(F+, F-) = sum over A in F+ of (-1)^|A| * prod_{f in A or F-} (1 - leak_f) * prod_d [(1-pi_d) + pi_d * prod_{f in A or F-} (1-lam_df)]

Each finding contributes a + b * P(absent | faults): (0, 1) when it is absent, (1, -1) when present, in between when only
probably meant. The sum has 2^m terms for m findings that are not plainly absent; it alternates, so it loses digits for
many of them. It is used only for the mass beyond small sets; the posterior itself is enumerated in log space.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class OneFinding:
    """constant + slope * P(absent | faults); spared: [F] 1 - P(fault alone shows it); unleaked: 1 - leak."""

    constant: float
    slope: float
    unleaked: float
    spared: Floats


def present(leak: float, shown: Floats) -> OneFinding:
    return OneFinding(1.0, -1.0, 1.0 - leak, 1.0 - shown)


def absent(leak: float, shown: Floats) -> OneFinding:
    return OneFinding(0.0, 1.0, 1.0 - leak, 1.0 - shown)


def total(prior: Floats, findings: Sequence[OneFinding]) -> float:
    """P(all findings), over every subset of faults, the empty one among them."""
    signs, spared = _terms(len(prior), findings)
    return float(signs @ np.prod((1.0 - prior) + prior * spared, axis=1))


def marginals(prior: Floats, findings: Sequence[OneFinding]) -> Floats:
    """P(fault | all findings) for each fault, over every subset of faults."""
    signs, spared = _terms(len(prior), findings)
    factors = (1.0 - prior) + prior * spared
    whole = np.prod(factors, axis=1)
    joint = signs @ (whole[:, None] / factors * prior * spared)
    return np.asarray(joint / (signs @ whole), dtype=float)


def _terms(size: int, findings: Sequence[OneFinding]) -> tuple[Floats, Floats]:
    """Sign and leak product [2^m], and spared product [2^m, F] of each term of the sum."""
    signs, spared = np.ones(1), np.ones((1, size))
    for finding in findings:
        with_it = (finding.slope * finding.unleaked * signs, spared * finding.spared)
        if finding.constant == 0.0:
            signs, spared = with_it
        else:
            signs = np.concatenate([finding.constant * signs, with_it[0]])
            spared = np.concatenate([spared, with_it[1]])
    return signs, spared
