"""Our readers against the strings of the JSON Schema Test Suite (source in the data file); every deliberate difference is listed."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

import phonenumbers
import pytest

from intakebot.definitions.facts import Answer
from intakebot.definitions.model import Fact
from intakebot.definitions.values import parse_value
from intakebot.errors import BadInputError
from intakebot.formats import (
    Duration,
    checked_email,
    checked_phone,
    duration_of_days,
    parse_date,
    parse_date_time,
    parse_duration,
)

STRINGS = json.loads((Path(__file__).parent / "json_schema_formats.json").read_text(encoding="utf-8"))
READERS: dict[str, Callable[[str], object]] = {
    "date-time": parse_date_time,
    "date": parse_date,
    "duration": parse_duration,
    "email": checked_email,
    "idn-email": checked_email,
}

STRICTER = {
    # a customer's typing mistake far more often than an address
    '"joe bloggs"@example.com': "quoted local part",
    '"joe..bloggs"@example.com': "quoted local part",
    '"joe@bloggs"@example.com': "quoted local part",
    '""@iana.org': "quoted local part",
    '" "@iana.org': "quoted local part",
    '"test"@iana.org': "quoted local part",
    '"\\a"@iana.org': "quoted local part",
    '"\\""@iana.org': "quoted local part",
    '"\\\\"@iana.org': "quoted local part",
    "joe.bloggs@[127.0.0.1]": "address literal",
    "joe.bloggs@[IPv6:::1]": "address literal",
    "a@[ipv6:::1]": "address literal",
    "test@255.255.255.255": "a domain of digits only is an address literal without its brackets",
    "test@io": "no domain without a dot",
}
WIDER = {
    # `email` is plain RFC 5321; we take RFC 6531 addresses in the same field, as the suite's own idn-email format does
    "aé@iana.org": "letters beyond ASCII in the local part",
    "a@é.org": "letters beyond ASCII in the domain",
}


def accepted(kind: str, text: str) -> bool:
    try:
        READERS[kind](text)
    except BadInputError:
        return False
    return True


@pytest.mark.parametrize("kind", READERS)
def test_valid_strings_are_read_unless_a_difference_is_listed(kind: str) -> None:
    refused = {text for text in STRINGS[kind]["valid"] if not accepted(kind, text)}

    assert refused == {text for text in STRINGS[kind]["valid"] if text in STRICTER and "email" in kind}


@pytest.mark.parametrize("kind", READERS)
def test_invalid_strings_are_refused_unless_a_difference_is_listed(kind: str) -> None:
    taken = {text for text in STRINGS[kind]["invalid"] if accepted(kind, text)}

    assert taken == {text for text in STRINGS[kind]["invalid"] if text in WIDER and kind == "email"}


def test_every_listed_difference_is_one() -> None:
    everything = {
        text
        for kind in ("email", "idn-email")
        for answers in ("valid", "invalid")
        for text in STRINGS[kind][answers]
    }

    assert set(STRICTER) | set(WIDER) <= everything


@pytest.mark.parametrize(
    ("kind", "strings"), [("date-time", 24), ("date", 69), ("duration", 45), ("email", 65), ("idn-email", 4)]
)
def test_the_copied_strings_are_all_there(kind: str, strings: int) -> None:
    assert len(STRINGS[kind]["valid"]) + len(STRINGS[kind]["invalid"]) == strings


@pytest.mark.parametrize("answers", ["valid", "invalid"])
def test_a_date_fact_agrees_with_the_suite(answers: str) -> None:
    fact = Fact("deadline", "date", (), ("price",), "low")

    for text in STRINGS["date"][answers]:
        try:
            taken = Answer(parse_value(fact, text)).is_known
        except BadInputError:
            taken = False
        assert taken == (answers == "valid"), text


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("1990-12-31T15:59:50.123-08:00", datetime(1990, 12, 31, 23, 59, 50, 123000, UTC)),
        ("1937-01-01T12:00:27.87+00:20", datetime(1937, 1, 1, 11, 40, 27, 870000, UTC)),
        (
            "1998-12-31T23:59:60Z",
            datetime(1998, 12, 31, 23, 59, 59, 999999, UTC),
        ),  # Python cannot hold the leap second
        ("1998-12-31T15:59:60.123-08:00", datetime(1998, 12, 31, 23, 59, 59, 999999, UTC)),
        ("1985-04-12T00:59:59.999999999999999Z", datetime(1985, 4, 12, 0, 59, 59, 999999, UTC)),
    ],
)
def test_moments_by_rfc_3339(text: str, moment: datetime) -> None:
    """RFC 3339 sections 5.6 and 5.8."""
    assert parse_date_time(text) == moment


@pytest.mark.parametrize(
    "text", ["1985-04-12T23:20:50+01", "1985-04-12T23:20:50", "1985-04-12 23:20:50Z", "1985-04-12"]
)
def test_an_offset_is_needed_in_full(text: str) -> None:
    """RFC 3339 section 5.6."""
    with pytest.raises(BadInputError):
        parse_date_time(text)


def test_durations_by_their_parts() -> None:
    """RFC 3339 appendix A."""
    assert parse_duration("P4DT12H30M5S") == Duration(days=4, hours=12, minutes=30, seconds=5)
    assert parse_duration("P2W") == Duration(weeks=2)
    assert parse_duration(duration_of_days(90)) == Duration(days=90)


@pytest.mark.parametrize(
    ("text", "normal"),
    [
        ("ada@EXAMPLE.com", "ada@example.com"),
        ("jörg@example.com", "jörg@example.com"),
        ("a@bücher.example", "a@bücher.example"),
    ],
)
def test_addresses_in_normal_form(text: str, normal: str) -> None:
    """RFC 6531: letters beyond ASCII are legal and are not refused."""
    assert checked_email(text) == normal


def test_lengths_of_addresses() -> None:
    """RFC 5321 section 4.5.3.1 (from memory): local part 64 octets, domain 255, the whole path 256 with its brackets, so 254 here."""
    assert checked_email("a" * 64 + "@example.com")
    with pytest.raises(BadInputError):
        checked_email("a" * 65 + "@example.com")
    with pytest.raises(BadInputError):
        checked_email("a@" + ".".join(["b" * 60] * 5) + ".com")


@pytest.mark.parametrize(
    "text", ["+12015550123", "+441212345678", "+4930123456", "+61212345678", "+15062345678", "+33123456789"]
)
def test_the_library_s_own_example_numbers_pass(text: str) -> None:
    """phonenumbers 9.0: example numbers of six countries, all valid."""
    assert phonenumbers.is_valid_number(phonenumbers.parse(text))
    assert checked_phone(text) == text


@pytest.mark.parametrize("text", ["+441632960961", "+1 555 555 0100", "01632 960961", "(0171) 960-961"])
def test_possible_numbers_pass_even_when_no_plan_has_them(text: str) -> None:
    """Numbers kept for fiction are possible and not valid; both states are kept, neither is refused."""
    assert checked_phone(text) == text


@pytest.mark.parametrize(
    "text", ["+1234567890123456", "1234", "call me", "+44", "12345678901234567", "+999 12", ""]
)
def test_what_cannot_be_a_number_is_refused(text: str) -> None:
    """E.164 (from memory): at most 15 digits."""
    with pytest.raises(BadInputError):
        checked_phone(text)


def test_email_and_phone_facts_are_checked() -> None:
    email = Fact("email", "text", (), ("contact",), "medium", personal=True, role="email", max_length=254)
    phone = Fact("phone", "text", (), ("contact",), "low", personal=True, role="phone", max_length=40)

    assert parse_value(email, " ada@Example.com ") == "ada@example.com"
    assert parse_value(phone, "+44 1632 960001") == "+44 1632 960001"
    for fact in (email, phone):
        with pytest.raises(BadInputError, match=f"^{fact.id}: found 'no "):
            parse_value(fact, "later")


def test_money_and_dates_keep_their_types() -> None:
    amount = Fact("spending_limit", "amount", (), ("price",), "high")

    assert parse_value(amount, "120.50") == Decimal("120.50")
    assert parse_date("2026-11-25") == date(2026, 11, 25)
