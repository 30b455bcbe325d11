"""Money: a Decimal with its currency, and the one place where amounts are rounded.

`rounded` turns an exact amount into a whole number of the currency's minor units with a *named* mode, because laws
differ on exact halves (Australia: up; New Zealand: down; some books: to even). Everything else here works on whole minor
units, so sums of what is printed are exact. Display never rounds: `format_money` refuses an amount that still has a
fraction of a minor unit, because the formatting library would silently round half to even.

Minor units follow ISO 4217 (as published on 1 January 2026). CLDR, which formats, differs for a few currencies (it shows
no decimals for IQD and MGA); we store by ISO and pass the ISO digits on to the formatter.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from functools import total_ordering
from typing import Literal

from babel.core import Locale, UnknownLocaleError
from babel.numbers import format_currency

from intakebot.errors import BadInputError, MoneyError

RoundingMode = Literal["half_up", "half_down", "half_even"]
RoundingScope = Literal["line", "total"]
TaxMode = Literal["exclusive", "inclusive"]

LARGEST_LIMIT = Decimal(1_000_000)
"""No customer's limit or device value is believed above this (common practice, no source): it is a typing mistake."""

_TWO_DIGITS = (
    "AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BMD BND BOB BOV BRL BSD BTN BWP BYN BZD CAD CDF CHE CHF CHW CNY COP "
    "COU CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GTQ GYD HKD HNL HTG HUF IDR ILS INR IRR "
    "JMD KES KGS KHR KPW KYD KZT LAK LBP LKR LRD LSL MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MXV MYR MZN NAD NGN "
    "NIO NOK NPR NZD PAB PEN PGK PHP PKR PLN QAR RON RSD RUB SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL "
    "THB TJS TMT TOP TRY TTD TWD TZS UAH USD USN UYU UZS VED VES WST XAD XCD XCG YER ZAR ZMW ZWG"
)
_OTHER_DIGITS = {
    0: "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF",
    3: "BHD IQD JOD KWD LYD OMR TND",
    4: "CLF UYW",
}

MINOR_UNITS: Mapping[str, int] = dict.fromkeys(_TWO_DIGITS.split(), 2) | {
    code: digits for digits, codes in _OTHER_DIGITS.items() for code in codes.split()
}
"""ISO 4217 code -> digits after the point. Metals, test codes and funds without minor units are not money here."""


def minor_units(currency: str) -> int:
    """Digits after the point of a currency.

    Raises: MoneyError when the code is not an ISO 4217 currency with minor units.
    """
    try:
        return MINOR_UNITS[currency]
    except (KeyError, TypeError):
        raise MoneyError("currency", currency, "an ISO 4217 code such as GBP, EUR or USD") from None


@total_ordering
@dataclass(frozen=True)
class Money:
    """An exact amount in one currency. Combining two currencies raises MoneyError; there is no conversion."""

    amount: Decimal
    currency: str

    def __post_init__(self) -> None:
        minor_units(self.currency)
        if not isinstance(self.amount, Decimal) or not self.amount.is_finite():
            raise MoneyError("amount", self.amount, "a finite decimal number")

    @classmethod
    def zero(cls, currency: str) -> Money:
        return cls(Decimal(0), currency)

    @classmethod
    def of_minor(cls, minor: int, currency: str) -> Money:
        """From a whole number of minor units, written with the currency's digits (12050 GBP -> 120.50)."""
        return cls(Decimal(int(minor)).scaleb(-minor_units(currency)), currency)

    @property
    def minor(self) -> int:
        """Whole minor units. Raises MoneyError when there is a fraction of one (the amount was never rounded)."""
        scaled = self.amount.scaleb(minor_units(self.currency))
        if scaled != scaled.to_integral_value():
            raise MoneyError("amount", str(self.amount), f"an amount rounded to {self.currency} minor units")
        return int(scaled)

    def _same(self, other: Money) -> Decimal:
        if other.currency != self.currency:
            raise MoneyError("currency", other.currency, f"{self.currency}; there is no exchange rate here")
        return other.amount

    def __add__(self, other: Money) -> Money:
        return Money(self.amount + self._same(other), self.currency)

    def __sub__(self, other: Money) -> Money:
        return Money(self.amount - self._same(other), self.currency)

    def __neg__(self) -> Money:
        return Money(-self.amount, self.currency)

    def __lt__(self, other: Money) -> bool:
        return self.amount < self._same(other)

    def to_json(self) -> dict[str, str]:
        return {"amount": f"{self.amount:f}", "currency": self.currency}

    @classmethod
    def from_json(cls, data: Mapping[str, str]) -> Money:
        try:
            return cls(Decimal(data["amount"]), data["currency"])
        except (KeyError, TypeError, InvalidOperation):
            raise MoneyError("money", data, '{"amount": "12.50", "currency": "GBP"}') from None


def total_of(parts: Iterable[Money], currency: str) -> Money:
    """Sum; zero of the currency when there are none."""
    total = Money.of_minor(0, currency)
    for part in parts:
        total = total + part
    return total


# ---- the one rounding place ----------------------------------------------------------------------------------------


def divide_rounded(numerator: int, denominator: int, mode: RoundingMode) -> int:
    """numerator / denominator as a whole number; exact halves go by `mode`, away from or towards zero or to even.

    Halves are judged on the size of the number, so a credit of -0.5 mirrors a charge of 0.5.
    """
    if denominator < 0:
        numerator, denominator = -numerator, -denominator
    sign = -1 if numerator < 0 else 1
    whole, rest = divmod(abs(numerator), denominator)
    twice = 2 * rest
    if twice > denominator or (twice == denominator and _half_goes_up(whole, mode)):
        whole += 1
    return sign * whole


def _half_goes_up(whole: int, mode: RoundingMode) -> bool:
    if mode == "half_up":
        return True
    if mode == "half_down":
        return False
    if mode == "half_even":
        return whole % 2 == 1
    raise MoneyError("rounding", mode, "half_up, half_down or half_even")


def rounded(amount: Decimal | Fraction | int, currency: str, mode: RoundingMode) -> Money:
    """The exact amount as whole minor units of the currency."""
    if isinstance(amount, Decimal) and not amount.is_finite():
        raise MoneyError("amount", amount, "a finite decimal number")
    exact = Fraction(amount) * 10 ** minor_units(currency)
    return Money.of_minor(divide_rounded(exact.numerator, exact.denominator, mode), currency)


def rounded_to_step(amount: Decimal, step: Decimal, mode: RoundingMode) -> Decimal:
    """Nearest multiple of a step, such as 5 cents for cash (half by mode). Raises MoneyError unless step > 0."""
    if step <= 0:
        raise MoneyError("step", step, "a step above zero")
    ratio = Fraction(amount) / Fraction(step)
    return divide_rounded(ratio.numerator, ratio.denominator, mode) * step


def rounded_up_to(money: Money, step: Decimal) -> Money:
    """The smallest multiple of `step` not below the amount (for the maximum). A step of 0 leaves it as it is."""
    if step <= 0:
        return money
    multiples = -(-Fraction(money.amount) // Fraction(step))
    return Money.of_minor(Money(int(multiples) * step, money.currency).minor, money.currency)


def percent_of(money: Money, percent: Decimal, mode: RoundingMode) -> Money:
    return rounded(Fraction(money.amount) * Fraction(percent) / 100, money.currency, mode)


# ---- sharing out ---------------------------------------------------------------------------------------------------


def allocate(total: Money, weights: Sequence[Decimal | Fraction | int]) -> tuple[Money, ...]:
    """Share a total in proportion to weights, in whole minor units that sum to it exactly.

    Largest remainder (Hamilton's method): everybody gets the whole part, the left-over units go to the largest remainders, the first
    one wins a tie. No share is off its exact value by a whole unit or more. All weights zero: equal weights.

    Raises: MoneyError for no weights, a negative weight, or a total that is not in whole minor units.
    """
    if not weights or any(weight < 0 for weight in weights):
        raise MoneyError("weights", list(weights), "at least one weight, none negative")
    shares = [Fraction(weight) for weight in weights]
    if not any(shares):
        shares = [Fraction(1)] * len(shares)
    units, whole = abs(total.minor), sum(shares)
    exact = [units * share / whole for share in shares]
    floors = [value.numerator // value.denominator for value in exact]
    by_remainder = sorted(range(len(exact)), key=lambda i: (floors[i] - exact[i], i))
    for index in by_remainder[: units - sum(floors)]:
        floors[index] += 1
    sign = -1 if total.amount < 0 else 1
    return tuple(Money.of_minor(sign * units_each, total.currency) for units_each in floors)


# ---- tax -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Taxed:
    """Amounts of lines, the tax in or on each, and totals; `sum(taxes) == tax` and `net + tax == total` always."""

    amounts: tuple[Money, ...]
    taxes: tuple[Money, ...]
    net: Money
    tax: Money
    total: Money


def tax_on(
    amounts: Sequence[Money],
    percent: Decimal,
    tax_mode: TaxMode,
    rounding: RoundingMode,
    scope: RoundingScope,
) -> Taxed:
    """Tax on (exclusive) or contained in (inclusive) whole-minor-unit line amounts.

    scope `line`: each line's tax is rounded and the rounded ones are added. scope `total`: the exact tax of the sum is rounded once and
    then shared over the lines by largest remainder, so that the shown lines still add up.

    Source: both ways are lawful where described, and must be named: Australia, GST Act 1999 s. 9-90; New Zealand, GST Act s. 19O.
    """
    if not amounts:
        raise MoneyError("amounts", [], "at least one line")
    if percent < 0:
        raise MoneyError("tax_percent", percent, "zero or more")
    currency = amounts[0].currency
    sum_of_lines = total_of(amounts, currency)
    rate = Fraction(percent) / 100
    share = rate if tax_mode == "exclusive" else rate / (1 + rate)
    exact = [Fraction(money.amount) * share for money in amounts]
    if scope == "line":
        taxes = tuple(rounded(value, currency, rounding) for value in exact)
        tax = total_of(taxes, currency)
    else:
        tax = rounded(sum(exact, Fraction(0)), currency, rounding)
        taxes = _shared_tax(tax, exact)
    if tax_mode == "exclusive":
        return Taxed(tuple(amounts), taxes, sum_of_lines, tax, sum_of_lines + tax)
    return Taxed(tuple(amounts), taxes, sum_of_lines - tax, tax, sum_of_lines)


def _shared_tax(tax: Money, exact: Sequence[Fraction]) -> tuple[Money, ...]:
    """Share the once-rounded tax; with credits among the lines the plain whole parts are corrected from the top."""
    if all(value >= 0 for value in exact):
        return allocate(tax, exact)
    scale = 10 ** minor_units(tax.currency)
    floors = [(value * scale).numerator // (value * scale).denominator for value in exact]
    order = sorted(range(len(exact)), key=lambda i: (floors[i] - exact[i] * scale, i))
    for index in order[: tax.minor - sum(floors)]:
        floors[index] += 1
    return tuple(Money.of_minor(units, tax.currency) for units in floors)


# ---- in and out ----------------------------------------------------------------------------------------------------


def format_money(money: Money, locale: str, *, accounting: bool = False) -> str:
    """The amount as people of a locale write it (CLDR through Babel). Never rounds.

    Raises: MoneyError for an unrounded amount; BadInputError for an unknown locale.
    """
    digits = minor_units(money.currency)
    exact = Money.of_minor(money.minor, money.currency).amount
    try:
        known = Locale.parse(locale.replace("-", "_"))
    except (ValueError, UnknownLocaleError):
        raise BadInputError("locale", locale, "a locale such as en, en-GB or de") from None
    pattern = (
        known.currency_formats["accounting"] if accounting else known.currency_formats["standard"]
    ).pattern
    return format_currency(
        exact,
        money.currency,
        format=_with_digits(pattern, digits),
        locale=known,
        currency_digits=False,
        decimal_quantization=True,
    )


def _with_digits(pattern: str, digits: int) -> str:
    """The locale's currency pattern with exactly the ISO number of digits after the point."""
    wanted = "." + "0" * digits if digits else ""
    return ";".join(part.replace(".00", wanted) for part in pattern.split(";"))


def parse_limit(raw: str | Decimal | int, currency: str, where: str = "limit") -> Money:
    """An amount a person gave as a number: above zero, not absurd, in whole minor units.

    Raises: BadInputError naming `where`.
    """
    try:
        amount = Decimal(str(raw).strip())
    except InvalidOperation:
        raise BadInputError(where, raw, "an amount such as 120 or 120.50") from None
    if not amount.is_finite() or amount <= 0 or amount > LARGEST_LIMIT:
        raise BadInputError(where, str(raw), f"an amount above 0 and up to {LARGEST_LIMIT}")
    money = Money(amount, currency)
    try:
        return Money.of_minor(money.minor, currency)
    except MoneyError:
        raise BadInputError(
            where, str(raw), f"at most {minor_units(currency)} digits after the point"
        ) from None
