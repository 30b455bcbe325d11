"""Numbers in digits and words, sums of money, counts with units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from intakebot.understanding.folding import Folded
from intakebot.understanding.heard import AmountMention, CountMention
from intakebot.understanding.language import Language
from intakebot.understanding.matching import Mark
from intakebot.understanding.tokens import Token

MAX_DIGITS = 12
"""Longer rows of digits are codes or telephone numbers, not numbers."""

LIMIT_REACH = 7
"""Words between a limit word ("no more than") and its sum."""


@dataclass(frozen=True)
class Number:
    """A number at tokens [start, end)."""

    value: Decimal
    start: int
    end: int
    written: bool  # in digits


def parse_digits(word: str) -> Decimal | None:
    """ "1,200.50", "1.200,50", "80" -> Decimal; None for anything else (dates such as 15.12.2026 too)."""
    if (
        not word[:1].isdigit()
        or len(word) > MAX_DIGITS + 4
        or any(not (c.isascii() and (c.isdigit() or c in ".,")) for c in word)
    ):
        return None
    signs = [char for char in word if char in ".,"]
    groups = word.replace(",", ".").split(".")
    if not all(groups):
        return None
    last = groups[-1]
    if not signs:
        plain = word
    elif len(signs) == 1 and len(last) != 3:
        plain = f"{groups[0]}.{last}"
    elif len(signs) > 1 and signs[-1] != signs[0] and len(last) != 3:
        plain = f"{''.join(groups[:-1])}.{last}"
    elif all(len(group) == 3 for group in groups[1:]) and len(groups[0]) <= 3:
        plain = "".join(groups)
    else:
        return None
    try:
        return Decimal(plain)
    except InvalidOperation:
        return None


def find_numbers(tokens: Sequence[Token], language: Language) -> list[Number]:
    """Every number, longest reading first; number words are added up ("a hundred and twenty")."""
    out: list[Number] = []
    index = 0
    while index < len(tokens):
        value = parse_digits(tokens[index].word)
        if value is not None:
            out.append(Number(value, index, index + 1, True))
            index += 1
            continue
        found = _in_words(tokens, index, language)
        if found is None:
            index += 1
        else:
            out.append(found)
            index = found.end
    return out


def _in_words(tokens: Sequence[Token], start: int, language: Language) -> Number | None:
    total, current, index, seen = 0, 0, start, False
    while index < len(tokens):
        word = tokens[index].word
        if word in language.fractions and not seen:
            return Number(Decimal(language.fractions[word]), start, index + 1, False)
        if word in language.numbers:
            if seen and current % 10:
                break
            current += language.numbers[word]
        elif word in language.tens and language.tens[word] >= 100:
            current = max(current, 1) * language.tens[word]
        elif word in language.tens:
            if seen and current % 100:
                break
            current += language.tens[word]
        elif (
            seen
            and word in language.joins
            and current >= 100
            and index + 1 < len(tokens)
            and (tokens[index + 1].word in language.numbers or tokens[index + 1].word in language.tens)
        ):
            index += 1
            continue
        else:
            break
        seen = True
        index += 1
        if index - start > 8:
            break
    if not seen:
        return None
    total += current
    alone = index == start + 1
    if alone and tokens[start].word in ("a", "an", "ein", "eine", "einen", "einem", "einer"):
        following = tokens[index].word if index < len(tokens) else ""
        if following not in language.units and following not in language.currencies:
            return None
    return Number(Decimal(total), start, index, False)


def find_amounts(
    folded: Folded,
    tokens: Sequence[Token],
    numbers: Sequence[Number],
    marks: Sequence[Mark],
    language: Language,
) -> list[AmountMention]:
    """Sums with a currency sign or word beside them, or with a limit word before them and no other unit behind."""
    limits = sorted((mark.start, mark.end) for mark in marks if mark.kind == "limit")
    out: list[AmountMention] = []
    for number in numbers:
        currency, start, end = _currency(tokens, number, language)
        reach = LIMIT_REACH if currency else 3
        near = any(0 <= number.start - close <= reach for _, close in limits) or any(
            0 <= opening - number.end <= 2 for opening, _ in limits
        )
        following = tokens[end].word if end < len(tokens) else ""
        if currency is None and not (
            near and number.written and number.value >= 5 and not _other_unit(following, language)
        ):
            continue
        out.append(
            AmountMention(number.value, currency, near, folded.span(tokens[start].start, tokens[end - 1].end))
        )
    return out


def _other_unit(word: str, language: Language) -> bool:
    return (
        word in language.units or word in language.months or word in ("st", "nd", "rd", "th", "%", "/", ":")
    )


def _currency(tokens: Sequence[Token], number: Number, language: Language) -> tuple[str | None, int, int]:
    before = tokens[number.start - 1].word if number.start else ""
    after = tokens[number.end].word if number.end < len(tokens) else ""
    if before in language.currencies and not before.isalpha():
        return language.currencies[before], number.start - 1, number.end
    if after in language.currencies:
        return language.currencies[after], number.start, number.end + 1
    if before in language.currencies and len(before) == 3:
        return language.currencies[before], number.start - 1, number.end
    return None, number.start, number.end


def find_counts(
    folded: Folded, tokens: Sequence[Token], numbers: Sequence[Number], language: Language
) -> list[CountMention]:
    """Numbers with the word after them: a unit of time in its plain form, else the stem of the next word."""
    out: list[CountMention] = []
    for number in numbers:
        index = number.end
        while (
            index < len(tokens)
            and index < number.end + 3
            and tokens[index].word in (*language.fillers, "or", "more")
        ):
            index += 1
        unit: str | None = None
        if index < len(tokens) and tokens[index].is_word:
            word = tokens[index].word
            unit = language.units.get(word, tokens[index].stem)
        out.append(
            CountMention(
                number.value, unit, folded.span(tokens[number.start].start, tokens[number.end - 1].end)
            )
        )
    return out


def in_years(value: Decimal, unit: str) -> Decimal | None:
    """A span of time in years, or None for another unit."""
    per_year = {"years": Decimal(1), "months": Decimal(12), "weeks": Decimal(52), "days": Decimal(365)}
    if unit == "decades":
        return value * 10
    return value / per_year[unit] if unit in per_year else None
