"""Understanding: a customer's message in, facts with value, certainty and place out. Pure; no network, no clock."""

from intakebot.understanding.answers import expecting_for, reads_as_yes_no
from intakebot.understanding.heard import (
    AmountMention,
    Clause,
    CountMention,
    DateMention,
    Expecting,
    Heard,
    HeardFact,
    Option,
)
from intakebot.understanding.reader import Reader, make_reader, understand, warm

__all__ = [
    "AmountMention",
    "Clause",
    "CountMention",
    "DateMention",
    "Expecting",
    "Heard",
    "HeardFact",
    "Option",
    "Reader",
    "expecting_for",
    "make_reader",
    "reads_as_yes_no",
    "understand",
    "warm",
]
