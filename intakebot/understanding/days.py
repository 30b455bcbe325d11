"""Dates in a message: written, relative to `today`, and periods, each with its precision.

A period is given by its first day ("next week": the coming Monday). A day and month without a year is the next such
day from today on. Day first or month first follows the language; the ISO form is always year first.
"""

from __future__ import annotations

import calendar
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from dateutil.easter import easter
from dateutil.relativedelta import relativedelta

from intakebot.understanding.folding import Folded
from intakebot.understanding.heard import DateMention, Precision
from intakebot.understanding.language import Language
from intakebot.understanding.matching import Mark
from intakebot.understanding.quantities import Number
from intakebot.understanding.tokens import Token

DEADLINE_REACH = 5
FAR = 200
"""Years into the past or future beyond which nothing is read as a date."""


@dataclass(frozen=True)
class _Day:
    day: date
    precision: Precision
    end: int


def find_dates(
    folded: Folded, tokens: Sequence[Token], numbers: Sequence[Number], marks: Sequence[Mark], today: date,
    language: Language,
) -> list[DateMention]:  # fmt: skip
    """Every date in the message, leftmost first, never overlapping."""
    by_start = {number.start: number for number in numbers}
    deadlines = [mark.end for mark in marks if mark.kind == "deadline"]
    out: list[DateMention] = []
    index = 0
    while index < len(tokens):
        found = _at(tokens, index, by_start, today, language)
        if found is None or found.end <= index:
            index += 1
            continue
        due = found.day >= today and any(0 <= index - end <= DEADLINE_REACH for end in deadlines)
        span = folded.span(tokens[index].start, tokens[found.end - 1].end)
        out.append(DateMention(found.day, found.precision, span, due))
        index = found.end
    return out


def _at(
    tokens: Sequence[Token], at: int, numbers: dict[int, Number], today: date, language: Language
) -> _Day | None:
    word = tokens[at].word
    if word in language.day_words:
        return _Day(today + timedelta(days=language.day_words[word]), "day", at + 1)
    role = language.period_words.get(word)
    if role in ("next", "this", "last"):
        return _period(tokens, at + 1, role, today, language)
    if role == "in" and at + 1 in numbers:
        return _span(tokens, numbers[at + 1], 1, today, language)
    if role == "before" and at + 1 in numbers:
        return _span(tokens, numbers[at + 1], -1, today, language)
    if role == "end":
        return _end_of(tokens, at + 1, today, language)
    if role in ("12-25", "01-01", "easter"):
        return _Day(_feast(role, today), "day", at + 1)
    if role == "weekend":
        return _Day(today + timedelta(days=(5 - today.weekday()) % 7), "day", at + 1)
    if word in language.weekdays and len(word) > 2:
        ahead = (language.weekdays[word] - today.weekday()) % 7 or 7
        return _Day(today + timedelta(days=ahead), "day", at + 1)
    written = _dotted(word, today)
    if written is not None:
        return _Day(written, "day", at + 1)
    if _ends_with_point(tokens, at):
        day, _, month = word.partition(".")
        short = _make(2024, int(month), int(day))
        return _Day(_coming(today, short.month, short.day), "day", at + 2) if short else None
    if at in numbers:
        number = numbers[at]
        return (
            _numeric(tokens, at, today, language)
            or _day_month(tokens, number, today, language)
            or _ago(tokens, number, today, language)
        )
    if word in language.months and at + 1 in numbers and (word != "may" or numbers[at + 1].written):
        return _month_first(tokens, at, numbers[at + 1], today, language)
    if word in language.months and len(word) > 3 and word not in ("march",):
        return _Day(_coming(today, language.months[word], 1), "month", at + 1)
    return None


def _make(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except (ValueError, OverflowError):
        return None


def _coming(today: date, month: int, day: int) -> date:
    """The next such day from today on (29 February: the next leap year)."""
    for year in range(today.year, today.year + 9):
        made = _make(year, month, day)
        if made is not None and made >= (today if day > 1 else today.replace(day=1)):
            return made
    return today


def _feast(role: str, today: date) -> date:
    if role == "easter":
        this_year = easter(today.year)
        return this_year if this_year >= today else easter(today.year + 1)
    month, day = (int(part) for part in role.split("-"))
    return _coming(today, month, max(day, 1)) if day > 1 else date(today.year + 1, month, day)


def _shift(today: date, unit: str, steps: Decimal) -> tuple[date, Precision] | None:
    if abs(steps) > 5000:
        return None
    whole = int(steps)
    try:
        if unit == "days":
            return today + timedelta(days=whole), "day"
        if unit == "weeks":
            return today + timedelta(days=int(steps * 7)), "day" if whole > 0 else "week"
        if unit == "months":
            return today + relativedelta(months=whole), "month"
        if unit == "years" and abs(whole) <= FAR:
            return today + relativedelta(months=int(steps * 12)), "year"
    except (ValueError, OverflowError):
        return None
    return None


def _span(tokens: Sequence[Token], number: Number, sign: int, today: date, language: Language) -> _Day | None:
    if number.end >= len(tokens):
        return None
    word = tokens[number.end].word
    unit = "weeks" if language.period_words.get(word) == "fortnight" else language.units.get(word)
    steps = number.value * (2 if language.period_words.get(word) == "fortnight" else 1) * sign
    moved = _shift(today, unit, steps) if unit else None
    return _Day(moved[0], moved[1], number.end + 1) if moved else None


def _ago(tokens: Sequence[Token], number: Number, today: date, language: Language) -> _Day | None:
    index = number.end
    if index + 1 < len(tokens) and language.period_words.get(tokens[index + 1].word) == "ago":
        found = _span(tokens, number, -1, today, language)
        return _Day(found.day, found.precision, index + 2) if found else None
    return None


def _period(tokens: Sequence[Token], at: int, role: str, today: date, language: Language) -> _Day | None:
    if at >= len(tokens):
        return None
    word = tokens[at].word
    step = {"next": 1, "this": 0, "last": -1}[role]
    monday = today - timedelta(days=today.weekday())
    if word in language.weekdays:
        target = monday + timedelta(days=language.weekdays[word] + 7 * step)
        if role == "this" and target < today:
            target += timedelta(days=7)
        return _Day(target, "day", at + 1)
    if language.period_words.get(word) == "weekend":
        return _Day(monday + timedelta(days=5 + 7 * step), "day", at + 1)
    if word in language.months:
        made = _coming(today, language.months[word], 1)
        if role == "last":
            made = date(today.year - (language.months[word] >= today.month), language.months[word], 1)
        return _Day(made, "month", at + 1)
    unit = language.units.get(word)
    if unit == "weeks":
        return _Day(monday + timedelta(days=7 * step), "week", at + 1)
    if unit == "months":
        return _Day(today.replace(day=1) + relativedelta(months=step), "month", at + 1)
    if unit == "years":
        return _Day(date(today.year + step, 1, 1), "year", at + 1)
    return None


def _end_of(tokens: Sequence[Token], at: int, today: date, language: Language) -> _Day | None:
    """ "end of the month", "end of next week", "end of March"."""
    index, step = at, 0
    while index < len(tokens) and index < at + 4:
        word = tokens[index].word
        role = language.period_words.get(word)
        if role == "next":
            step = 1
        unit = language.units.get(word)
        if unit == "weeks":
            return _Day(
                today - timedelta(days=today.weekday()) + timedelta(days=6 + 7 * step), "day", index + 1
            )
        if unit == "months":
            first = today.replace(day=1) + relativedelta(months=step)
            return _Day(first.replace(day=calendar.monthrange(first.year, first.month)[1]), "day", index + 1)
        if unit == "years":
            return _Day(date(today.year + step, 12, 31), "day", index + 1)
        if word in language.months:
            first = _coming(today, language.months[word], 1)
            return _Day(first.replace(day=calendar.monthrange(first.year, first.month)[1]), "day", index + 1)
        if role not in ("next", "this", "of", "the") and word not in language.fillers:
            return None
        index += 1
    return None


def _numeric(tokens: Sequence[Token], at: int, today: date, language: Language) -> _Day | None:
    """15/12/2026, 15/12, 2026-12-15 (the dashes are gone by now, the parts touch)."""
    parts: list[str] = [tokens[at].word]
    ends = [at + 1]
    index = at + 1
    while index < len(tokens) and len(parts) < 3:
        if tokens[index].word == "/" and index + 1 < len(tokens) and tokens[index + 1].word.isdecimal():
            parts.append(tokens[index + 1].word)
            index += 2
        elif (
            tokens[index].word.isdecimal()
            and tokens[index].start == tokens[index - 1].end + 1
            and len(parts[0]) == 4
        ):
            parts.append(tokens[index].word)
            index += 1
        else:
            break
        ends.append(index)
    if not all(part.isdecimal() and len(part) <= 4 for part in parts) or len(parts) < 2:
        return None
    values = [int(part) for part in parts]
    if len(values) == 3 and len(parts[0]) == 4:
        made = _make(*values)
    elif len(values) == 3:
        year = values[2] + (2000 if len(parts[2]) == 2 else 0)
        made = _pair(values[0], values[1], year, language)
    elif len(parts[0]) <= 2 and len(parts[1]) <= 2:
        this_year = _pair(values[0], values[1], today.year, language)
        made = (
            this_year
            if this_year is None or this_year >= today
            else _pair(values[0], values[1], today.year + 1, language)
        )
    else:
        made = None
    return _Day(made, "day", ends[-1]) if made and abs(made.year - today.year) <= FAR else None


def _pair(first: int, second: int, year: int, language: Language) -> date | None:
    day, month = (first, second) if language.day_first else (second, first)
    return _make(year, month, day) or _make(year, day, month)


def _dotted(word: str, today: date) -> date | None:
    """15.12.2026 or 15.12.26."""
    parts = word.split(".")
    if len(parts) != 3 or not all(part.isdecimal() and len(part) <= 4 for part in parts):
        return None
    year = int(parts[2]) + (2000 if len(parts[2]) == 2 else 0)
    made = _make(year, int(parts[1]), int(parts[0]))
    return made if made and abs(made.year - today.year) <= FAR else None


def _ends_with_point(tokens: Sequence[Token], at: int) -> bool:
    """ "24.12." as day and month are written in German."""
    day, point, month = tokens[at].word.partition(".")
    follows = at + 1 < len(tokens) and tokens[at + 1].word == "." and tokens[at + 1].start == tokens[at].end
    return (
        bool(point)
        and follows
        and day.isdecimal()
        and month.isdecimal()
        and len(day) <= 2
        and len(month) <= 2
    )


_ORDINAL_ENDINGS = ("st", "nd", "rd", "th", ".")


def _day_month(tokens: Sequence[Token], number: Number, today: date, language: Language) -> _Day | None:
    """ "15 December", "15th of December 2026", "15. Dezember"; a bare "2019" after a word for it is the caller's."""
    if number.value != number.value.to_integral_value() or not 1 <= number.value <= 31:
        return None
    index = number.end
    while (
        index < len(tokens)
        and index < number.end + 3
        and (
            tokens[index].word in _ORDINAL_ENDINGS
            or language.period_words.get(tokens[index].word) in ("of", "the")
        )
    ):
        index += 1
    following = language.period_words.get(tokens[index].word) if index < len(tokens) else None
    if (
        following in ("next", "this")
        and index + 1 < len(tokens)
        and language.units.get(tokens[index + 1].word) == "months"
    ):
        first = today.replace(day=1) + relativedelta(months=following == "next")
        made = _make(first.year, first.month, int(number.value))
        return _Day(made, "day", index + 2) if made else None
    if index >= len(tokens) or tokens[index].word not in language.months:
        return None
    return _with_year(tokens, index + 1, int(number.value), language.months[tokens[index].word], today)


def _month_first(
    tokens: Sequence[Token], at: int, number: Number, today: date, language: Language
) -> _Day | None:
    month = language.months[tokens[at].word]
    if number.value == number.value.to_integral_value() and 1 <= number.value <= 31:
        end = number.end
        if end < len(tokens) and tokens[end].word in _ORDINAL_ENDINGS:
            end += 1
        return _with_year(tokens, end, int(number.value), month, today)
    if number.value == number.value.to_integral_value() and abs(int(number.value) - today.year) <= FAR:
        made = _make(int(number.value), month, 1)
        return _Day(made, "month", number.end) if made else None
    return None


def _with_year(tokens: Sequence[Token], at: int, day: int, month: int, today: date) -> _Day | None:
    if at < len(tokens) and tokens[at].word.isdecimal() and len(tokens[at].word) == 4:
        made = _make(int(tokens[at].word), month, day)
        if made is not None and abs(made.year - today.year) <= FAR:
            return _Day(made, "day", at + 1)
    if _make(2024, month, day) is None:
        return None
    return _Day(_coming(today, month, day), "day", at)
