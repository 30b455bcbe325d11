"""Plans for more steps than can be enumerated.

1. *Order.* Again and again take what repairs most per unit of cost: a step or a pair of steps (each with the steps it must
   follow), cost including access, closing and one test. Pairs matter because two faults together show no gain until both
   are cured.
2. *Split.* For a fixed order the best places to test and to stop follow from a dynamic program over positions, exactly.
3. *Search.* Move one step, or a run of two or three neighbours, elsewhere in the order and split again; keep what is
   better, until nothing is. All places for one move are tried at once with arrays.
4. *Front.* Plan the first twelve steps of the order exactly, keep that if it is better, and search again.

Everything is deterministic: candidates are taken in a fixed order and only clear improvements count.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import cycle, islice, pairwise

import numpy as np
import numpy.typing as npt

from intakebot.triage import exact
from intakebot.triage.access import Access, access_of
from intakebot.triage.arrays import NOTHING_LEFT, Arrays, Floats, restricted
from intakebot.triage.exact import TIE, Solution

Bools = npt.NDArray[np.bool_]

ROUNDS = 12
"""Passes of the local search at most; it usually ends by itself after two to four."""
FRONT_STEPS = 12
ORDERING_SETS = 60
FRONTS = 3


def solve(arrays: Arrays, want_second: bool = False) -> Solution:
    """A good plan for any number of steps."""
    search = _Search(arrays)
    if not arrays.size:
        return Solution((), search.stop_at_once())
    order = search.best_order()
    groups, cost = search.groups(order)
    second = search.other_start(order, groups) if want_second and groups else None
    return Solution(groups, cost, second)


def densest_steps(arrays: Arrays, most: int) -> list[int]:
    """The `most` steps that repair most for their cost, each with those it must follow."""
    lighter = replace(arrays, mixture=arrays.mixture.lighter(ORDERING_SETS))
    return _Search(lighter).first_order(most)[:most]


class _Search:
    def __init__(self, arrays: Arrays) -> None:
        size = arrays.size
        self.arrays = arrays
        self.access: Access = access_of(arrays)
        # A chance of exactly 0 becomes e^-200: nothing beside rounding.
        self.log_fail = np.log(np.maximum(arrays.fail.T, 1e-87))
        self.has_before = any(arrays.before)
        bits = np.array(
            [[mask >> step & 1 for step in range(size)] for mask in arrays.before_all], dtype=bool
        )
        self.with_before: Bools = bits.reshape(size, size) | np.eye(size, dtype=bool)
        count = int(arrays.apart.max(initial=-1)) + 1
        self.tags = (arrays.apart[:, None] == np.arange(count)).astype(np.float32)

    def stop_at_once(self) -> float:
        return self.arrays.mixture.rest * (self.access.close_from_start + (self.arrays.give_up or 0.0))

    # ---- 1. an order ----

    def best_order(self) -> list[int]:
        """Search and exact front by turns, until neither helps."""
        order = self.improved(self.first_order())
        for _ in range(FRONTS):
            front = self.with_exact_front(order)
            if front == order:
                break
            order = self.improved(front)
        return order

    def first_order(self, most: int | None = None) -> list[int]:
        """Steps by falling density of singles and pairs: all of them, or until at least `most` are placed."""
        arrays = self.arrays
        order: list[int] = []
        done = np.zeros(arrays.size, dtype=bool)
        left = np.ones(arrays.fail.shape[0])
        wanted = arrays.size if most is None else min(most, arrays.size)
        while len(order) < wanted:
            group = self._densest(done, left)
            order.extend(self._sorted(group))
            done[group] = True
            left = left * np.prod(arrays.fail[:, group], axis=1)
        return order

    def _densest(self, done: Bools, left: Floats) -> list[int]:
        """The single step or pair, with what must come before, that repairs most per unit of cost."""
        arrays, access = self.arrays, self.access
        open_steps = np.nonzero(~done)[0]
        singles = self.with_before[open_steps] & ~done
        one, other = np.triu_indices(len(open_steps), 1)
        groups = np.concatenate([singles, singles[one] | singles[other]])
        if self.tags.shape[1]:
            groups = groups[((groups.astype(np.float32) @ self.tags) <= 1.0).all(axis=1)]
        remaining = self._left_after(groups, singles, one, other, left)
        now = left.copy()
        now[-1] = 0.0
        gain = float(arrays.broken(1.0 - now[None, :])[0]) - arrays.broken(1.0 - remaining)
        after = groups | done
        cost = (
            groups @ arrays.cost
            + access.opened_again(groups, first=not done.any())
            + arrays.test_cost
            + access.opened(after)
            - access.opened(done[None, :])
            + access.closing(after)
            - access.closing(done[None, :])
        )
        # A free step that helps comes first, one that does not help last.
        free = np.where(gain > 0, np.inf, 0.0)
        density = np.where(cost > 0, gain / np.where(cost > 0, cost, 1.0), free)
        best = int(np.argmax(density))
        return np.nonzero(groups[best if density[best] > 0.0 else 0])[0].tolist()

    def _left_after(
        self,
        groups: Bools,
        singles: Bools,
        one: npt.NDArray[np.int64],
        other: npt.NDArray[np.int64],
        left: Floats,
    ) -> Floats:
        """[k, F + 1] chance that each fault outlives the group."""
        if not self.has_before and len(groups) == len(singles) + len(one):
            each = self.arrays.fail.T[np.argmax(singles, axis=1)]
            remaining = np.concatenate([each, each[one] * each[other]]) * left
        else:
            remaining = np.exp(groups @ self.log_fail) * left
        remaining[:, -1] = 0.0
        return remaining

    def _sorted(self, group: Sequence[int]) -> list[int]:
        """The group by number, each step after those it must follow."""
        waiting, ordered = sorted(group), []
        while waiting:
            inside = sum(1 << step for step in waiting)
            step = next(step for step in waiting if not self.arrays.before_all[step] & inside)
            waiting.remove(step)
            ordered.append(step)
        return ordered

    # ---- 2. the split ----

    def groups(self, order: Sequence[int]) -> tuple[tuple[tuple[int, ...], ...], float]:
        """The best groups for a fixed order, and their cost."""
        broken = self.arrays.broken_after(order)
        cost, ends = self._split(np.array([order]), broken[None, :])
        places = [0, *ends[0]]
        return tuple(tuple(order[start:end]) for start, end in pairwise(places)), float(cost[0])

    def _split(self, orders: np.ndarray, broken: Floats) -> tuple[Floats, list[list[int]]]:
        costs, choices = self._split_costs(orders, broken)
        ends = []
        for row in range(len(orders)):
            place, found = 0, []
            while choices[row, place] > place:
                place = int(choices[row, place])
                found.append(place)
            ends.append(found)
        return costs, ends

    def _split_costs(self, orders: np.ndarray, broken: Floats) -> tuple[Floats, np.ndarray]:
        """For each row of orders: least cost over all splits, and the next test after each position."""
        arrays, access = self.arrays, self.access
        count, size = orders.shape
        broken = np.where(broken < NOTHING_LEFT, 0.0, broken)
        spent = np.zeros((count, size + 1))
        np.cumsum(arrays.cost[orders], axis=1, out=spent[:, 1:])
        opened, closing = self._standing(orders)
        again = self._again(orders)
        level = spent + opened + closing + arrays.test_cost
        value = np.zeros((count, size + 1))
        choice = np.tile(np.arange(size + 1), (count, 1))
        if arrays.give_up is None:
            stop = np.where(broken == 0.0, 0.0, np.inf)
            stop[:, size] = broken[:, size] * closing[:, size]
        else:
            stop = broken * (closing + arrays.give_up)
            stop[:, 0] = broken[:, 0] * (access.close_from_start + arrays.give_up)
        rest = np.empty((count, size + 1))
        rest[:, size] = stop[:, size] - broken[:, size] * closing[:, size]
        value[:, size] = stop[:, size]
        rows = np.arange(count)
        for place in range(size - 1, -1, -1):
            now = broken[:, place : place + 1]
            step_cost = (
                level[:, place + 1 :] + again[:, place, place + 1 :] - (spent + opened)[:, place : place + 1]
            )
            with np.errstate(invalid="ignore"):
                options = np.where(now > 0.0, now * step_cost, 0.0) + rest[:, place + 1 :]
            best = np.argmin(options, axis=1)
            least = options[rows, best]
            goes_on = least < stop[:, place] - TIE * (1.0 + np.abs(least))
            goes_on &= now[:, 0] > 0.0
            value[:, place] = np.where(goes_on, least, stop[:, place])
            choice[goes_on, place] = place + 1 + best[goes_on]
            rest[:, place] = value[:, place] - broken[:, place] * closing[:, place]
        return value[:, 0], choice

    def _standing(self, orders: np.ndarray) -> tuple[Floats, Floats]:
        access = self.access
        needed = access.staying[orders]
        standing = np.zeros((orders.shape[0], orders.shape[1] + 1, needed.shape[2]), dtype=bool)
        standing[:, 0] = access.staying_start
        standing[:, 1:] = np.logical_or.accumulate(needed, axis=1) | access.staying_start
        opened = standing @ access.staying_open - float(access.staying_open @ access.staying_start)
        closing = standing @ access.staying_close if access.close_at_end else np.zeros(opened.shape)
        return opened, closing

    def _again(self, orders: np.ndarray) -> Floats:
        """[row, from, to]: cost of levels opened and shut again by the steps at positions from .. to-1."""
        access = self.access
        count, size = orders.shape
        cost = np.zeros((count, size + 1, size + 1))
        start = np.arange(size + 1)[:, None]
        for level in range(access.again.shape[1]):
            needed = access.again[orders, level]
            places = np.where(needed, np.arange(1, size + 1), 0)
            last = np.zeros((count, size + 1), dtype=np.int64)
            last[:, 1:] = np.maximum.accumulate(places, axis=1)
            inside = last[:, None, :] > start
            cost += access.again_cost[level] * inside
            if access.again_start[level]:
                cost[:, 0, :] -= access.again_open[level] * inside[:, 0]
                cost[:, 0, :] += access.again_close[level] * ~inside[:, 0]
        tags = self.arrays.apart[orders]
        for tag in range(int(self.arrays.apart.max(initial=-1)) + 1):
            seen = np.zeros((count, size + 1))
            seen[:, 1:] = np.cumsum(tags == tag, axis=1)
            cost[seen[:, None, :] - seen[:, :, None] > 1] = np.inf
        return cost

    # ---- 3. the search ----

    def improved(self, order: Sequence[int]) -> list[int]:
        """A local optimum under moving one, two or three neighbouring steps elsewhere."""
        best = list(order)
        cost = self.groups(best)[1]
        idle = 0
        for length in islice(cycle((1, 2, 3)), 3 * ROUNDS):
            before = cost
            best, cost = self._moved(best, cost, length)
            idle = 0 if cost < before else idle + 1
            if idle == 3:
                break
        return best

    def _moved(self, order: list[int], cost: float, length: int) -> tuple[list[int], float]:
        for block in self._blocks(order, length):
            others = [step for step in order if step not in block]
            orders, broken = self._insertions(others, block)
            if not len(orders):
                continue
            costs, _ = self._split_costs(orders, broken)
            best = int(np.argmin(costs))
            if costs[best] < cost - TIE * (1.0 + abs(cost)):
                order, cost = orders[best].tolist(), float(costs[best])
        return order, cost

    def _blocks(self, order: Sequence[int], length: int) -> Iterator[list[int]]:
        """Runs of neighbours as they stand now; the order may change while they are tried."""
        for start in range(len(order) - length + 1):
            yield list(order[start : start + length])

    def _insertions(self, others: Sequence[int], block: Sequence[int]) -> tuple[np.ndarray, Floats]:
        """All orders with the block put somewhere into the others, `after` respected, and R along each."""
        arrays = self.arrays
        first, last = self._window(others, block)
        size, width = arrays.size, len(block)
        places = range(first, last + 1)
        if first > last:
            return np.zeros((0, size), dtype=np.int64), np.zeros((0, size + 1))
        factors = np.ones((len(others) + 1, arrays.fail.shape[0]))
        factors[1:] = arrays.fail[:, list(others)].T
        without = np.cumprod(factors, axis=0)
        inside = np.cumprod(arrays.fail[:, list(block)].T, axis=0)
        left = np.concatenate(
            [
                without,
                *(without[first : last + 1] * part for part in inside[:-1]),
                without[first:] * inside[-1],
            ]
        )
        left[:, -1] = 0.0
        broken = arrays.broken(1.0 - left)
        base, count = len(others) + 1, last - first + 1
        plain = broken[:base]
        partial = [broken[base + part * count : base + (part + 1) * count] for part in range(width - 1)]
        full = broken[base + (width - 1) * count :]
        orders = np.empty((count, size), dtype=np.int64)
        along = np.empty((count, size + 1))
        for row, place in enumerate(places):
            orders[row, :place] = others[:place]
            orders[row, place : place + width] = block
            orders[row, place + width :] = others[place:]
            along[row, : place + 1] = plain[: place + 1]
            for part in range(width - 1):
                along[row, place + 1 + part] = partial[part][row]
            along[row, place + width :] = full[place - first :]
        return orders, along

    def _window(self, others: Sequence[int], block: Sequence[int]) -> tuple[int, int]:
        """First and last place in `others` where the whole block may go."""
        arrays = self.arrays
        inside = sum(1 << step for step in block)
        wanted = 0
        for step in block:
            wanted |= arrays.before_all[step]
        wanted &= ~inside
        first, last = 0, len(others)
        for place, step in enumerate(others):
            if wanted >> step & 1:
                first = place + 1
            if arrays.before_all[step] & inside:
                last = min(last, place)
        return first, last

    # ---- 4. the front, exactly ----

    def with_exact_front(self, order: Sequence[int]) -> list[int]:
        """The order with its first `FRONT_STEPS` steps planned exactly (as if no others followed), if that is better."""
        arrays = self.arrays
        front = sorted(order[:FRONT_STEPS])
        solution = exact.solve(restricted(arrays, front))
        planned = [
            step for group in solution.groups for step in self._sorted([front[place] for place in group])
        ]
        changed = [*planned, *(step for step in order if step not in set(planned))]
        before, after = self.groups(order)[1], self.groups(changed)[1]
        return changed if after < before - TIE * (1.0 + abs(before)) else list(order)

    # ---- the second-best ----

    def other_start(self, order: Sequence[int], groups: Sequence[Sequence[int]]) -> Solution | None:
        """The best plan found that begins with another step."""
        found: Solution | None = None
        start = set(groups[0])
        for step in range(self.arrays.size):
            if step in start or self.arrays.before_all[step]:
                continue
            rest = [step, *(other for other in order if other != step)]
            candidate, cost = self.groups(rest)
            if candidate and (found is None or cost < found.cost - TIE * (1.0 + abs(cost))):
                found = Solution(candidate, cost)
        return found
