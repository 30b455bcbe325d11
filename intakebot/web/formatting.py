"""How templates print times, money and shares: filters only, no decisions."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from babel.dates import format_timedelta
from babel.numbers import format_currency, format_decimal
from flask import Flask

from intakebot.dates import day_month_year, short_moment
from intakebot.web import security, words

COUNTED_UP_TO = 200


def install(app: Flask) -> None:
    """Give the templates their filters."""
    app.add_template_filter(day)
    app.add_template_filter(moment)
    app.add_template_filter(ago)
    app.add_template_filter(money)
    app.add_template_filter(number)
    app.add_template_filter(bounded)


def day(value: date) -> str:
    """A date with the month in words."""
    return day_month_year(value, words.locale())


def moment(value: datetime) -> str:
    """A time on the shop's clock."""
    zone = ZoneInfo(security.services().definitions.pricing.shop.timezone)
    return short_moment(value.astimezone(zone), words.locale())


def ago(value: datetime) -> str:
    """How long ago, in one unit; empty when it is less than a minute."""
    passed = security.services().now() - value
    return (
        ""
        if passed < timedelta(minutes=1)
        else format_timedelta(passed, granularity="minute", threshold=1.5, locale=words.locale())
    )


def money(amount: Decimal | str, currency: str) -> str:
    """An amount with its currency, in the page's language."""
    return format_currency(Decimal(amount), currency, locale=_regional())


def number(value: float | Decimal, places: int = 0) -> str:
    """A number rounded for reading."""
    return format_decimal(round(Decimal(value), places), locale=_regional())


def bounded(count: int) -> str:
    """A count that is only taken up to a bound (see `Cases.counts`)."""
    return f"{count}+" if count >= COUNTED_UP_TO else str(count)


def _regional() -> str:
    country = security.services().definitions.pricing.shop.country
    return f"{words.locale()}_{country}" if words.locale() == "en" else words.locale()
