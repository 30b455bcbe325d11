"""The rate card, parts, postage and calendar as tables of finished strings. Pure, except that `problems` reads files."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import holidays
from babel.dates import get_day_names
from babel.numbers import format_currency

from intakebot.dates import day_month_year, short_day
from intakebot.definitions import check
from intakebot.definitions.model import Definitions, Pricing, RateCard, ShippingTariff
from intakebot.definitions.texts import Texts
from intakebot.sheets import Table

_MONEY = (
    "hourly_rate",
    "minimum_labour",
    "assessment_fee",
    "no_fix_cap",
    "maximum_step",
    "question_burden_money",
    "stop_threshold_amount",
)
_PERCENT = (
    "priority_percent",
    "deposit_percent",
    "discount_percent",
    "second_unit_percent",
    "tax_percent",
    "stop_threshold_percent",
)
_ORDER = (
    "labour_mode", "hourly_rate", "block_minutes", "minimum_labour", "assessment_fee", "assessment_rule", "no_fix", "no_fix_cap",
    "unhelpful_parts", "priority_percent", "second_unit_percent", "discount_percent", "deposit_percent", "return_shipping",
    "tax_name", "tax_percent", "tax_mode", "rounding", "rounding_scope", "maximum_percentile", "maximum_step", "validity_days",
    "warranty_days", "stop_threshold_amount", "stop_threshold_percent", "question_burden_money", "profile",
)  # fmt: skip


@dataclass(frozen=True)
class RatesPage:
    """in_force: the rate card of today. others: older and coming rate cards, and postage tariffs."""

    in_force: Table
    parts: Table
    others: tuple[Table, ...]


@dataclass(frozen=True)
class CalendarPage:
    working_days: str
    closed: Table


def rates_page(definitions: Definitions, today: date, texts: Texts) -> RatesPage:
    """Every price the estimates are made of, with who says so."""
    pricing, locale = definitions.pricing, texts.locale
    in_force = pricing.rate_card_on(today)
    columns = (texts.say("web.rates.what"), texts.say("web.rates.value"))
    others = [
        _card(card, columns, texts, False) for card in reversed(pricing.rate_cards) if card is not in_force
    ]
    others += [_tariff(tariff, texts) for tariff in pricing.tariffs]
    parts = Table(
        tuple(
            texts.say(f"web.rates.part.{name}") for name in ("name", "price", "condition", "from", "source")
        ),
        tuple(
            (
                texts.say(f"spare.{part.id}") if texts.has(f"spare.{part.id}") else part.id.replace("_", " "),
                format_currency(part.price, part.currency, locale=locale),
                texts.say(f"web.rates.condition.{part.condition}"),
                short_day(part.effective_from, locale),
                part.source,
            )
            for dated in pricing.parts.values()
            for part in dated
        ),
        align=("left", "right"),
        caption=texts.say("web.rates.parts"),
    )
    return RatesPage(_card(in_force, columns, texts, True), parts, tuple(others))


def _card(card: RateCard, columns: tuple[str, str], texts: Texts, in_force: bool) -> Table:
    day = day_month_year(card.effective_from, texts.locale)
    state = texts.say("web.rates.in_force" if in_force else "web.rates.from", day=day)
    rows = tuple((texts.say(f"web.rates.field.{name}"), _value(card, name, texts)) for name in _ORDER)
    return Table(columns, (*rows, (texts.say("web.rates.part.source"), card.source)), caption=state)


def _value(card: RateCard, name: str, texts: Texts) -> str:
    value = getattr(card, name)
    if name in _MONEY:
        return format_currency(value, card.currency, locale=texts.locale)
    if name in _PERCENT:
        return f"{value} %"
    key = f"web.rates.code.{value}"
    return texts.say(key) if texts.has(key) else str(value)


def _tariff(tariff: ShippingTariff, texts: Texts) -> Table:
    zones = tariff.prices
    rows = tuple(
        (zone, f"{up_to} kg", format_currency(price, tariff.currency, locale=texts.locale))
        for zone, steps in zones.items()
        for up_to, price in steps
    )
    columns = tuple(texts.say(f"web.rates.postage.{name}") for name in ("zone", "up_to", "price"))
    return Table(
        columns,
        rows,
        align=("left", "right", "right"),
        caption=texts.say("web.rates.postage.title", tariff=tariff.id.replace("_", " ")),
    )


def calendar_page(pricing: Pricing, today: date, texts: Texts) -> CalendarPage:
    """Working days, public holidays and own closures of the coming year."""
    calendar, locale, end = pricing.calendar, texts.locale, today + timedelta(days=366)
    names = get_day_names("wide", locale=locale)
    public = holidays.country_holidays(
        calendar.country, subdiv=calendar.subdivision, years=(today.year, today.year + 1), language=None
    )
    rows = [(day, day, name) for day, name in public.items() if today <= day <= end]
    rows += [(first, last, name) for first, last, name in calendar.closures if last >= today]
    table = Table(
        (texts.say("web.calendar.days"), texts.say("web.calendar.why")),
        tuple((_days(first, last, locale), name) for first, last, name in sorted(rows)),
        caption=texts.say("web.calendar.closed"),
    )
    return CalendarPage(", ".join(names[day] for day in calendar.working_weekdays), table)


def _days(first: date, last: date, locale: str) -> str:
    begin = short_day(first, locale, weekday=True)
    return begin if first == last else f"{begin} - {short_day(last, locale, weekday=True)}"


def problems(root: Path | None) -> tuple[str, ...]:
    """Every problem of the files as they are now, in words; they take effect at the next start only."""
    return tuple(str(problem) for problem in check(root)) if root is not None else ()
