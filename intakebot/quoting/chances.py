"""Words and numbers for chances, from one table, so that they cannot disagree.

The number is rounded to what will be printed first; the word is then looked up for *that* number. Nothing is ever called
certain: 0 and 100 % are printed as "under 1 %" and "over 99 %".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from intakebot.definitions.model import ChanceWord
from intakebot.errors import BadInputError


@dataclass(frozen=True)
class ChanceShown:
    """percent: whole number 1..99 as printed; edge: `under` 1 %, `over` 99 %, or empty; word: id of the chance word."""

    percent: int
    edge: Literal["", "under", "over"]
    word: str


def chance_shown(chance: float, words: Sequence[ChanceWord]) -> ChanceShown:
    """How a chance is printed.

    Raises: BadInputError for something that is no probability or a table without a word for it.
    """
    if not 0 <= chance <= 1:
        raise BadInputError("chance", chance, "a probability between 0 and 1")
    hundredths = int(Fraction(str(chance)) * 100 + Fraction(1, 2))
    return shown_as(hundredths, chance, words)


def chances_shown(chances: Sequence[float], words: Sequence[ChanceWord]) -> tuple[ChanceShown, ...]:
    """Chances of a whole table, whose printed percents sum to 100 (largest remainder).

    Small ones keep at least the 1 of "under 1 %"; the largest makes up for it. Raises: BadInputError unless they sum to 1.
    """
    if abs(sum(chances) - 1) > 1e-6:
        raise BadInputError("chances", sum(chances), "chances that sum to 1")
    exact = [Fraction(chance) * 100 for chance in chances]
    floors = [value.numerator // value.denominator for value in exact]
    order = sorted(range(len(exact)), key=lambda i: (floors[i] - exact[i], i))
    for index in order[: 100 - sum(floors)]:
        floors[index] += 1
    lifted = [max(1, floor) if chances[i] > 0 else 0 for i, floor in enumerate(floors)]
    largest = lifted.index(max(lifted))
    lifted[largest] -= sum(lifted) - 100
    return tuple(shown_as(lifted[i], chances[i], words) for i in range(len(chances)))


def shown_as(percent: int, chance: float, words: Sequence[ChanceWord]) -> ChanceShown:
    """A chance whose printed percent is settled already; kept within 1..99."""
    percent = min(99, max(1, percent))
    edge: Literal["", "under", "over"] = (
        "under" if percent == 1 and chance < 0.01 else "over" if percent == 99 and chance > 0.99 else ""
    )
    return ChanceShown(percent, edge, word_for(percent, words))


def word_for(percent: int, words: Sequence[ChanceWord]) -> str:
    """Id of the word whose band holds a printed percent (lower bounds are inclusive).

    Raises: BadInputError when the table has no band that low.
    """
    fitting = [word for word in words if Fraction(str(word.at_least)) * 100 <= percent]
    if not fitting:
        raise BadInputError("chance_words", percent, "a table whose first word starts at 0")
    return max(fitting, key=lambda word: word.at_least).id
