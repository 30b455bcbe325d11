"""E-mail addresses and telephone numbers, each checked by a library made for it."""

from __future__ import annotations

import phonenumbers
from email_validator import EmailNotValidError, validate_email

MAX_ADDRESS = 254
_NOT_IN_ADDRESS = frozenset(" \t\n\r<>()[],;:\"'\\")
_MAX_TRIES = 20


def find_emails(text: str) -> list[tuple[str, tuple[int, int]]]:
    """(normalised address, span) of every valid address; syntax only, nothing is looked up."""
    found: list[tuple[str, tuple[int, int]]] = []
    at = text.find("@")
    while at >= 0 and len(found) < 10:
        start, end = at, at + 1
        while (
            start > 0
            and at - start < 64
            and text[start - 1] not in _NOT_IN_ADDRESS
            and text[start - 1] != "@"
        ):
            start -= 1
        while (
            end < len(text)
            and end - at < MAX_ADDRESS
            and text[end] not in _NOT_IN_ADDRESS
            and text[end] != "@"
        ):
            end += 1
        while end > at + 1 and text[end - 1] in ".!?":
            end -= 1
        if start < at < end - 1:
            try:
                checked = validate_email(text[start:end], check_deliverability=False)
                found.append((checked.normalized, (start, end)))
            except EmailNotValidError:
                pass
        at = text.find("@", end)
    return found


def find_phones(text: str, region: str, *, expected: bool) -> list[tuple[str, tuple[int, int]]]:
    """(international form, span) of every telephone number.

    Not expected: only numbers valid for their numbering plan. Expected: possible ones too (right length).
    """
    if sum(char.isdigit() for char in text) < 7:
        return []
    leniency = phonenumbers.Leniency.POSSIBLE if expected else phonenumbers.Leniency.VALID
    found: list[tuple[str, tuple[int, int]]] = []
    for match in phonenumbers.PhoneNumberMatcher(text, region, leniency, _MAX_TRIES):
        written = phonenumbers.format_number(match.number, phonenumbers.PhoneNumberFormat.INTERNATIONAL)
        found.append((written, (match.start, match.end)))
        if len(found) >= 10:
            break
    return found
