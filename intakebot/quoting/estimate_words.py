"""The estimate in words: every field of the written form as one finished string in the reader's language.

Only this module and `estimate_sheet` know sentences, and both only put texts together: no amount is computed here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from babel.core import Locale, UnknownLocaleError
from babel.dates import format_date
from babel.lists import format_list
from babel.numbers import format_percent

from intakebot.dates import short_moment
from intakebot.definitions import Definitions, Texts
from intakebot.definitions.model import Part, Profile, RateCard
from intakebot.errors import BadInputError
from intakebot.quoting.chances import ChanceShown, shown_as
from intakebot.quoting.charging import LineItem
from intakebot.quoting.consent import Consent
from intakebot.quoting.estimate import Estimate, EstimateOutcome
from intakebot.quoting.money import Money, format_money

SUSPECTS_NAMED = 2
STEP_SEPARATOR = "; "
"""Steps are short sentences of their own and may hold commas."""

LEAST_SUSPICION = 0.10
"""Causes below this chance are not named on the form (common practice, no source)."""


def display_locale(locale: str, country: str) -> str:
    """The language with the shop's country where CLDR knows the pair (`en` and `GB` -> `en_GB`), else the language."""
    language = locale.replace("-", "_")
    if "_" in language:
        return language
    try:
        return str(Locale.parse(f"{language}_{country}"))
    except (ValueError, UnknownLocaleError):
        return language


@dataclass(frozen=True)
class Wording:
    """Texts, numbers and dates of one language for one estimate."""

    estimate: Estimate
    definitions: Definitions
    texts: Texts
    locale: str
    consent: Consent | None = None

    @property
    def card(self) -> RateCard:
        for card in self.definitions.pricing.rate_cards:
            if card.id == self.estimate.rate_card_id:
                return card
        raise BadInputError("rate_card_id", self.estimate.rate_card_id, "a rate card of these definitions")

    @property
    def profile(self) -> Profile:
        try:
            return self.definitions.pricing.profiles[self.estimate.profile_id]
        except KeyError:
            raise BadInputError(
                "profile_id", self.estimate.profile_id, "a profile of these definitions"
            ) from None

    def say(self, key: str, **values: object) -> str:
        return self.texts.say(f"quote.{key}", 0, **values)

    def money(self, money: Money) -> str:
        return format_money(money, self.locale)

    def day(self, day: date) -> str:
        return format_date(day, "long", locale=self.locale)

    def moment(self, at: datetime) -> str:
        return short_moment(at, self.locale)

    def way(self, channel: str) -> str:
        """How a decision came, in words; a gateway of the shop's own by the name it has there."""
        key = f"quote.way.{channel}"
        return self.texts.say(key) if self.texts.has(key) else channel.replace("_", " ")

    def percent(self, percent: Decimal | int) -> str:
        pattern = "#,##0.##" if Decimal(percent) % 1 else None
        shown = format_percent(Decimal(percent) / 100, locale=self.locale)
        if pattern is None:
            return shown
        return format_percent(Decimal(percent) / 100, locale=self.locale, decimal_quantization=False)

    def chance(self, shown: ChanceShown) -> str:
        return say_chance(self.texts, shown, self.locale)

    def listed(self, things: Sequence[str]) -> str:
        return format_list(list(things), locale=self.locale)

    def name(self, *keys: str) -> str:
        """The first of the keys that has a text; the last part of the last key as words when none has."""
        for key in keys:
            if self.texts.has(key):
                return self.texts.say(key)
        return keys[-1].split(".")[1].replace("_", " ")

    def step(self, step_id: str) -> str:
        return self.name(f"step.{step_id}.customer", f"step.{step_id}.name").rstrip(".")

    def part(self, part_id: str) -> str:
        return self.name(f"spare.{part_id}")

    def part_record(self, part_id: str) -> Part | None:
        dated = self.definitions.pricing.parts.get(part_id, ())
        in_force = [part for part in dated if part.effective_from <= self.estimate.quoted_on]
        return in_force[-1] if in_force else None

    def steps(self, step_ids: Sequence[str]) -> tuple[str, ...]:
        """Step names, each once (several board trials are one thing to a customer)."""
        return tuple(dict.fromkeys(self.step(step_id.split("#")[0]) for step_id in step_ids))

    def outcome(self, index: int) -> str:
        """What happens, in a line."""
        outcome = self.estimate.outcomes[index]
        if not outcome.repaired:
            return self.say("outcome.failed" if outcome.steps else "outcome.only_look")
        return self.say(
            "outcome.later" if index else "outcome.first",
            steps=STEP_SEPARATOR.join(self.steps(outcome.added)),
        )


def wording(
    estimate: Estimate, definitions: Definitions, locale: str, consent: Consent | None = None
) -> Wording:
    """Raises: BadInputError for a locale without texts."""
    if locale not in definitions.locales:
        raise BadInputError("locale", locale, "one of " + ", ".join(definitions.locales))
    family = estimate.family_id if estimate.family_id in definitions.families else None
    shown = display_locale(locale, definitions.pricing.shop.country)
    return Wording(estimate, definitions, Texts(definitions, family, locale), shown, consent)


def say_chance(texts: Texts, shown: ChanceShown, locale: str) -> str:
    """A chance in words and number, such as "likely, about 65%"."""
    key = {"": "quote.chance", "under": "quote.chance_under", "over": "quote.chance_over"}[shown.edge]
    percent = format_percent(shown.percent / 100, locale=locale)
    return texts.say(key, word=texts.say(f"chance.{shown.word}"), percent=percent)


def percent_only(words: Wording, shown: ChanceShown) -> str:
    percent = words.percent(shown.percent)
    return percent if not shown.edge else words.say(f"percent_{shown.edge}", percent=percent)


def line_words(words: Wording, line: LineItem) -> str:
    """What a line of the bill is for."""
    card = words.card
    part = words.part_record(line.code) if line.kind == "part" else None
    return words.say(
        f"line.{line.kind}",
        minutes=card.block_minutes,
        step=words.step(line.code) if line.kind == "flat_step" else "",
        part=words.part(line.code) if line.kind == "part" else "",
        condition=words.say(f"condition.{part.condition}") if part else "",
        percent=words.percent(line.quantity) if line.unit == "percent" else "",
        tax=card.tax_name,
    )


# ---- fields ------------------------------------------------------------------------------------------------------------


def field_values(words: Wording) -> dict[str, str]:
    """Every field of the form by id (`profiles.FIELD_IDS`); empty when the case does not hold it yet."""
    return {**_people(words), **_device(words), **_prices(words), **_work(words), **_terms(words)}


def _people(words: Wording) -> dict[str, str]:
    shop, case = words.definitions.pricing.shop, words.estimate.case
    return {
        "repairer_name": shop.legal_name or shop.name,
        "repairer_registration": shop.registration,
        "repairer_address": ", ".join(shop.address),
        "repairer_phone": shop.phone,
        "repairer_email": shop.email,
        "repairer_website": shop.website,
        "customer_name": case.customer_name.strip(),
        "customer_address": ", ".join(part.strip() for part in case.customer_address if part.strip()),
        "customer_phone": case.customer_phone.strip(),
        "customer_email": case.customer_email.strip(),
        "reference": case.reference,
        "quote_number": words.estimate.number,
        "date_given": words.day(words.estimate.quoted_on),
        "valid_until": words.say("value.valid_until", date=words.day(words.estimate.valid_until)),
        "drop_off_place": ", ".join([shop.name, *shop.address]),
    }


def _device(words: Wording) -> dict[str, str]:
    case = words.estimate.case
    unknown, none = words.say("value.not_known"), words.say("value.none_named")
    enclosed = [words.name(f"enclose.{item}").rstrip(".") for item in case.accessories]
    return {
        "item": words.name(f"device.{case.device_id}") if case.device_id else "",
        "model": case.model_name.strip() or unknown,
        "serial": case.serial.strip() or unknown,
        "accessories": words.listed(enclosed) if enclosed else none,
        "discs": words.listed([disc for disc in case.discs if disc])
        if any(case.discs)
        else _untitled_disc(words),
        "customer_words": case.customer_words.strip() or none,
    }


def _untitled_disc(words: Wording) -> str:
    """A disc inside whose title nobody knows, or none."""
    disc = words.estimate.case.disc_class
    if not disc:
        return words.say("value.none_named")
    known = words.texts.has(f"disc.{disc}")
    return (
        words.say("value.disc_inside", disc=words.name(f"disc.{disc}"))
        if known
        else words.say("value.disc_some")
    )


def _prices(words: Wording) -> dict[str, str]:
    estimate, card = words.estimate, words.card
    maximum_key = "value.maximum_limit" if is_own_limit(estimate) else "value.maximum"
    percent = words.percent(card.tax_percent)
    deposit = estimate.deposit
    ceiling = estimate.legal_ceiling
    return {
        "price": _likely_price(words),
        "price_range": _range(words),
        "maximum": words.say(maximum_key, maximum=words.money(estimate.maximum)),
        "if_not_repaired": words.money(estimate.if_not_repaired),
        "deposit": words.say("value.deposit", amount=words.money(deposit)) if deposit.amount else words.say("value.deposit_none"),
        "tax": words.say("value.tax_included" if estimate.tax_included else "value.tax_added", tax=card.tax_name, percent=percent),
        "cap_rule": words.say("value.cap")
        if ceiling is None
        else words.say("value.cap_local", ceiling=words.money(ceiling), maximum=words.money(estimate.maximum)),
        "if_declined": words.say("value.if_declined", amount=words.money(estimate.minimum_fee)),
    }  # fmt: skip


def _likely_price(words: Wording) -> str:
    estimate, repair = words.estimate, likely_repair(words.estimate)
    failed = words.money(estimate.if_not_repaired)
    if repair is None:
        return words.say("value.price_look", failed=failed)
    price = words.money(repair.total)
    if estimate.likely_outcome.repaired:
        return words.say("value.price", price=price, chance=words.chance(estimate.repaired_shown))
    return words.say(
        "value.price_failed", failed=failed, price=price, chance=words.chance(estimate.likely_outcome.shown)
    )


def _range(words: Wording) -> str:
    estimate = words.estimate
    low, middle, high = (words.money(point) for point in (estimate.p10, estimate.p50, estimate.p90))
    if estimate.p10 == estimate.p90:
        return words.say("value.range_one", price=low)
    return words.say("value.range", low=low, high=high, middle=middle)


def _work(words: Wording) -> dict[str, str]:
    estimate, card = words.estimate, words.card
    suspects = [(fault, chance) for fault, chance in estimate.case.suspects if chance >= LEAST_SUSPICION]
    named = [_suspect(words, fault, chance) for fault, chance in suspects[:SUSPECTS_NAMED]]
    steps = words.steps(estimate.authorised_steps)
    parts = [_part(words, part_id) for part_id in estimate.parts]
    rate = words.say(
        "value.labour_time", amount=words.money(estimate.block_price), minutes=card.block_minutes
    )
    if card.labour_mode == "flat_by_step":
        rate = words.say("value.labour_flat")
    labour = [
        line.amount
        for line in estimate.likely_outcome.lines
        if line.kind in ("labour", "flat_step", "minimum_labour")
    ]
    done = labour[0] if labour else Money.of_minor(0, estimate.currency)
    for amount in labour[1:]:
        done = done + amount
    least = Money(card.minimum_labour, card.currency)
    return {
        "fault_suspected": words.listed(named) if named else words.say("value.unknown_fault"),
        "proposed_work": STEP_SEPARATOR.join(steps) if steps else words.say("value.no_work"),
        "parts": words.listed(parts) if parts else words.say("value.no_parts"),
        "labour": words.say("value.labour_done", amount=words.money(done))
        if done.amount
        else words.say("value.labour_none"),
        "labour_rate": words.say("value.labour_least", rate=rate, least=words.money(least))
        if least.amount
        else rate,
        "assessment_fee": _assessment(words),
    }


def _suspect(words: Wording, fault: str, chance: float) -> str:
    shown = shown_as(int(chance * 100 + 0.5), chance, words.definitions.pricing.chance_words)
    name = words.name(f"fault.{fault}.customer").rstrip(".")
    return words.say("value.suspect", fault=name, word=words.texts.say(f"chance.{shown.word}"))


def _part(words: Wording, part_id: str) -> str:
    record = words.part_record(part_id)
    if record is None:
        return words.part(part_id)
    price = words.money(Money(record.price, record.currency))
    return f"{words.part(part_id)} ({words.say(f'condition.{record.condition}')}, {price})"


def _assessment(words: Wording) -> str:
    card = words.card
    fee = Money(card.assessment_fee, card.currency)
    if card.assessment_rule == "waived" or not fee.amount:
        return words.say("value.fee_none")
    key = "value.fee_credited" if card.assessment_rule == "credited_when_repaired" else "value.fee_charged"
    return words.say(key, amount=words.money(fee))


def _terms(words: Wording) -> dict[str, str]:
    card, case = words.card, words.estimate.case
    return {
        "shipping_to_shop": words.say("value.post_yours", amount=words.money(case.shipping_to_shop))
        if case.shipping_to_shop
        else words.say("value.post_yours_unknown"),
        "return_shipping": _post_back(words),
        "completion_date": words.say("value.completion", date=words.day(case.completion_date))
        if case.completion_date
        else words.say("value.completion_unknown"),
        "loan_item": words.say(f"value.loan_{card.loan_item}"),
        "extras": words.say("value.extras_priority", percent=words.percent(card.priority_percent))
        if case.priority
        else words.say("value.extras_none"),
        "old_parts": words.say(f"value.old_parts_{card.old_parts}"),
        "data_loss_notice": words.say("value.data_loss"),
        "refurbished_parts_notice": words.say(
            "value.refurbished" if plans_used_parts(words) else "value.new_parts"
        ),
        "warranty": words.say("value.warranty", days=card.warranty_days)
        if card.warranty_days
        else words.say("value.warranty_none"),
        "consent_log": words.say("value.consent_some" if _decisions(words) else "value.consent_none"),
        "if_unpaid": words.say("value.if_unpaid"),
        "if_uncollected": words.say("value.if_uncollected"),
        "local_law": words.say("value.local_law"),
        "not_legal_advice": words.say("value.not_legal_advice"),
        "right_to_estimate": words.say("value.right_to_estimate"),
    }


def plans_used_parts(words: Wording) -> bool:
    """Whether a part of the plan is used or rebuilt; left-out steps are asked about before they are done."""
    records = (words.part_record(part) for part in words.estimate.parts)
    return any(record is not None and record.condition != "new" for record in records)


def is_own_limit(estimate: Estimate) -> bool:
    """Whether the maximum is the figure the customer gave."""
    return estimate.stopped_by == "limit" and estimate.maximum == estimate.worth.limit


def _post_back(words: Wording) -> str:
    card, case = words.card, words.estimate.case
    if card.return_shipping != "by_zone":
        return words.say(f"value.post_{card.return_shipping}")
    if case.return_shipping is None:
        return words.say("value.post_unknown")
    return words.say("value.post_back", amount=words.money(case.return_shipping))


def _decisions(words: Wording) -> int:
    log = words.consent.log if words.consent else ()
    return sum(event.kind in ("accepted", "limited", "declined") for event in log)


def likely_repair(estimate: Estimate) -> EstimateOutcome | None:
    """The most likely end with a repair; None when there is none in the plan."""
    repaired = [outcome for outcome in estimate.outcomes if outcome.repaired]
    return max(repaired, key=lambda outcome: outcome.chance, default=None)
