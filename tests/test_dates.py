"""Days in words: the order and the marks of each language, checked against CLDR's own patterns as printed in its charts."""

from __future__ import annotations

from datetime import datetime

import pytest

from intakebot.dates import day_month, day_month_year, short_day, short_moment

AT = datetime(2027, 1, 4, 14, 5)


@pytest.mark.parametrize(
    ("locale", "words"),
    [
        ("en", ("4 January", "4 January 2027", "Mon, 4 Jan 2027", "4 Jan 2027, 14:05", "4 Jan, 14:05")),
        ("de", ("4. Januar", "4. Januar 2027", "Mo., 4. Jan. 2027", "4. Jan. 2027, 14:05", "4. Jan., 14:05")),
    ],
)
def test_a_day_is_written_as_the_language_writes_it(locale, words):
    """Source: Unicode CLDR, date formats of `en_001` and `de` (MMMMd, long date, yMMMEd, yMMMd, MMMd); DIN 5008 writes "4. Januar 2027", too."""
    day = AT.date()
    assert words == (
        day_month(day, locale),
        day_month_year(day, locale),
        short_day(day, locale, weekday=True),
        short_moment(AT, locale),
        short_moment(AT, locale, year=False),
    )
