"""The few figures of an estimate that are seen first, as finished strings. Pure, from its public view."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from babel.numbers import format_currency

from intakebot.dates import day_month_year


@dataclass(frozen=True)
class Glance:
    """What the estimate page says first."""

    number: int
    likely: str
    likely_is_repair: bool
    likely_percent: int
    p10: str
    p90: str
    maximum: str
    if_not_repaired: str
    valid_until: str


def glance(view: Mapping[str, Any], locale: str) -> Glance:
    """From the public view of an estimate (`amount` and `currency` in every money value)."""

    def money(name: str) -> str:
        return _words(view[name], locale)

    likely = view["outcomes"][view["likely"]]
    return Glance(
        number=int(view["number"]),
        likely=_words(likely["total"], locale),
        likely_is_repair=likely["repaired"],
        likely_percent=likely["chance"]["percent"],
        p10=money("p10"),
        p90=money("p90"),
        maximum=money("maximum"),
        if_not_repaired=money("if_not_repaired"),
        valid_until=day_month_year(date.fromisoformat(view["valid_until"]), locale),
    )


def _words(value: Mapping[str, str], locale: str) -> str:
    return format_currency(Decimal(value["amount"]), value["currency"], locale=locale)
