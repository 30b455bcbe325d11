"""Fault sets with their probabilities as arrays, and P(still broken) for many cases at once.

A set h is repaired with probability prod_{f in h} s_f, s_f = P(fault f is cured). For a few sets that is computed as it
stands. For hundreds of sets of up to three faults it is the polynomial

    repaired = sum_f p_f s_f + sum_{f<g} s_f s_g (p_fg + sum_{k>g} p_fgk s_k)

whose inner sums are one matrix product: the same number, many times faster.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

AT_ONCE = 1 << 18
"""Products formed at once, about. Small enough for the cache, and for the matrix library not to wake its threads, which costs
more than it gains inside a turn on a busy machine."""
ROUNDING = 1e-13
"""The polynomial subtracts from 1; anything below this is rounding."""
POLYNOMIAL_FROM = 96
"""Number of fault sets from which the polynomial pays."""


@dataclass(frozen=True, eq=False)
class FaultSets:
    """Weights over sets of named faults: members [H, m] are fault numbers, padded with len(faults)."""

    faults: tuple[str, ...]
    members: Ints
    weight: Floats


@dataclass(frozen=True, eq=False)
class _Polynomial:
    linear: Floats
    first: Ints
    second: Ints
    pair: Floats
    third: Floats
    whole: float


@dataclass(frozen=True, eq=False)
class Mixture:
    """members: [H, m] fault numbers, padded with F; weight: [H]; rest: mass that no step repairs."""

    members: Ints
    weight: Floats
    rest: float
    polynomial: _Polynomial | None

    def broken(self, cured: Floats) -> Floats:
        """R for rows of P(fault is cured): [k, F + 1] -> [k]. The last column must be 1."""
        if not len(self.weight):
            return np.full(len(cured), self.rest)
        if self.polynomial is not None:
            each, rows = self._by_polynomial, AT_ONCE // max(self.polynomial.third.size, 1)
        else:
            each, rows = self._plainly, AT_ONCE // len(self.weight)
        rows = max(rows, 16)
        parts = [each(cured[start : start + rows]) for start in range(0, len(cured), rows)]
        return np.concatenate(parts) if len(parts) > 1 else parts[0]

    def _plainly(self, cured: Floats) -> Floats:
        all_cured = cured[:, self.members[:, 0]]
        for column in range(1, self.members.shape[1]):
            all_cured *= cured[:, self.members[:, column]]
        return np.asarray(self.rest + (1.0 - all_cured) @ self.weight)

    def _by_polynomial(self, cured: Floats) -> Floats:
        known = self.polynomial
        assert known is not None
        each = cured[:, :-1]
        inner = each @ known.third.T
        inner += known.pair
        inner *= each[:, known.first]
        inner *= each[:, known.second]
        repaired = each @ known.linear + inner.sum(axis=1)
        broken = self.rest + known.whole - repaired
        return np.where(broken < ROUNDING, 0.0, broken)

    def lighter(self, most: int) -> Mixture:
        """Only the `most` weightiest sets, scaled to the same sum: for choices where a per cent does not matter."""
        if len(self.weight) <= most:
            return self
        kept = np.sort(np.argsort(-self.weight, kind="stable")[:most])
        weight = self.weight[kept]
        return Mixture(self.members[kept], weight * (self.weight.sum() / weight.sum()), self.rest, None)


def mixture_of(members: Sequence[Sequence[int]], weight: Sequence[float], faults: int) -> Mixture:
    """From sets of fault numbers; the mass missing from 1 is what no step repairs."""
    width = max((len(each) for each in members), default=1)
    padded = np.array([[*each, *[faults] * (width - len(each))] for each in members], dtype=np.int64)
    return _mixture(padded.reshape(len(members), width), np.array(weight, dtype=float), faults)


def mixture_within(sets: FaultSets, curable: Sequence[str]) -> Mixture:
    """The sets all of whose faults are curable, numbered as in `curable`; all others go to the rest."""
    place = {fault: index for index, fault in enumerate(curable)}
    number = np.array([*(place.get(fault, -1) for fault in sets.faults), len(curable)], dtype=np.int64)
    members = number[sets.members]
    kept = (members >= 0).all(axis=1) & (sets.weight > 0.0)
    return _mixture(np.sort(members[kept], axis=1), sets.weight[kept], len(curable))


def narrowed(mixture: Mixture, kept: npt.NDArray[np.bool_]) -> Mixture:
    """With some faults only, numbered anew; sets that hold another go to the rest. kept: [F] bool."""
    number = np.append(np.where(kept, np.cumsum(kept) - 1, -1), int(kept.sum()))
    members = number[mixture.members]
    rows = (members >= 0).all(axis=1)
    return _mixture(members[rows], mixture.weight[rows], int(kept.sum()))


def _mixture(members: Ints, weight: Floats, faults: int) -> Mixture:
    rest = 1.0 - float(weight.sum())
    known = None
    if len(weight) >= POLYNOMIAL_FROM and members.shape[1] <= 3:
        known = _polynomial(members, weight, faults)
    return Mixture(members, weight, rest if rest > 1e-12 else 0.0, known)


def _polynomial(members: Ints, weight: Floats, faults: int) -> _Polynomial:
    padded = np.full((len(members), 3), faults, dtype=np.int64)
    padded[:, : members.shape[1]] = np.sort(members, axis=1)
    first, second, third = padded.T
    single = second == faults
    linear = np.bincount(first[single], weight[single], minlength=faults).astype(np.float64)
    width = faults + 1
    flat = (first[~single] * faults + second[~single]) * width + third[~single]
    counted = np.bincount(flat, weight[~single], minlength=faults * faults * width)
    table = counted.astype(np.float64).reshape(-1, width)
    keys = np.nonzero(table.any(axis=1))[0]
    table = table[keys]
    return _Polynomial(
        linear=linear,
        first=keys // faults,
        second=keys % faults,
        pair=table[:, -1].copy(),
        third=np.ascontiguousarray(table[:, :-1]),
        whole=float(weight.sum()),
    )
