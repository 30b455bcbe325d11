"""Days, lengths and weights as people of a locale write them (CLDR through Babel)."""

from __future__ import annotations

from datetime import date

from babel import Locale, localedata
from babel.dates import format_date
from babel.numbers import format_decimal


def locale_in(language: str, country: str) -> str:
    """The language as written in a country where CLDR knows it ('en', 'GB' -> 'en_GB'), else the language alone."""
    name = f"{language.replace('-', '_')}_{country.upper()}"
    return name if localedata.exists(name) else language.replace("-", "_")


def day_in_words(day: date, locale: str) -> str:
    """A day with its weekday and month name: 3/9 and 9/3 are never told apart by figures alone."""
    return format_date(day, "full", locale=Locale.parse(locale))


def centimetres(millimetres: float, locale: str) -> str:
    """Millimetres as centimetres with at most one decimal, without the unit."""
    return format_decimal(round(millimetres / 10, 1), format="0.#", locale=Locale.parse(locale))


def kilograms(weight: float, locale: str) -> str:
    """A weight with at most one decimal, without the unit."""
    return format_decimal(round(weight, 1), format="0.#", locale=Locale.parse(locale))


def sides(size_mm: tuple[int, int, int] | tuple[float, float, float], locale: str) -> str:
    """Three sides in centimetres: '34 x 30 x 8.5'."""
    return " x ".join(centimetres(side, locale) for side in size_mm)
