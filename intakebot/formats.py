"""Dates, times, durations, e-mail addresses and telephone numbers as text: one strict reader for each.

Dates and times follow RFC 3339 (not all of ISO 8601), durations the grammar in its appendix A, addresses RFC 5321 and 6531 as people
have them. What is deliberately stricter than the standards is said at each reader. Pure; nothing is looked up.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone

import phonenumbers
from email_validator import EmailNotValidError, validate_email

from intakebot.errors import BadInputError

_DATE = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})\Z")
_DATE_TIME = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})[Tt]([0-9]{2}):([0-9]{2}):([0-9]{2})(\.[0-9]+)?([Zz]|[+-][0-9]{2}:[0-9]{2})\Z"
)
_DURATION = re.compile(
    r"P(?=[0-9T])(?:(?P<weeks>[0-9]+)W"
    r"|(?:(?P<years>[0-9]+)Y(?=\Z|T|[0-9]+M))?(?:(?P<months>[0-9]+)M)?(?:(?P<days>[0-9]+)D)?"
    r"(?:T(?=[0-9])(?:(?P<hours>[0-9]+)H(?=\Z|[0-9]+M))?(?:(?P<minutes>[0-9]+)M)?(?:(?P<seconds>[0-9]+)S)?)?)\Z"
)
_PHONE = re.compile(r"[+(]?[0-9][0-9 ()./-]*\Z")
LONGEST_PHONE_DIGITS = 15
SHORTEST_PHONE_DIGITS = 5


def parse_date(text: str, where: str = "date") -> date:
    """A full date such as 2026-11-25. Raises: BadInputError."""
    if isinstance(text, str) and _DATE.match(text):
        try:
            return date.fromisoformat(text)
        except ValueError:
            pass
    raise BadInputError(where, text, "a date such as 2026-11-25")


def parse_date_time(text: str, where: str = "date-time") -> datetime:
    """A date and time with its offset, such as 2026-11-25T09:30:00Z.

    A leap second is allowed only where one can be (23:59:60 UTC); Python cannot hold it, so it becomes the last
    microsecond of that minute. Fractions beyond microseconds are cut. Raises: BadInputError.
    """
    match = _DATE_TIME.match(text) if isinstance(text, str) else None
    if match is None:
        raise BadInputError(where, text, "a date and time with offset, such as 2026-11-25T09:30:00Z")
    day, hour, minute, second, fraction, offset = match.groups()
    leap = second == "60"
    micros = 999_999 if leap else int(((fraction or ".0")[1:] + "000000")[:6])
    try:
        moment = datetime.combine(date.fromisoformat(day), datetime.min.time(), _zone(offset)).replace(
            hour=int(hour), minute=int(minute), second=59 if leap else int(second), microsecond=micros
        )
        at_utc = moment.astimezone(UTC) if leap else moment
    except (ValueError, OverflowError):
        raise BadInputError(where, text, "a date and time that exist") from None
    if leap and (at_utc.hour, at_utc.minute) != (23, 59):
        raise BadInputError(where, text, "a leap second at 23:59:60 UTC only")
    return moment


def _zone(offset: str) -> timezone:
    if offset in "Zz":
        return UTC
    hours, minutes = int(offset[1:3]), int(offset[4:6])
    if hours > 23 or minutes > 59:
        raise ValueError(offset)
    shift = timedelta(hours=hours, minutes=minutes)
    return timezone(-shift if offset[0] == "-" else shift)


@dataclass(frozen=True)
class Duration:
    """A calendar duration; its length in days depends on where it starts, so it is not a timedelta."""

    years: int = 0
    months: int = 0
    weeks: int = 0
    days: int = 0
    hours: int = 0
    minutes: int = 0
    seconds: int = 0


def parse_duration(text: str, where: str = "duration") -> Duration:
    """A duration such as P90D or P4DT12H30M5S. Raises: BadInputError."""
    match = _DURATION.match(text) if isinstance(text, str) else None
    if match is None:
        raise BadInputError(where, text, "a duration such as P90D or PT36H")
    return Duration(**{unit: int(number) for unit, number in match.groupdict().items() if number})


def duration_of_days(days: int) -> str:
    """90 -> P90D."""
    return f"P{days}D"


def checked_email(text: str, where: str = "email") -> str:
    """The address in its normal form; letters beyond ASCII are allowed (RFC 6531).

    Stricter than RFC 5321 on purpose, because these are typing mistakes far more often than addresses: no quoted local parts, no
    address literals in brackets, no domain without a dot. Raises: BadInputError.
    """
    try:
        checked = validate_email(text, check_deliverability=False, strict=True)
    except (EmailNotValidError, UnicodeError, TypeError):
        raise BadInputError(where, "no address", "an e-mail address such as ada@example.com") from None
    if text != text.strip() or len(checked.normalized.encode()) > 254:
        raise BadInputError(where, "no address", "an e-mail address such as ada@example.com")
    return checked.normalized


def checked_phone(text: str, where: str = "phone") -> str:
    """A telephone number as typed, once it can be one: digits and usual marks, and possible by its country when it names one.

    Possible, not valid: numbers kept for fiction and new ranges pass (E.164: at most 15 digits). Raises: BadInputError.
    """
    digits = re.sub(r"\D", "", text)
    ok = bool(_PHONE.match(text)) and SHORTEST_PHONE_DIGITS <= len(digits) <= LONGEST_PHONE_DIGITS
    if ok and text.startswith("+"):
        try:
            ok = phonenumbers.is_possible_number(phonenumbers.parse(text))
        except phonenumbers.NumberParseException:
            ok = False
    if not ok:
        raise BadInputError(where, "no number", "a telephone number such as +44 1632 960001")
    return text
