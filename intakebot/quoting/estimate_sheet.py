"""The written estimate as a `Sheet`, from which HTML, PDF, JSON and plain text are printed, and as short messages.

The first thing said is the most the customer pays. Then what can happen, how the most likely price is made up, what is done, the terms
and the notices of the jurisdiction's profile.
"""

from __future__ import annotations

from intakebot.definitions import Definitions
from intakebot.errors import BadInputError
from intakebot.quoting.consent import Consent, QuoteTerms
from intakebot.quoting.estimate import Estimate
from intakebot.quoting.estimate_words import (
    Wording,
    field_values,
    is_own_limit,
    likely_repair,
    line_words,
    percent_only,
    plans_used_parts,
    wording,
)
from intakebot.sheets import Section, Sheet, Table, sheet_text

PRICE_FIELDS = ("maximum", "price", "price_range", "if_not_repaired", "deposit", "valid_until")
PLAN_FIELDS = (
    "fault_suspected",
    "proposed_work",
    "parts",
    "labour",
    "labour_rate",
    "assessment_fee",
    "completion_date",
)
DEVICE_FIELDS = ("item", "model", "serial", "accessories", "discs", "customer_words")
TERMS_FIELDS = (
    "tax", "shipping_to_shop", "return_shipping", "drop_off_place", "extras", "loan_item", "old_parts",
    "data_loss_notice", "refurbished_parts_notice", "warranty", "if_declined", "if_unpaid", "if_uncollected", "cap_rule",
    "right_to_estimate", "consent_log", "local_law", "not_legal_advice",
)  # fmt: skip
PEOPLE_FIELDS = (
    "repairer_name", "repairer_registration", "repairer_address", "repairer_phone", "repairer_email", "repairer_website",
    "customer_name", "customer_address", "customer_phone", "customer_email", "reference", "quote_number", "date_given",
)  # fmt: skip
OPTIONAL_FIELDS = ("deposit", "extras", "discs", "accessories", "consent_log")
"""Left out of the sheet when they say nothing, unless the profile asks for them."""


def estimate_sheet(
    estimate: Estimate,
    definitions: Definitions,
    locale: str,
    consent: Consent | None = None,
    *,
    figure: str | None = None,
) -> Sheet:
    """The written estimate in one language.

    Args:
        consent: adds the log of decisions.
        figure: id of the price picture, when the caller hands one to the renderer.
    Raises: BadInputError for a locale without texts, or definitions that are not the estimate's.
    """
    words = wording(estimate, definitions, locale, consent)
    values = field_values(words)
    sections = (
        _price_section(words, values, figure),
        _outcomes_section(words),
        _lines_section(words),
        Section("plan", words.say("section.plan"), rows=_rows(words, values, PLAN_FIELDS)),
        _ask_first_section(words),
        Section("device", words.say("section.device"), rows=_rows(words, values, DEVICE_FIELDS)),
        Section("terms", words.say("section.terms"), rows=_rows(words, values, TERMS_FIELDS)),
        _notices_section(words),
        Section("people", words.say("section.people"), rows=_rows(words, values, PEOPLE_FIELDS)),
        _log_section(words),
    )
    return Sheet(
        id="estimate",
        title=words.say("revised_title" if estimate.supersedes else "title"),
        reference=estimate.reference,
        locale=locale,
        sections=tuple(section for section in sections if not section.is_empty),
        subtitle=words.say("subtitle", device=values["item"]) if values["item"] else "",
        footer=words.say(
            "footer",
            number=estimate.number,
            date=words.day(estimate.quoted_on),
            card=words.day(words.card.effective_from),
            law=words.say("value.not_legal_advice"),
        ),
    )


def _rows(words: Wording, values: dict[str, str], fields: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    silent = {words.say("value.none_named"), words.say("value.extras_none"), words.say("value.deposit_none")}
    required = words.profile.required_fields
    return tuple(
        (words.say(f"field.{field}"), values[field])
        for field in fields
        if values[field]
        and (field in required or field not in OPTIONAL_FIELDS or values[field] not in silent)
    )


def _price_section(words: Wording, values: dict[str, str], figure: str | None) -> Section:
    return Section(
        "price",
        words.say("section.price"),
        paragraphs=(worth_words(words),),
        rows=_rows(words, values, PRICE_FIELDS),
        figure=figure,
    )


def _outcomes_section(words: Wording) -> Section:
    estimate = words.estimate
    rows = tuple(
        (words.outcome(index), percent_only(words, outcome.shown), words.money(outcome.total))
        for index, outcome in enumerate(estimate.outcomes)
    )
    columns = (words.say("column.happens"), words.say("column.chance"), words.say("column.you_pay"))
    return Section(
        "outcomes", words.say("section.outcomes"), tables=(Table(columns, rows, ("left", "right", "right")),)
    )


def _lines_section(words: Wording) -> Section:
    """Lines of the most likely end; their amounts sum to the total in the last row."""
    estimate = words.estimate
    outcome = estimate.likely_outcome
    rows = [
        (
            line_words(words, line),
            f"{line.quantity:f}" if line.unit != "percent" else "",
            words.money(line.unit_price) if line.unit != "percent" else "",
            words.money(line.amount),
        )
        for line in outcome.lines
    ]
    rows.append((words.say("column.total"), "", "", words.money(outcome.total)))
    columns = tuple(words.say(f"column.{name}") for name in ("line", "quantity", "each", "amount"))
    table = Table(columns, tuple(rows), ("left", "right", "right", "right"), total=True)
    note = words.say(
        "includes_tax",
        tax=words.card.tax_name,
        percent=words.percent(words.card.tax_percent),
        amount=words.money(outcome.tax),
    )
    return Section(
        "lines",
        words.say("section.lines", total=words.money(outcome.total)),
        paragraphs=(note,) if estimate.tax_included and outcome.tax.amount else (),
        tables=(table,),
    )


def _ask_first_section(words: Wording) -> Section:
    left_out = words.steps(words.estimate.left_out_steps)
    return Section("ask_first", words.say("section.ask_first"), tone="note", items=left_out)


def _notices_section(words: Wording) -> Section:
    """The notices of the profile that no field above has said already."""
    said = set(field_values(words).values())
    moot = () if plans_used_parts(words) else ("quote.notice.refurbished_parts",)
    notices = [words.texts.say(key) for key in words.profile.notices if key not in moot]
    fresh = tuple(text for text in dict.fromkeys(notices) if text not in said)
    return Section("notices", words.say("section.notices"), tone="note", items=fresh)


def _log_section(words: Wording) -> Section:
    if words.consent is None or not words.consent.log:
        return Section("log", words.say("section.log"))
    rows = tuple(
        (
            words.moment(event.at),
            words.say(f"event.{event.kind}"),
            words.say("who.customer" if event.who == "customer" else "who.shop"),
            words.way(event.channel),
            words.money(event.amount),
        )
        for event in words.consent.log
    )
    columns = tuple(words.say(f"column.{name}") for name in ("when", "what", "who", "how", "amount"))
    table = Table(columns, rows, ("left", "left", "left", "left", "right"))
    return Section("log", words.say("section.log"), tables=(table,))


def worth_words(words: Wording) -> str:
    """Whether a repair is worth it, said plainly."""
    estimate, worth = words.estimate, words.estimate.worth
    key: str = worth.verdict
    if worth.verdict == "worth_it" and worth.value:
        key = "worth_value"
    if worth.verdict == "poor_chance" and worth.likely is None:
        key = "no_repair"
    return words.say(
        f"worth.{key}",
        price=words.money(worth.likely) if worth.likely else "",
        maximum=words.money(worth.maximum),
        value=words.money(worth.value) if worth.value else "",
        limit=words.money(worth.limit) if worth.limit else "",
        chance=words.chance(estimate.repaired_shown),
        percent=percent_only(words, estimate.repaired_shown),
    )


def estimate_messages(estimate: Estimate, definitions: Definitions, locale: str) -> tuple[str, ...]:
    """The estimate as short messages for a talk: the maximum first, then what is likely, then the rest."""
    words = wording(estimate, definitions, locale)
    repair = likely_repair(estimate)
    limit = "maximum_limit" if is_own_limit(estimate) else "maximum"
    failed = words.say("message.failed", amount=words.money(estimate.if_not_repaired))
    messages = [words.say(f"message.{limit}", maximum=words.money(estimate.maximum))]
    if repair is None:
        messages.append(words.say("message.only_look", amount=words.money(estimate.if_not_repaired)))
    else:
        chance, price = words.chance(estimate.repaired_shown), words.money(repair.total)
        low, high = words.money(estimate.p10), words.money(estimate.p90)
        messages += [words.say("message.likely", price=price, chance=chance), failed]
        if estimate.p10 != estimate.p90:
            messages.append(words.say("message.range", low=low, high=high))
    messages.append(worth_words(words))
    if estimate.left_out_steps and estimate.can_start:
        messages.append(words.say("message.ask_first"))
    messages.append(words.say("message.valid", date=words.day(estimate.valid_until)))
    return tuple(messages)


def missing_fields(estimate: Estimate, definitions: Definitions, locale: str) -> tuple[str, ...]:
    """Fields the jurisdiction's profile requires and the case does not hold yet; empty when the form may be issued."""
    words = wording(estimate, definitions, locale)
    values = field_values(words)
    return tuple(field for field in words.profile.required_fields if not values.get(field, "").strip())


def quote_terms(
    estimate: Estimate, definitions: Definitions, locale: str, text: str | None = None
) -> QuoteTerms:
    """What consent is about, with the exact text shown (the plain-text form unless another text was shown).

    Raises: BadInputError when a field the profile requires is empty.
    """
    missing = missing_fields(estimate, definitions, locale)
    if missing:
        expected = f"every field that profile {estimate.profile_id} requires"
        raise BadInputError(f"estimate {estimate.number}", "empty: " + ", ".join(missing), expected)
    shown = text or sheet_text(estimate_sheet(estimate, definitions, locale))
    return QuoteTerms(
        estimate.number,
        estimate.quoted_on,
        estimate.valid_until,
        estimate.maximum,
        min(estimate.minimum_fee, estimate.maximum),
        shown,
    )
