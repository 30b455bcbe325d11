"""The written form: the shipped texts in both languages, every field filled, short words, and figures that are those of the estimate."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
from babel.dates import format_date

from intakebot.definitions import Definitions, Texts
from intakebot.errors import BadInputError
from intakebot.quoting import consent as c
from intakebot.quoting.estimate import Estimate, EstimateCase, make_estimate
from intakebot.quoting.estimate_sheet import estimate_messages, estimate_sheet, missing_fields, quote_terms
from intakebot.quoting.estimate_words import display_locale, field_values, wording
from intakebot.quoting.money import Money, format_money
from intakebot.quoting.outcomes import PlannedOutcome, PlannedStep
from intakebot.quoting.profiles import FIELD_IDS, STATUTES, Statute
from intakebot.sheets import sheet_text

DAY = date(2026, 11, 25)
NOW = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
LOCALES = ("en", "de")


def pounds(amount: str) -> Money:
    return Money(Decimal(amount), "GBP")


@pytest.fixture(scope="module")
def make(definitions: Definitions) -> Callable[..., Estimate]:
    family = definitions.families["disc_drive"]
    clean, swap = (PlannedStep.of(family.steps[step_id]) for step_id in ("clean_lens", "replace_pickup"))
    plan = (
        PlannedOutcome(0.5, (clean,), ("clean_lens",), 24.0, 3.0, repaired=True),
        PlannedOutcome(0.3, (clean, swap), ("replace_pickup",), 45.0, 6.0, repaired=True),
        PlannedOutcome(0.2, (clean, swap), ("replace_pickup",), 45.0, 6.0, repaired=False),
    )
    case = EstimateCase(
        reference="K7Q2",
        device_id="console_slot",
        customer_name="Ada Example",
        customer_address=("1 Sample Street", "Exampleton"),
        customer_phone="+44 1632 960555",
        customer_email="ada@example.com",
        discs=("A Film About Bread",),
        customer_words="It hums and takes no disc.",
        suspects=(("lens_dirty", 0.6), ("pickup_weak", 0.3), ("liquid", 0.01)),
        device_value=Decimal(150),
        return_shipping=pounds("8.40"),
    )

    def build(
        profile: str | None = None, outcomes: tuple[PlannedOutcome, ...] = plan, **changes: Any
    ) -> Estimate:
        pricing = definitions.pricing
        card = pricing.rate_card_on(DAY)
        return make_estimate(
            pricing, outcomes, replace(case, **changes), number="K7Q2-1", quoted_on=DAY, seed=1, family_id="disc_drive",
            is_working_day=lambda day: day.weekday() < 5, card=replace(card, profile=profile) if profile else card,
        )  # fmt: skip

    return build


@pytest.mark.parametrize("locale", LOCALES)
def test_every_field_of_the_superset_is_filled(
    definitions: Definitions, make: Callable[..., Estimate], locale: str
) -> None:
    values = field_values(wording(make(), definitions, locale))

    assert sorted(values) == sorted(FIELD_IDS)
    assert [field for field, value in values.items() if not value.strip()] == []


@pytest.mark.parametrize("statute", STATUTES, ids=[statute.id for statute in STATUTES])
def test_fields_a_published_rule_asks_for_are_printed(
    definitions: Definitions, make: Callable[..., Estimate], statute: Statute
) -> None:
    """Each required field's value stands in the rendered form of the profile (STATUTES name their sources)."""
    profile = statute.id if statute.id in definitions.pricing.profiles else "california"
    estimate = make(profile)

    text = " ".join(sheet_text(estimate_sheet(estimate, definitions, "en")).split())

    values = field_values(wording(estimate, definitions, "en"))
    for field in statute.required:
        assert " ".join(values[field].split()) in text, field


@pytest.mark.parametrize(
    "profile", ["generic", "eu_repair_form", "california", "quebec", "ohio", "australia", "ireland"]
)
@pytest.mark.parametrize("locale", LOCALES)
def test_every_required_field_of_every_shipped_profile_is_printed(
    definitions: Definitions, make: Callable[..., Estimate], profile: str, locale: str
) -> None:
    estimate = make(profile)

    text = " ".join(sheet_text(estimate_sheet(estimate, definitions, locale)).split())

    values = field_values(wording(estimate, definitions, locale))
    missing = [
        field
        for field in definitions.pricing.profiles[profile].required_fields
        if not values[field] or " ".join(values[field].split()) not in text
    ]
    assert missing == []
    assert missing_fields(estimate, definitions, locale) == ()


def test_printed_lines_sum_to_the_printed_total(
    definitions: Definitions, make: Callable[..., Estimate]
) -> None:
    estimate = make()
    table = estimate_sheet(estimate, definitions, "en").section("lines").tables[0]

    printed = [Decimal(re.sub(r"[^\d.-]", "", row[3])) for row in table.rows]
    assert sum(printed[:-1]) == printed[-1] == estimate.likely_outcome.total.amount


def test_printed_chances_sum_to_a_hundred(definitions: Definitions, make: Callable[..., Estimate]) -> None:
    table = estimate_sheet(make(), definitions, "en").section("outcomes").tables[0]

    assert sum(int(re.sub(r"\D", "", row[1])) for row in table.rows) == 100


@pytest.mark.parametrize("locale", LOCALES)
def test_the_maximum_stands_in_the_first_section_and_the_first_message(
    definitions: Definitions, make: Callable[..., Estimate], locale: str
) -> None:
    estimate = make()
    maximum = format_money(estimate.maximum, {"en": "en-GB", "de": "de"}[locale])

    assert maximum in estimate_sheet(estimate, definitions, locale).sections[0].rows[0][1]
    assert maximum in estimate_messages(estimate, definitions, locale)[0]


@pytest.mark.parametrize("locale", LOCALES)
def test_messages_are_short_enough_for_a_phone(
    definitions: Definitions, make: Callable[..., Estimate], locale: str
) -> None:
    for estimate in (
        make(),
        make(spending_limit=Decimal(80)),
        make(spending_limit=Decimal(30)),
        make(device_value=Decimal(20)),
    ):
        messages = estimate_messages(estimate, definitions, locale)
        assert messages
        assert max(map(len, messages)) <= 320
        assert "{" not in "".join(messages)


def test_steps_beyond_the_limit_are_named_as_ask_first(
    definitions: Definitions, make: Callable[..., Estimate]
) -> None:
    estimate = make(spending_limit=Decimal(80))
    texts = Texts(definitions, "disc_drive", "en")

    sheet = estimate_sheet(estimate, definitions, "en")

    assert estimate.left_out_steps == ("replace_pickup",)
    assert sheet.section("ask_first").items == (texts.say("step.replace_pickup.customer").rstrip("."),)


def test_no_fault_odds_in_numbers_reach_the_customer(
    definitions: Definitions, make: Callable[..., Estimate]
) -> None:
    plan = estimate_sheet(make(), definitions, "en").section("plan")
    suspected = dict(plan.rows)["What we think it is"]

    assert not re.search(r"\d", suspected)
    assert "(likely)" in suspected  # 60 %
    assert "(unlikely)" in suspected  # 30 %


def test_a_draft_says_what_is_missing_and_cannot_be_put_to_consent(
    definitions: Definitions, make: Callable[..., Estimate]
) -> None:
    draft = make(customer_name=" ", customer_address=())

    assert missing_fields(draft, definitions, "en") == ("customer_name", "customer_address")
    with pytest.raises(
        BadInputError, match=r"estimate K7Q2-1: found 'empty: customer_name, customer_address'"
    ):
        quote_terms(draft, definitions, "en")


def test_consent_is_asked_about_the_exact_text_shown(
    definitions: Definitions, make: Callable[..., Estimate]
) -> None:
    estimate = make()

    terms = quote_terms(estimate, definitions, "en")

    assert terms.text == sheet_text(estimate_sheet(estimate, definitions, "en"))
    assert (terms.maximum, terms.minimum_fee, terms.valid_until) == (
        estimate.maximum, estimate.minimum_fee, estimate.valid_until,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("disc", "said"),
    [
        ("", "none named"),
        ("dvd", "DVD, title not known"),
        ("unknown_kind", "one disc, kind and title not known"),
    ],
)
def test_a_disc_inside_without_a_title_is_named_by_its_kind(
    definitions: Definitions, make: Callable[..., Estimate], disc: str, said: str
) -> None:
    estimate = make()
    estimate = replace(estimate, case=replace(estimate.case, discs=(), disc_class=disc))

    rows = dict(estimate_sheet(estimate, definitions, "en").section("device").rows)

    assert rows["Discs inside"] == said


@pytest.mark.parametrize("locale", LOCALES)
def test_the_log_of_decisions_is_printed(
    definitions: Definitions, make: Callable[..., Estimate], locale: str
) -> None:
    estimate = make()
    asked = c.issue(
        c.Consent.new("GBP"), quote_terms(estimate, definitions, locale), c.Actor("desk", "web"), NOW
    )
    agreed = c.accept(asked, estimate.number, c.Actor("customer", "web"), NOW, DAY)

    rows = estimate_sheet(estimate, definitions, locale, agreed).section("log").tables[0].rows

    assert [row[2:4] for row in rows] == {
        "en": [("the shop", "our web page"), ("you", "our web page")],
        "de": [("die Werkstatt", "unsere Webseite"), ("Sie", "unsere Webseite")],
    }[locale]
    assert len(estimate_sheet(estimate, definitions, locale).sections) + 1 == len(
        estimate_sheet(estimate, definitions, locale, agreed).sections
    )


@pytest.mark.parametrize("locale", LOCALES)
def test_no_placeholder_is_left_open_anywhere(
    definitions: Definitions, make: Callable[..., Estimate], locale: str
) -> None:
    cases = (
        make(), make("ohio"), make(spending_limit=Decimal(30)), make(device_value=None, return_shipping=None, priority=True),
        make(completion_date=date(2026, 12, 18), shipping_to_shop=pounds("5.60"), serial="X1"), make(device_value=Decimal(60)),
    )  # fmt: skip

    for estimate in cases:
        assert not re.search(r"[{}]", sheet_text(estimate_sheet(estimate, definitions, locale)))


def test_an_estimate_is_never_open_ended(definitions: Definitions, make: Callable[..., Estimate]) -> None:
    """California 16 CCR 2722: not phrased as a minimum. No "from X" without a figure it goes up to."""
    text = sheet_text(estimate_sheet(make("california"), definitions, "en"))

    assert not re.search(r"\b(from|at least) £", re.sub(r"At least £24\.00\.", "", text))
    assert "You pay at most" in text


def test_another_language_is_refused(definitions: Definitions, make: Callable[..., Estimate]) -> None:
    with pytest.raises(BadInputError, match="locale"):
        estimate_sheet(make(), definitions, "tlh")


def test_the_first_words_of_a_revised_quote_say_so(
    definitions: Definitions, make: Callable[..., Estimate]
) -> None:
    revised = replace(make(), supersedes="K7Q2-0")

    assert [estimate_sheet(each, definitions, "en").title for each in (make(), revised)] == [
        "Estimate",
        "New estimate",
    ]


# ---- wording -----------------------------------------------------------------------------------------------------------


def syllables(word: str) -> int:
    """Vowel groups, silent final e left out (rule of thumb, no source)."""
    groups = len(re.findall(r"[aeiouy]+", word.lower()))
    return max(1, groups - (word.lower().endswith("e") and not word.lower().endswith("le") and groups > 1))


def reading_grade(text: str) -> float:
    """Flesch-Kincaid grade: .39 words a sentence + 11.8 syllables a word - 15.59 (Kincaid et al. 1975; from memory)."""
    sentences = max(1, len(re.findall(r"[.!?]+(?:\s|$)", text)))
    found = re.findall(r"[A-Za-z']+", text)
    return 0.39 * len(found) / sentences + 11.8 * sum(map(syllables, found)) / len(found) - 15.59


def test_reading_grade_counts_as_published() -> None:
    """Ten words of one syllable in one sentence: .39 x 10 + 11.8 - 15.59 = .11."""
    assert reading_grade("We put the old disc back in the box now.") == pytest.approx(0.11)


def test_english_wording_is_grade_six_or_below(definitions: Definitions) -> None:
    texts = definitions.core_texts["en"]
    spoken = ("quote.value.", "quote.message.", "quote.worth.", "quote.notice.")
    lines = [re.sub(r"\{[a-z]+\}", "ten", str(text)) for key, text in texts.items() if key.startswith(spoken)]
    sentences = " ".join(line if line.endswith((".", "?")) else line + "." for line in lines)

    assert len(lines) > 60
    assert reading_grade(sentences) <= 6
    longest = max((line for line in lines if line.endswith(".")), key=reading_grade)
    assert reading_grade(longest) <= 10, longest


@pytest.mark.parametrize("locale", LOCALES)
def test_sentences_are_short(definitions: Definitions, locale: str) -> None:
    """25 words at most (common practice, no source)."""
    for key, text in definitions.core_texts[locale].items():
        if key.startswith("quote."):
            for sentence in re.split(r"(?<=[.!?:])\s", str(text)):
                assert len(sentence.split()) <= 25, f"{key}: {sentence}"


def test_both_languages_have_the_same_keys_and_placeholders(definitions: Definitions) -> None:
    def shape(locale: str) -> dict[str, list[str]]:
        texts = definitions.core_texts[locale]
        return {
            key: sorted(re.findall(r"\{[a-z_]+\}", str(text)))
            for key, text in texts.items()
            if key.startswith(("quote.", "chance."))
        }

    assert shape("en") == shape("de")


@pytest.mark.parametrize(
    ("locale", "country", "shown"),
    [
        ("en", "GB", "9 March 2026"),
        ("en", "US", "March 9, 2026"),
        ("de", "GB", "9. März 2026"),
        ("de", "DE", "9. März 2026"),
    ],
)
def test_dates_have_month_names_because_short_ones_are_read_two_ways(
    locale: str, country: str, shown: str
) -> None:
    """CLDR through Babel 2.18: the same day is 3/9/26 in the US and 09/03/2026 in the UK."""
    day = date(2026, 3, 9)

    assert [format_date(day, "short", locale=each) for each in ("en_US", "en_GB", "de")] == [
        "3/9/26",
        "09/03/2026",
        "09.03.26",
    ]
    assert format_date(day, "long", locale=display_locale(locale, country)) == shown


def test_every_date_of_the_form_has_its_month_by_name(
    definitions: Definitions, make: Callable[..., Estimate]
) -> None:
    text = sheet_text(estimate_sheet(make(completion_date=date(2026, 12, 18)), definitions, "en"))

    assert {"25 November 2026", "18 December 2026", "25 December 2026"} <= set(
        re.findall(r"\d+ [A-Z][a-z]+ 2026", text)
    )
    assert not re.search(r"\d{1,2}[/.]\d{1,2}[/.]\d{2,4}", text)
