"""What it costs to reach a group of steps, and what is left open after it.

Two kinds of level. One that may stay open during a test (it and all above it) is opened once and stays open, so its
cost depends only on all that has been done. One that may not is opened and shut again by every group that needs it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from intakebot.triage.arrays import Arrays, Floats


@dataclass(frozen=True)
class Access:
    """Costs per level kind.

    staying: [n, S] bool, levels that stay open, needed by each step; with costs `staying_open`, `staying_close` [S] and
    `staying_start` [S] bool (open at the start). again: [n, A] bool, levels opened and shut by each group that needs them;
    `again_cost` [A] for both, and for those open at the start the change in the very first group: `first_saving` [A] when
    they are needed, `first_shut` paid for all of them.
    """

    staying: npt.NDArray[np.bool_]
    staying_open: Floats
    staying_close: Floats
    staying_start: npt.NDArray[np.bool_]
    again: npt.NDArray[np.bool_]
    again_cost: Floats
    again_open: Floats
    again_close: Floats
    again_start: npt.NDArray[np.bool_]
    close_at_end: bool

    def opened(self, done: npt.NDArray[np.bool_]) -> Floats:
        """Cost of all openings so far of levels that stay open; `done` is [k, n] bool."""
        return self._standing(done) @ self.staying_open - float(self.staying_open @ self.staying_start)

    def closing(self, done: npt.NDArray[np.bool_]) -> Floats:
        """Cost of closing at the end what stands open after a test."""
        if not self.close_at_end:
            return np.zeros(len(done))
        return self._standing(done) @ self.staying_close

    def _standing(self, done: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
        return (done.astype(np.float32) @ self.staying.astype(np.float32) > 0) | self.staying_start

    def opened_again(self, group: npt.NDArray[np.bool_], first: bool) -> Floats:
        """Cost of the levels that this group opens and shuts again; `first`: nothing has been tested yet."""
        needed = group.astype(np.float32) @ self.again.astype(np.float32) > 0
        if not first:
            return needed @ self.again_cost
        opening = (needed & ~self.again_start) @ self.again_open
        return opening + (needed | self.again_start) @ self.again_close

    @property
    def close_from_start(self) -> float:
        """Cost of closing when giving up before anything is done: all that is open at the start."""
        if not self.close_at_end:
            return 0.0
        return float(self.staying_close @ self.staying_start + self.again_close @ self.again_start)


def access_of(arrays: Arrays) -> Access:
    stays = arrays.stays
    return Access(
        staying=arrays.needs[:, stays],
        staying_open=arrays.open_cost[stays],
        staying_close=arrays.close_cost[stays],
        staying_start=arrays.open_at_start[stays],
        again=arrays.needs[:, ~stays],
        again_cost=(arrays.open_cost + arrays.close_cost)[~stays],
        again_open=arrays.open_cost[~stays],
        again_close=arrays.close_cost[~stays],
        again_start=arrays.open_at_start[~stays],
        close_at_end=arrays.close_at_end,
    )
