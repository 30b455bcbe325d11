"""Money against published rounding rules, tables and reference libraries. `from memory` marks sources not opened again."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import iso4217
import pytest

from intakebot.errors import BadInputError, MoneyError
from intakebot.quoting.money import (
    MINOR_UNITS,
    Money,
    allocate,
    format_money,
    minor_units,
    parse_limit,
    percent_of,
    rounded,
    rounded_to_step,
    rounded_up_to,
    tax_on,
    total_of,
)


def money(amount: str, currency: str = "AUD") -> Money:
    return Money(Decimal(amount), currency)


# ---- ISO 4217 --------------------------------------------------------------------------------------------------------


def test_minor_units_are_those_of_the_iso_list() -> None:
    """ISO 4217 list of 1 January 2026, through the iso4217 package."""
    published = {item.code: item.exponent for item in iso4217.Currency if item.exponent is not None}

    assert dict(MINOR_UNITS) == published


@pytest.mark.parametrize(
    ("codes", "digits"),
    [
        ("USD EUR GBP", 2),
        ("JPY CLP ISK", 0),
        ("KWD BHD TND IQD", 3),
        ("CLF UYW", 4),
        ("MGA MRU", 2),
    ],
)
def test_minor_units_of_known_currencies(codes: str, digits: int) -> None:
    """ISO 4217."""
    assert [minor_units(code) for code in codes.split()] == [digits] * len(codes.split())


@pytest.mark.parametrize("code", ["XXX", "XAU", "gbp", "", "POUND"])
def test_a_code_that_is_no_currency_is_refused(code: str) -> None:
    with pytest.raises(MoneyError, match="ISO 4217"):
        Money(Decimal(1), code)


@pytest.mark.parametrize("amount", [Decimal("NaN"), Decimal("Infinity"), 1.5, "1"])
def test_money_takes_finite_decimals_only(amount: object) -> None:
    with pytest.raises(MoneyError):
        Money(amount, "GBP")  # type: ignore[arg-type]


def test_two_currencies_are_never_added_or_compared() -> None:
    with pytest.raises(MoneyError, match="no exchange rate"):
        money("1", "GBP") + money("1", "EUR")
    with pytest.raises(MoneyError, match="no exchange rate"):
        assert money("1", "GBP") < money("1", "EUR")


# ---- rounding --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("amount", "up", "even", "down"),
    [
        # exact ties, worked by hand; the half-even column is also ISO 80000-1 annex B rule A, half-up rule B (from memory)
        ("2.125", "2.13", "2.12", "2.12"),
        ("2.135", "2.14", "2.14", "2.13"),
        ("0.125", "0.13", "0.12", "0.12"),
        ("10.345", "10.35", "10.34", "10.34"),
        ("2.1351", "2.14", "2.14", "2.14"),
    ],
)
def test_exact_halves_go_by_the_named_mode(amount: str, up: str, even: str, down: str) -> None:
    modes = ("half_up", "half_even", "half_down")

    results = [rounded(Decimal(amount), "USD", mode).amount for mode in modes]  # type: ignore[arg-type]

    assert results == [Decimal(up), Decimal(even), Decimal(down)]


def test_binary_floats_would_have_lost_a_cent() -> None:
    """round(2.135, 2) is 2.13 in binary arithmetic, because 2.135 is not representable."""
    assert round(2.135, 2) == 2.13
    assert rounded(Decimal("2.135"), "USD", "half_up").amount == Decimal("2.14")


@pytest.mark.parametrize(("amount", "even", "up"), [("12.25", "12.2", "12.3"), ("12.35", "12.4", "12.4")])
def test_rounding_to_tenths_by_iso_80000(amount: str, even: str, up: str) -> None:
    """ISO 80000-1 annex B, rules A and B (from memory)."""
    step = Decimal("0.1")

    assert rounded_to_step(Decimal(amount), step, "half_even") == Decimal(even)
    assert rounded_to_step(Decimal(amount), step, "half_up") == Decimal(up)


@pytest.mark.parametrize(
    ("amount", "cash"),
    [("1.02", "1.00"), ("1.025", "1.05"), ("1.03", "1.05"), ("1.07", "1.05"), ("1.075", "1.10")],
)
def test_cash_goes_to_the_nearest_five_cents_and_exact_halves_up(amount: str, cash: str) -> None:
    """Australia, GST Regulations 168-5.11."""
    assert rounded_to_step(Decimal(amount), Decimal("0.05"), "half_up") == Decimal(cash)


def test_credits_mirror_charges() -> None:
    assert rounded(Decimal("-2.125"), "USD", "half_up").amount == Decimal("-2.13")
    assert rounded(Decimal("-2.125"), "USD", "half_down").amount == Decimal("-2.12")


def test_currency_conversion_halves_go_up() -> None:
    """Regulation (EC) 1103/97 art. 5 (from memory): an amount exactly half-way is rounded up."""
    assert rounded(Decimal("10.005"), "EUR", "half_up").amount == Decimal("10.01")


def test_uk_line_tax_goes_to_the_nearest_penny_and_never_down() -> None:
    """HMRC VATREC12010 and notice 700 s. 17.5 (the example from memory): 86.76p may become 87p per line. Cutting down to whole
    pence, which would make .06 of each .066 and .18 of three lines, is not allowed per line, and no mode here does it."""
    assert rounded(Decimal("0.8676"), "GBP", "half_up") == money("0.87", "GBP")
    with pytest.raises(MoneyError):
        rounded(Decimal("0.065"), "GBP", "down")  # type: ignore[arg-type]


def test_unknown_rounding_mode_is_refused() -> None:
    with pytest.raises(MoneyError, match="half_up, half_down or half_even"):
        rounded(Decimal("0.125"), "USD", "up")  # type: ignore[arg-type]


# ---- tax -------------------------------------------------------------------------------------------------------------


def tax(
    lines: list[str], percent: str, mode: str, rounding: str, scope: str, currency: str = "AUD"
) -> Decimal:
    amounts = [money(line, currency) for line in lines]
    return tax_on(amounts, Decimal(percent), mode, rounding, scope).tax.amount  # type: ignore[arg-type]


def test_australia_both_ways_are_lawful_and_differ() -> None:
    """GST Act 1999 (Australia) s. 9-90: three lines of 1.05 at 10 %. By total .315 -> .32; by line .105 -> .11 each, .33."""
    assert tax(["1.05"] * 3, "10", "exclusive", "half_up", "total") == Decimal("0.32")
    assert tax(["1.05"] * 3, "10", "exclusive", "half_up", "line") == Decimal("0.33")


def test_new_zealand_drops_a_half_cent_where_australia_lifts_it() -> None:
    """GST Act (New Zealand) s. 19O: .105 -> .10; Australia .11."""
    assert tax(["1.05"], "10", "exclusive", "half_down", "line", "NZD") == Decimal("0.10")
    assert tax(["1.05"], "10", "exclusive", "half_up", "line") == Decimal("0.11")


@pytest.mark.parametrize(
    ("price", "percent", "currency", "contained"),
    [
        ("99.95", "10", "AUD", "9.09"),  # Australia: price / 11 = 9.0864
        ("4.95", "10", "AUD", "0.45"),  # 0.45 exactly
        ("120.00", "20", "GBP", "20.00"),  # UK, 1/6 (from memory)
        ("87.00", "20", "GBP", "14.50"),
        ("117.50", "17.5", "GBP", "17.50"),  # 7/47
        ("105.00", "5", "GBP", "5.00"),  # 1/21
    ],
)
def test_tax_contained_in_a_price(price: str, percent: str, currency: str, contained: str) -> None:
    assert tax([price], percent, "inclusive", "half_up", "total", currency) == Decimal(contained)


@pytest.mark.parametrize(
    ("line", "percent", "by_line", "by_total"),
    [
        ("0.33", "20", "0.21", "0.20"),  # .066 -> .07 x 3; .198 -> .20
        ("1.03", "10", "0.30", "0.31"),  # .103 -> .10 x 3; .309 -> .31
    ],
)
def test_three_equal_lines_by_line_and_by_total(line: str, percent: str, by_line: str, by_total: str) -> None:
    """Worked by hand; HMRC VATREC12010 describes both for the UK."""
    assert tax([line] * 3, percent, "exclusive", "half_up", "line", "GBP") == Decimal(by_line)
    assert tax([line] * 3, percent, "exclusive", "half_up", "total", "GBP") == Decimal(by_total)


def test_total_rounded_once_is_shared_over_the_lines() -> None:
    """.32 over three equal lines: 11, 11, 10 cents; nothing is lost and nothing is invented."""
    shown = tax_on([money("1.05")] * 3, Decimal(10), "exclusive", "half_up", "total")

    assert [item.amount for item in shown.taxes] == [Decimal("0.11"), Decimal("0.11"), Decimal("0.10")]
    assert shown.total == money("3.47")


def test_tax_shares_add_up_when_a_line_is_a_credit() -> None:
    """20 + 20 - 20 at 20 %: 4 + 4 - 4."""
    shown = tax_on(
        [money("20.00"), money("20.00"), money("-20.00")], Decimal(20), "exclusive", "half_up", "total"
    )

    assert [item.amount for item in shown.taxes] == [Decimal("4.00"), Decimal("4.00"), Decimal("-4.00")]


@pytest.mark.parametrize("amounts", [[], ["x"]])
def test_tax_on_nothing_or_below_zero_percent_is_refused(amounts: list[str]) -> None:
    with pytest.raises(MoneyError):
        tax_on([money("1.00") for _ in amounts], Decimal(-1), "exclusive", "half_up", "line")


# ---- sharing out and rounding up -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("total", "weights", "shares"),
    [
        ("1.00", [1, 1, 1], ["0.34", "0.33", "0.33"]),
        ("10.00", [50, 30, 20], ["5.00", "3.00", "2.00"]),
        (
            "0.05",
            [3, 7],
            ["0.02", "0.03"],
        ),  # 1.5 and 3.5 cents: equal remainders, the first gets the left-over
        ("0.10", [0, 0], ["0.05", "0.05"]),
        ("-1.00", [1, 1, 1], ["-0.34", "-0.33", "-0.33"]),
    ],
)
def test_largest_remainder(total: str, weights: list[int], shares: list[str]) -> None:
    """Hamilton's method, worked by hand."""
    assert [share.amount for share in allocate(money(total), weights)] == [Decimal(share) for share in shares]


def test_largest_remainder_with_a_published_example() -> None:
    """The method's usual textbook table (47 000, 16 000, 15 800, 12 000, 6 100, 3 100 votes, 10 seats: 5 2 1 1 1 0), from memory,
    here with 10 yen. Quotas 4.7, 1.6, 1.58, 1.2, .61, .31: whole parts 7, the three largest remainders are .7, .61, .6."""
    shares = allocate(Money(Decimal(10), "JPY"), [47_000, 16_000, 15_800, 12_000, 6_100, 3_100])

    assert [int(share.amount) for share in shares] == [5, 2, 1, 1, 1, 0]


@pytest.mark.parametrize("weights", [[], [-1, 2]])
def test_sharing_by_no_or_negative_weights_is_refused(weights: list[int]) -> None:
    with pytest.raises(MoneyError):
        allocate(money("1.00"), weights)


def test_unrounded_total_cannot_be_shared() -> None:
    with pytest.raises(MoneyError, match="rounded"):
        allocate(money("1.005"), [1, 1])


@pytest.mark.parametrize(
    ("amount", "step", "result"),
    [
        ("91.01", "5.00", "95.00"),
        ("95.00", "5.00", "95.00"),
        ("0.00", "5.00", "0.00"),
        ("91.01", "0", "91.01"),
    ],
)
def test_rounding_up_to_a_step(amount: str, step: str, result: str) -> None:
    assert rounded_up_to(money(amount), Decimal(step)) == money(result)


def test_a_percentage_is_rounded_once() -> None:
    assert percent_of(money("33.33"), Decimal("12.5"), "half_up") == money("4.17")  # 4.16625


def test_total_of_nothing_is_zero() -> None:
    assert total_of([], "KWD") == Money(Decimal("0.000"), "KWD")


def test_thirds_are_exact_until_rounded() -> None:
    assert rounded(Fraction(100, 3), "JPY", "half_up") == Money(Decimal(33), "JPY")


# ---- formatting ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("locale", "currency", "shown"),
    [
        # CLDR through Babel 2.18
        ("en-US", "USD", "$1,234.50"),
        ("en-GB", "GBP", "£1,234.50"),
        ("de-DE", "EUR", "1.234,50\u00a0€"),
        ("fr-FR", "EUR", "1\u202f234,50\u00a0€"),
        ("nl-NL", "EUR", "€\u00a01.234,50"),
        ("de-CH", "CHF", "CHF\u00a01’234.50"),
        ("sv-SE", "SEK", "1\u00a0234,50\u00a0kr"),
        ("pt-BR", "BRL", "R$\u00a01.234,50"),
    ],
)
def test_amounts_look_as_people_of_the_locale_write_them(locale: str, currency: str, shown: str) -> None:
    assert format_money(Money(Decimal("1234.50"), currency), locale) == shown


def test_negative_amounts_and_accounting_form() -> None:
    """CLDR through Babel 2.18."""
    owed = Money(Decimal("-1234.50"), "USD")

    assert format_money(owed, "en-US") == "-$1,234.50"
    assert format_money(owed, "en-US", accounting=True) == "($1,234.50)"


def test_yen_are_rounded_by_us_before_the_library_can_do_it_half_even() -> None:
    """The library alone prints 1234.5 JPY as 1,234 (half to even); with our mode it is 1,235, and unrounded money is refused."""
    with pytest.raises(MoneyError, match="rounded"):
        format_money(Money(Decimal("1234.5"), "JPY"), "ja-JP")

    assert format_money(rounded(Decimal("1234.5"), "JPY", "half_up"), "ja-JP").endswith("1,235")


def test_iso_digits_win_over_display_digits() -> None:
    """CLDR shows no decimals for IQD; the ISO list has three, and so have our books."""
    assert format_money(Money(Decimal("1234.500"), "IQD"), "en").endswith("1,234.500")


def test_unknown_locale_is_refused() -> None:
    with pytest.raises(BadInputError, match="locale"):
        format_money(money("1.00"), "xx-nowhere")


# ---- amounts from people ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("raw", ["-5", "0", "1e9", "abc", "NaN", "", "12.345", "1000000.01"])
def test_an_absurd_limit_is_refused_with_a_clear_answer(raw: str) -> None:
    with pytest.raises(BadInputError, match="limit: found"):
        parse_limit(raw, "GBP")


def test_a_sensible_limit_is_taken() -> None:
    assert parse_limit(" 120.5 ", "GBP") == Money(Decimal("120.50"), "GBP")


def test_json_form_round_trips_and_refuses_rubbish() -> None:
    assert Money.from_json(money("12.50", "GBP").to_json()) == money("12.50", "GBP")
    with pytest.raises(MoneyError):
        Money.from_json({"amount": "x", "currency": "GBP"})
