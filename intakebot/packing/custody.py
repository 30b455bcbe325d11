"""Who has what: the disc stuck inside, the original parts, the device.

A log of hand-overs is append-only and in order of time; each entry has who did it and when. What came in must go out
again: `open_items` lists what the shop still holds.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from intakebot.definitions.facts import Answers
from intakebot.definitions.model import Family
from intakebot.errors import BadInputError, ConflictError
from intakebot.packing.roles import value_for

Holder = Literal["customer", "carrier", "shop"]


@dataclass(frozen=True)
class StuckDisc:
    """The disc inside: evidence, custody item, and the disc that proves the repair. wanted: None when not asked."""

    disc_class: str | None
    title: str | None
    wanted: bool | None

    def to_mapping(self) -> dict[str, Any]:
        return {"disc_class": self.disc_class, "title": self.title, "wanted": self.wanted}


def stuck_disc(family: Family, answers: Answers) -> StuckDisc | None:
    """The stuck disc, if the customer said there is one."""
    if value_for(family, answers, "stuck_disc") != "yes":
        return None
    disc_class = value_for(family, answers, "stuck_disc_class")
    title = value_for(family, answers, "stuck_disc_title")
    wanted = value_for(family, answers, "stuck_disc_wanted")
    return StuckDisc(
        disc_class=disc_class if isinstance(disc_class, str) else None,
        title=title if isinstance(title, str) else None,
        wanted=None if wanted is None else wanted == "yes",
    )


@dataclass(frozen=True)
class HandOver:
    """One item changes hands. at: timezone-aware. actor: who noted it (customer, or a member of staff)."""

    item: str
    holder: Holder
    actor: str
    at: datetime
    note: str = ""


CustodyLog = tuple[HandOver, ...]


def hand_over(log: CustodyLog, entry: HandOver) -> CustodyLog:
    """The log with one more entry.

    Raises:
        BadInputError: no actor, no item, or a time without a zone.
        ConflictError: earlier than the last entry, or the item is with that holder already.
    """
    for where, value in (("item", entry.item), ("actor", entry.actor)):
        if not value.strip():
            raise BadInputError(where, value, "a name")
    if entry.at.tzinfo is None:
        raise BadInputError("at", entry.at.isoformat(), "a time with its zone")
    if log and entry.at < log[-1].at:
        raise ConflictError(f"{entry.at.isoformat()} is before the last entry, {log[-1].at.isoformat()}")
    if holder(log, entry.item) == entry.holder:
        raise ConflictError(f"{entry.item} is with the {entry.holder} already")
    return (*log, entry)


def holder(log: CustodyLog, item: str) -> Holder | None:
    """Who has an item now; None when it was never noted."""
    return next((entry.holder for entry in reversed(log) if entry.item == item), None)


def open_items(log: CustodyLog) -> tuple[str, ...]:
    """Items the shop holds and must give back, in the order they first appeared."""
    items = dict.fromkeys(entry.item for entry in log)
    return tuple(item for item in items if holder(log, item) == "shop")


@dataclass(frozen=True)
class Differences:
    """Contents against the packing sheet. missing and extra hold an item as often as it is missing or extra."""

    missing: tuple[str, ...]
    extra: tuple[str, ...]

    @property
    def any(self) -> bool:
        return bool(self.missing or self.extra)


def arrival_differences(expected: Iterable[str], found: Iterable[str]) -> Differences:
    """What should have been in the box and was not, and the other way round, each in the order given."""
    want, have = list(expected), list(found)
    return Differences(_left_over(want, have), _left_over(have, want))


def _left_over(items: list[str], taken: list[str]) -> tuple[str, ...]:
    remaining = Counter(taken)
    left = []
    for item in items:
        if remaining[item]:
            remaining[item] -= 1
        else:
            left.append(item)
    return tuple(left)
