"""The ship-by calendar file, read back with the icalendar library (RFC 5545)."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from intakebot.documents.calendar_file import ship_by_calendar
from intakebot.errors import BadInputError

NOON = datetime(2026, 11, 25, 12, 30, tzinfo=timezone(timedelta(hours=1)))


def made(**changes: Any) -> bytes:
    values: dict[str, Any] = {
        "reference": "TD-1042",
        "ship_by": date(2026, 12, 23),
        "now": NOON,
        "summary": "Post the box TD-1042",
        "description": "Größe; Stück, \\ and\nlines",
    }
    return ship_by_calendar(**(values | changes))


def event(data: bytes) -> Any:
    return Calendar.from_ical(data).walk("VEVENT")[0]


def test_it_is_an_all_day_event_with_an_exclusive_end() -> None:
    found = event(made())

    assert (found.decoded("dtstart"), found.decoded("dtend")) == (date(2026, 12, 23), date(2026, 12, 24))
    assert b"DTSTART;VALUE=DATE:20261223\r\n" in made()


def test_text_survives_the_round_trip() -> None:
    assert str(event(made())["description"]) == "Größe; Stück, \\ and\nlines"


def test_the_alarm_rings_the_day_before() -> None:
    alarm = Calendar.from_ical(made()).walk("VALARM")[0]

    assert (alarm.decoded("trigger"), str(alarm["action"])) == (timedelta(days=-1), "DISPLAY")


def test_a_new_date_moves_the_same_entry() -> None:
    first, second = event(made()), event(made(ship_by=date(2026, 12, 28), sequence=1))

    assert first["uid"] == second["uid"]
    assert (int(first["sequence"]), int(second["sequence"])) == (0, 1)


def test_cases_have_their_own_entries() -> None:
    assert event(made())["uid"] != event(made(reference="TD-1043"))["uid"]


def test_the_stamp_is_in_utc() -> None:
    assert event(made()).decoded("dtstamp") == datetime(2026, 11, 25, 11, 30, tzinfo=UTC)
    assert b"DTSTAMP:20261125T113000Z\r\n" in made()


def test_the_same_input_gives_the_same_bytes() -> None:
    assert made() == made()


@given(st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=200))
def test_lines_are_folded_at_75_octets_and_end_in_crlf(text: str) -> None:
    # RFC 5545, 3.1: lines should not be longer than 75 octets, excluding the line break.
    data = made(description=text)

    assert data.endswith(b"\r\n")
    assert all(len(line) <= 75 for line in data.split(b"\r\n"))
    assert str(event(data)["description"]) == text


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"reference": " "}, "reference"),
        ({"now": datetime(2026, 11, 25, 12)}, "now"),
        ({"sequence": -1}, "sequence"),
    ],
)
def test_unusable_input_is_refused(changes: dict[str, Any], where: str) -> None:
    with pytest.raises(BadInputError, match=where):
        made(**changes)
