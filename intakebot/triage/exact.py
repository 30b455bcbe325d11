"""The cheapest plan by dynamic programming over sets of steps: O(3^n), exact.

With V the steps done and tested, M = V plus the next group B, and what is open after a test known from V alone
(`problem`):

    W(V) = min( R(V) * (close(V) + give up),
                min_{M > V} R(V) * (cost(B) + again(B) + test + opened(M) - opened(V)) + (R(V) - R(M)) * close(M) + W(M) )

All V with the same number of steps are done at once: row = V, columns = every subset of what is left. The largest
block for 14 steps has a million numbers. Only the minima are kept; the plan is read off again along its path.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from intakebot.triage.access import Access, access_of
from intakebot.triage.arrays import NOTHING_LEFT, Arrays, Floats

KEPT_STEPS = 12
"""Sizes up to this keep their index tables (a few megabytes together), for plans inside a turn."""

TIE = 1e-12
"""Relative difference below which two plans cost the same and ids decide."""


@dataclass(frozen=True)
class Solution:
    """Groups of step numbers, and what the plan costs. `second` is the best one whose first group differs, if any."""

    groups: tuple[tuple[int, ...], ...]
    cost: float
    second: Solution | None = None


@dataclass(frozen=True)
class Tables:
    """Per mask: R, cost of the steps plus shut-again levels, opened + closing, W less R * closing, may be reached."""

    broken: Floats
    group_cost: Floats
    first_cost: Floats
    standing: Floats
    opened: Floats
    closing: Floats
    rest: Floats


def solve(arrays: Arrays, want_second: bool = False) -> Solution:
    """The cheapest plan. Among plans that cost the same: the one that stops first, then lowest ids first."""
    tables = _fill(arrays, access_of(arrays))
    full = (1 << arrays.size) - 1
    stop = _stop_at(arrays, access_of(arrays), tables, 0, full)
    first, values = _choices(arrays, tables, 0)
    best = _first_least(tables, 0, first, values) if len(values) else -1
    stopped = best < 0 or _no_dearer(stop, float(values[best]))
    groups = () if stopped else _path(arrays, tables, int(first[best]))
    cost = stop if stopped else float(values[best])
    second = None
    if want_second:
        others = values.copy()
        if not stopped:
            others[best] = np.inf
        runner_up = _first_least(tables, 0, first, others) if len(others) else -1
        if runner_up >= 0 and np.isfinite(others[runner_up]):
            second = Solution(_path(arrays, tables, int(first[runner_up])), float(others[runner_up]))
        if not stopped and np.isfinite(stop) and (second is None or stop < second.cost):
            second = Solution((), float(stop))
    return Solution(groups, float(cost), second)


def all_broken(arrays: Arrays) -> Floats:
    """R for every mask, built bit by bit."""
    size = arrays.size
    left = np.ones((arrays.fail.shape[0], 1 << size))
    for step in range(size):
        half = 1 << step
        left[:, half : 2 * half] = left[:, :half] * arrays.fail[:, step : step + 1]
    left[-1] = 0.0
    broken = arrays.broken(1.0 - left.T)
    return np.where(broken < NOTHING_LEFT, 0.0, broken)


def _fill(arrays: Arrays, access: Access) -> Tables:
    size = arrays.size
    masks = np.arange(1 << size)
    done = (masks[:, None] >> np.arange(size)) & 1 == 1
    broken = all_broken(arrays)
    cost = np.zeros(1 << size)
    reachable = np.ones(1 << size, dtype=bool)
    for step in range(size):
        half = 1 << step
        cost[half : 2 * half] = cost[:half] + arrays.cost[step]
        reachable &= ~done[:, step] | ((masks & arrays.before[step]) == arrays.before[step])
    barred = _barred(arrays, done)
    group_cost = np.where(barred, np.inf, cost + access.opened_again(done, first=False) + arrays.test_cost)
    first_cost = np.where(barred, np.inf, cost + access.opened_again(done, first=True) + arrays.test_cost)
    opened, closing = access.opened(done), access.closing(done)
    standing = opened + closing
    full = (1 << size) - 1
    give_up = arrays.give_up
    stop = np.full(1 << size, np.inf)
    if give_up is not None:
        stop = broken * (closing + give_up)
    stop[broken == 0.0] = 0.0
    if give_up is None:
        stop[full] = broken[full] * closing[full]
    rest = np.where(reachable, stop - broken * closing, np.inf)
    tables = Tables(broken, group_cost, first_cost, standing, opened, closing, rest)
    for count in range(size - 1, 0, -1):
        _fill_layer(tables, size, count, reachable)
    return tables


def _fill_layer(tables: Tables, size: int, count: int, reachable: npt.NDArray[np.bool_]) -> None:
    """W for all masks with `count` steps, from those with more."""
    masks, every_group = _layer_kept(size, count) if size <= KEPT_STEPS else _layer(size, count)
    wanted = reachable[masks] & (tables.broken[masks] > 0.0)
    if not wanted.any():
        return
    layer, groups = masks, every_group
    if not wanted.all():
        layer, groups = masks[wanted], every_group[wanted]
    after = groups + layer[:, None]
    broken = tables.broken[layer]
    values = tables.group_cost[groups]
    values += tables.standing[after]
    values *= broken[:, None]
    values += tables.rest[after]
    going_on = values.min(axis=1) - broken * tables.opened[layer]
    tables.rest[layer] = np.minimum(tables.rest[layer], going_on - broken * tables.closing[layer])


def _layer(size: int, count: int) -> tuple[npt.NDArray[np.int32], npt.NDArray[np.int32]]:
    """All masks of `count` steps out of `size`, and for each the non-empty subsets of the steps it lacks."""
    masks = np.arange(1 << size, dtype=np.int32)
    bits = np.zeros(1 << size, dtype=np.int32)
    for step in range(size):
        bits += masks >> step & 1
    chosen = masks[bits == count]
    return chosen, _subsets(chosen, size, count)[:, 1:]


_layer_kept = functools.lru_cache(maxsize=None)(_layer)
"""The same, kept: it depends on the two numbers alone (at most 3^KEPT_STEPS numbers each size)."""


def _subsets(layer: npt.NDArray[np.int32], size: int, count: int) -> npt.NDArray[np.int32]:
    """Per mask of the layer, all subsets of the steps it lacks, in rising order of the mask: [k, 2^(size-count)]."""
    lacking = ~((layer[:, None] >> np.arange(size)) & 1 == 1)
    bits = (1 << np.nonzero(lacking)[1].reshape(len(layer), size - count)).astype(np.int32)
    subsets = np.zeros((len(layer), 1 << (size - count)), dtype=np.int32)
    for place in range(size - count):
        half = 1 << place
        np.add(subsets[:, :half], bits[:, place : place + 1], out=subsets[:, half : 2 * half])
    return subsets


def _barred(arrays: Arrays, done: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Groups that hold two steps which a test must separate."""
    barred = np.zeros(len(done), dtype=bool)
    for tag in range(int(arrays.apart.max(initial=-1)) + 1):
        barred |= done[:, arrays.apart == tag].sum(axis=1) > 1
    return barred


def _choices(arrays: Arrays, tables: Tables, mask: int) -> tuple[npt.NDArray[np.int32], Floats]:
    """All next groups after `mask`, and what the plan costs from there (per device, not per device still broken)."""
    layer = np.array([mask], dtype=np.int32)
    groups = _subsets(layer, arrays.size, mask.bit_count())[0, 1:]
    after = groups + mask
    broken = tables.broken[mask]
    group_cost = tables.group_cost if mask else tables.first_cost
    # Where nothing is left, only the step costs count: inf * 0 must not appear.
    values = broken * (group_cost[groups] + tables.standing[after] - tables.opened[mask]) + tables.rest[after]
    return groups, values


def _first_least(tables: Tables, mask: int, groups: npt.NDArray[np.int32], values: Floats) -> int:
    """Of the cheapest next groups, the first after which a test can pass; else the first."""
    least = float(values.min())
    if not np.isfinite(least):
        return 0
    tied = np.nonzero(values <= least + TIE * (1.0 + abs(least)))[0]
    helps = tables.broken[groups[tied] + mask] < tables.broken[mask] - NOTHING_LEFT
    return int(tied[np.argmax(helps)])


def _no_dearer(cost: float, other: float) -> bool:
    return np.isfinite(cost) and cost <= other + TIE * (1.0 + abs(cost))


def _stop_at(arrays: Arrays, access: Access, tables: Tables, mask: int, full: int) -> float:
    """Cost of stopping at `mask`."""
    broken = float(tables.broken[mask])
    if broken == 0.0:
        return 0.0
    closing = float(tables.closing[mask]) if mask else access.close_from_start
    if arrays.give_up is not None:
        return broken * (closing + arrays.give_up)
    return broken * closing if mask == full else float("inf")


def _path(arrays: Arrays, tables: Tables, mask: int) -> tuple[tuple[int, ...], ...]:
    """Groups from the first one on: `mask` is the first group."""
    groups = [mask]
    full = (1 << arrays.size) - 1
    done = mask
    while tables.broken[done] > 0.0 and done != full:
        broken, closing = float(tables.broken[done]), float(tables.closing[done])
        stop = float("inf") if arrays.give_up is None else broken * (closing + arrays.give_up)
        choices, values = _choices(arrays, tables, done)
        best = _first_least(tables, done, choices, values)
        if _no_dearer(stop, float(values[best])):
            break
        groups.append(int(choices[best]))
        done += int(choices[best])
    return tuple(tuple(step for step in range(arrays.size) if group >> step & 1) for group in groups)
