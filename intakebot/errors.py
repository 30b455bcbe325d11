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
 │    ├── OverCapError          work or invoice above the authorised maximum
 │    ├── RequestRunningError   the same request is being answered at this moment
 │    └── RequestMismatchError  the same key came again with another content
 ├── SignatureError             a signed message that is not, or no longer, valid
 ├── RateLimitedError           too many requests; carries when to come back
 ├── StoreBusyError             the database cannot take a write now (locked, disk full, connection lost)
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


class RequestRunningError(ConflictError):
    """The same request (same key) is being answered at this moment."""


class RequestMismatchError(ConflictError):
    """The same key came again with another content."""


class SignatureError(IntakebotError):
    """A signed message whose signature, time or headers are not valid. The text is safe to show to the sender."""


class RateLimitedError(IntakebotError):
    """Too many requests.

    Attributes: policy (its name), retry_after_s (whole seconds until one more is allowed).
    """

    def __init__(self, policy: str, retry_after_s: int) -> None:
        self.policy, self.retry_after_s = policy, retry_after_s
        super().__init__(f"too many requests under the policy {policy}; try again in {retry_after_s} s")


class StoreBusyError(IntakebotError):
    """The database cannot take a write now (locked, disk full, connection lost). Nothing was stored; try again."""


class ImpossibleFindingError(IntakebotError):
    """Every hypothesis gives the evidence probability zero."""
