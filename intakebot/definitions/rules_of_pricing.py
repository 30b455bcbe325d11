"""Meaning rules of the pricing folder; each yields its problems."""

from __future__ import annotations

import itertools
from typing import Any

from intakebot.definitions.problems import nearest
from intakebot.definitions.rules_shared import Problems, ready, unknown
from intakebot.definitions.source import Folder, Source


def dates_do_not_overlap(folder: Folder, source: Source) -> Problems:
    """No two rate cards, tariffs, or prices of one part start on the same day."""
    for key in ("rate_cards", "tariffs", "parts"):
        seen: set[tuple[str, Any]] = set()
        for record in ready(folder, key):
            start = (record.id if key == "parts" else "", record.built.effective_from)
            if start in seen:
                yield record.problem(
                    ("effective_from",), f"a second one from {start[1].isoformat()}", "different dates"
                )
            seen.add(start)


def one_currency(folder: Folder, source: Source) -> Problems:
    """Parts, tariffs and rate cards use one currency, so that a quote can add them."""
    cards = ready(folder, "rate_cards")
    if not cards:
        return
    currency = cards[-1].built.currency
    for key in ("rate_cards", "parts", "tariffs"):
        for record in ready(folder, key):
            if record.built.currency != currency:
                yield record.problem(
                    ("currency",), repr(record.built.currency), f"{currency!r}, as in the newest rate card"
                )


def rate_cards_fit(folder: Folder, source: Source) -> Problems:
    """Rate cards name a profile; flat prices cover each step; amounts and percentages make sense."""
    steps = {step for family in source.families.values() for step in family.ids("steps")}
    for record in ready(folder, "rate_cards"):
        card = record.built
        yield from unknown(record, ("profile",), card.profile, folder.ids("profiles"), "profile")
        for step in card.flat_step_prices:
            yield from unknown(record, ("flat_step_prices", step), step, steps, "step")
        if card.labour_mode == "flat_by_step":
            for step in sorted(steps - set(card.flat_step_prices)):
                yield record.problem(
                    ("flat_step_prices",), f"no price for {step!r}", "a price for every step"
                )
        for name in ("hourly_rate", "minimum_labour", "assessment_fee", "no_fix_cap", "deposit_percent", "tax_percent",
                     "discount_percent", "second_unit_percent", "priority_percent", "maximum_step"):  # fmt: skip
            if getattr(card, name) < 0:
                yield record.problem((name,), str(getattr(card, name)), "zero or more")
        for name in ("deposit_percent", "discount_percent", "second_unit_percent"):
            if getattr(card, name) > 100:
                yield record.problem((name,), str(getattr(card, name)), "at most 100")
        if card.maximum_step == 0:
            yield record.problem(("maximum_step",), "0", "more than 0, such as 5")


def profiles_keep_the_law(folder: Folder, source: Source) -> Problems:
    """A profile asks for the fields that make a written estimate one, and has its notices in every locale."""
    required = ("repairer_name", "repairer_address", "item", "proposed_work", "maximum", "valid_until")
    for record in ready(folder, "profiles"):
        for name in required:
            if name not in record.built.required_fields:
                yield record.problem(("required_fields",), f"no {name!r}", "at least " + ", ".join(required),
                                     nearest(name, record.built.required_fields))  # fmt: skip
        for index, key in enumerate(record.built.notices):
            for locale, texts in sorted(source.common.texts.items()):
                if key not in texts:
                    yield record.problem(("notices", index), f"no text {key!r} in {locale}", "a shared text")


def tariffs_complete(folder: Folder, source: Source) -> Problems:
    """Each zone has rising prices and a transit time; the shop's own country is in a zone."""
    shops = ready(folder, "shop")
    for record in ready(folder, "tariffs"):
        tariff = record.built
        for zone in tariff.zones:
            steps = tariff.prices.get(zone, ())
            weights = [weight for weight, _ in steps]
            if not steps or weights != sorted(set(weights)) or any(price <= 0 for _, price in steps):
                yield record.problem(
                    ("prices", zone),
                    "no prices, or weights that do not rise",
                    "[up to kg, price] pairs, rising",
                )
            if zone not in tariff.transit_business_days:
                yield record.problem(("transit_business_days",), f"no {zone!r}", "days for every zone")
        countries = {country for zone in tariff.zones.values() for country in zone}
        if shops and shops[0].built.country not in countries:
            yield record.problem(
                ("zones",), f"no zone with {shops[0].built.country}", "the shop's own country in a zone"
            )


def parcels_fit(folder: Folder, source: Source) -> Problems:
    """A parcel is larger outside than inside."""
    for record in ready(folder, "parcels"):
        for index, (inner, outer) in enumerate(
            zip(record.built.inner_mm, record.built.outer_mm, strict=True)
        ):
            if not 0 < inner < outer:
                yield record.problem(
                    ("inner_mm", index), f"{inner} mm inside and {outer} mm outside", "inner less than outer"
                )


def chance_words_cover(folder: Folder, source: Source) -> Problems:
    """Chance words start at 0, rise, and have a text in every locale."""
    words = sorted(ready(folder, "chance_words"), key=lambda record: record.built.at_least)
    if words and words[0].built.at_least != 0:
        yield words[0].problem(("at_least",), f"{words[0].built.at_least:g} as the lowest", "one word from 0")
    for earlier, later in itertools.pairwise(words):
        if earlier.built.at_least == later.built.at_least:
            yield later.problem(("at_least",), f"{later.built.at_least:g} twice", "different bounds")
    for record in words:
        for locale, texts in sorted(source.common.texts.items()):
            if f"chance.{record.id}" not in texts:
                yield record.problem((), f"no text 'chance.{record.id}' in {locale}", "a shared text")


def calendar_makes_sense(folder: Folder, source: Source) -> Problems:
    """The shop works on some day; closures end after they begin."""
    for record in ready(folder, "calendar"):
        days = record.built.working_weekdays
        if not days or not all(0 <= day <= 6 for day in days):
            yield record.problem(("working_weekdays",), repr(list(days)), "numbers from 0 (Monday) to 6")
        for index, (start, end, _) in enumerate(record.built.closures):
            if end < start:
                yield record.problem(("closures", index), f"{start} to {end}", "an end on or after the start")
