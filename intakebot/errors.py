"""Every error of the project, in one tree.

IntakebotError
 ├── DefinitionError            a folder of definitions has problems (carries them all)
 ├── SettingsError              an environment variable holds something unusable
 ├── BadInputError              a caller sent something unusable: where, found, expected
 │    ├── PlanningProblemError  a planning problem is not well formed
 │    └── MoneyError            amounts that cannot be combined or represented
 ├── NotFoundError              no such conversation, intake, quote, photo ...
 ├── NotAllowedError            known caller, but not this
 ├── ConflictError              somebody else changed it first, or the state forbids it
 │    ├── StaleVersionError     the version given is not the current one
 │    ├── QuoteStateError       expired, superseded or already decided quote
 │    └── OverCapError          work or invoice above the authorised maximum
 └── ImpossibleFindingError     the evidence has probability zero under every hypothesis
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any


class IntakebotError(Exception):
    """Base of every error raised on purpose."""


class DefinitionError(IntakebotError):
    """A folder of definitions cannot be used. `problems` holds every reason, sorted."""

    def __init__(self, problems: Sequence[Any]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class SettingsError(IntakebotError):
    """A setting names its variable and what it should hold, never a secret's value."""


class BadInputError(IntakebotError):
    """Something a caller sent is unusable.

    Attributes: where (a path in the caller's own terms), found, expected.
    """

    def __init__(self, where: str, found: object, expected: str) -> None:
        self.where, self.found, self.expected = where, found, expected
        super().__init__(f"{where}: found {found!r}, expected {expected}")


class PlanningProblemError(BadInputError):
    """A planning problem is not well formed; `where` is a path such as `steps[2].cost`."""


class MoneyError(BadInputError):
    """Amounts that cannot be combined, converted or represented."""


class NotFoundError(IntakebotError):
    """No such thing, or not for this caller (the two are not told apart)."""


class NotAllowedError(IntakebotError):
    """The caller is known but may not do this."""


class ConflictError(IntakebotError):
    """The state forbids it, or somebody else was first."""


class StaleVersionError(ConflictError):
    """The version the caller saw is no longer the current one."""

    def __init__(self, seen: int, current: int) -> None:
        self.seen, self.current = seen, current
        super().__init__(f"version {seen} was changed meanwhile; the current one is {current}")


class QuoteStateError(ConflictError):
    """The quote is expired, superseded, or already decided."""


class OverCapError(ConflictError):
    """Work or an invoice would pass the authorised maximum."""


class ImpossibleFindingError(IntakebotError):
    """Every hypothesis gives the evidence probability zero."""
