"""Words for chances that agree with the printed number, and the worth-it message."""

from __future__ import annotations

from decimal import Decimal

import pytest

from intakebot.definitions.model import ChanceWord
from intakebot.errors import BadInputError
from intakebot.quoting.chances import ChanceShown, chance_shown, chances_shown, word_for
from intakebot.quoting.money import Money
from intakebot.quoting.worth import WorthIt, worth_it

Words = tuple[ChanceWord, ...]


@pytest.mark.parametrize(
    ("percent", "word"),
    [
        (1, "almost_none"), (4, "almost_none"), (5, "very_unlikely"), (19, "very_unlikely"), (20, "unlikely"), (44, "unlikely"),
        (45, "even"), (54, "even"), (55, "likely"), (79, "likely"), (80, "very_likely"), (94, "very_likely"),
        (95, "almost_certain"), (99, "almost_certain"),
    ],
)  # fmt: skip
def test_bands_of_words(words: Words, percent: int, word: str) -> None:
    """ICD 203 (2015), bands from memory: 1-5, 5-20, 20-45, 45-55, 55-80, 80-95, 95-99; a shared bound belongs to the upper band."""
    assert word_for(percent, words) == word


@pytest.mark.parametrize(
    ("chance", "shown"),
    [
        (0.5499, ChanceShown(55, "", "likely")),  # printed 55 %, so the word is that of 55 %, not of 54.99 %
        (0.5449, ChanceShown(54, "", "even")),
        (0.545, ChanceShown(55, "", "likely")),
        (0.0, ChanceShown(1, "under", "almost_none")),
        (0.004, ChanceShown(1, "under", "almost_none")),
        (0.01, ChanceShown(1, "", "almost_none")),
        (0.985, ChanceShown(99, "", "almost_certain")),
        (0.9951, ChanceShown(99, "over", "almost_certain")),
        (1.0, ChanceShown(99, "over", "almost_certain")),
    ],
)
def test_the_word_is_looked_up_for_the_number_that_is_printed(
    words: Words, chance: float, shown: ChanceShown
) -> None:
    assert chance_shown(chance, words) == shown


@pytest.mark.parametrize("chance", [-0.01, 1.01, float("nan")])
def test_what_is_no_probability_is_refused(words: Words, chance: float) -> None:
    with pytest.raises(BadInputError, match="chance"):
        chance_shown(chance, words)


def test_a_table_without_a_word_for_small_chances_is_refused(words: Words) -> None:
    with pytest.raises(BadInputError, match="first word starts at 0"):
        chance_shown(0.02, words[1:])


def test_a_table_of_chances_prints_percents_that_sum_to_a_hundred(words: Words) -> None:
    """.333 three times and .001: 33.3 33.3 33.3 .1 -> 33 33 33 0, one unit left for the first, the last keeps "under 1"."""
    shown = chances_shown([0.333, 0.333, 0.333, 0.001], words)

    assert [(item.percent, item.edge) for item in shown] == [(33, ""), (33, ""), (33, ""), (1, "under")]
    with pytest.raises(BadInputError, match="sum to 1"):
        chances_shown([0.5, 0.6], words)


def pounds(amount: str | None) -> Money | None:
    return None if amount is None else Money(Decimal(amount), "GBP")


def verdict(
    likely: str | None = "60", expected: str = "60", maximum: str = "100", chance: float = 1.0, value: str | None = None,
    limit: str | None = None, can_start: bool = True,
) -> WorthIt:  # fmt: skip
    mean, top = pounds(expected), pounds(maximum)
    assert mean is not None
    assert top is not None
    return worth_it(
        likely=pounds(likely), expected=mean, maximum=top, chance=chance, value=pounds(value), limit=pounds(limit), can_start=can_start
    )  # fmt: skip


@pytest.mark.parametrize(
    ("case", "expected"),
    [
        pytest.param({"value": "200"}, "worth_it", id="60 against a value of 200"),
        pytest.param({"value": "100"}, "worth_it", id="60 is six tenths of 100"),
        pytest.param({"value": "99"}, "close", id="60 is more than six tenths of 99"),
        pytest.param({"value": "60"}, "not_worth_it", id="as much as it is worth"),
        pytest.param({"value": "40"}, "not_worth_it", id="more than it is worth"),
        pytest.param(
            {"value": "200", "chance": 0.25, "expected": "31"},
            "close",
            id="31 paid against a gain of 50 on average",
        ),
        pytest.param(
            {"value": "200", "chance": 0.25, "expected": "50"},
            "not_worth_it",
            id="50 paid against a gain of 50 on average",
        ),
        pytest.param(
            {"value": "200", "chance": 0.25, "expected": "30"},
            "worth_it",
            id="30 paid against a gain of 50 on average",
        ),
        pytest.param(
            {"limit": "40", "can_start": False, "value": "500"},
            "over_limit",
            id="the limit stops every repair",
        ),
        pytest.param(
            {"chance": 0.19, "value": "900"}, "poor_chance", id="a poor chance is said whatever the price"
        ),
        pytest.param({"likely": None}, "poor_chance", id="no repair in the plan"),
        pytest.param({}, "cannot_say", id="nothing to compare with"),
        pytest.param({"limit": "60"}, "worth_it", id="within the limit they gave"),
        pytest.param({"limit": "59"}, "cannot_say", id="usual repair above the limit they gave"),
    ],
)
def test_worth_it(case: dict[str, object], expected: str) -> None:
    """The thresholds are common practice, no source."""
    assert verdict(**case).verdict == expected  # type: ignore[arg-type]
