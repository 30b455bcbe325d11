"""What can be wrong with a definitions file, as a record; printing is separate from finding."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, order=True)
class Problem:
    """One problem, at one place.

    Attributes:
        file: path relative to the definitions folder; line: 1-based.
        path: the way through named things, such as `question stuck_disc, ask_when, fact`.
        found, expected: in words; suggestion: the nearest thing that would be right, or "".
    """

    file: str
    line: int
    path: str
    found: str
    expected: str
    suggestion: str = ""

    def __str__(self) -> str:
        hint = f" Did you mean {self.suggestion!r}?" if self.suggestion else ""
        place = f"{self.file}:{self.line}: {self.path}: " if self.path else f"{self.file}:{self.line}: "
        return f"{place}found {self.found}, expected {self.expected}.{hint}"


def nearest(found: object, candidates: Iterable[str]) -> str:
    """The candidate that looks most like what was found, or "" when none is near."""
    matches = difflib.get_close_matches(str(found), sorted(candidates), n=1, cutoff=0.6)
    return matches[0] if matches else ""
