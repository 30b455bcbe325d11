"""Days and times in a language's own order and marks (CLDR through Babel): "4 January" and "4. Januar".

The month stands in letters wherever a person reads it: 3/9 is March in one country and September in another.
English is that of the world (CLDR's `en_001`), which puts the day first.
"""

from __future__ import annotations

from datetime import date, datetime

from babel import localedata
from babel.dates import format_date, format_skeleton, format_time

WORLD = "001"


def day_month(day: date, locale: str) -> str:
    """Without the year, for a day that is near: "4 January"."""
    return str(format_skeleton("MMMMd", day, locale=_worldwide(locale)))


def day_month_year(day: date, locale: str) -> str:
    """ "4 January 2027"."""
    return str(format_date(day, "long", locale=_worldwide(locale)))


def short_day(day: date, locale: str, *, year: bool = True, weekday: bool = False) -> str:
    """The month shortened: "4 Jan 2027", "Mon, 4 Jan 2027"."""
    skeleton = f"{'y' if year else ''}MMM{'E' if weekday else ''}d"
    return str(format_skeleton(skeleton, day, locale=_worldwide(locale)))


def short_moment(at: datetime, locale: str, *, year: bool = True) -> str:
    """ "4 Jan 2027, 14:05", on the clock that `at` is on."""
    return f"{short_day(at.date(), locale, year=year)}, {format_time(at.time(), 'HH:mm', locale=_worldwide(locale))}"


def _worldwide(locale: str) -> str:
    wide = f"{locale.replace('-', '_')}_{WORLD}"
    return wide if localedata.exists(wide) else locale.replace("-", "_")
