"""Everything held about a talk, as lines people read: for the form at the side, the recap, hand-off cards."""

from __future__ import annotations

from dataclasses import dataclass

from intakebot.definitions.facts import Status, Value
from intakebot.definitions.model import Stake


@dataclass(frozen=True)
class RecapLine:
    """question: id of a question that fills the fact, if any. value is None when not known or declined."""

    fact: str
    label: str
    value: Value | None
    value_label: str
    status: Status
    stake: Stake
    source: str
    question: str | None
    personal: bool
