"""A calendar file that reminds the customer to post the box.

An all-day event (RFC 5545: DTSTART;VALUE=DATE, end exclusive) with an alarm the day before. The UID depends on the case
alone and SEQUENCE rises with each new date, so a newer file moves the entry instead of adding a second one.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from icalendar import Alarm, Calendar, Event

from intakebot.errors import BadInputError

PRODUCT = "-//intakebot//packing dates//EN"


def ship_by_calendar(
    *,
    reference: str,
    ship_by: date,
    now: datetime,
    summary: str,
    description: str,
    sequence: int = 0,
    domain: str = "intakebot.example.com",
) -> bytes:
    """text/calendar bytes with one event.

    Args:
        now: timezone-aware; becomes DTSTAMP in UTC.
        sequence: number of times the date was changed since the first file.
    Raises:
        BadInputError: no reference, a time without a zone, or a negative sequence.
    """
    if not reference.strip():
        raise BadInputError("reference", reference, "the case's reference")
    if now.tzinfo is None:
        raise BadInputError("now", now.isoformat(), "a time with its zone")
    if sequence < 0:
        raise BadInputError("sequence", sequence, "a number from 0")
    event = Event()
    event.add("uid", f"ship-by-{reference}@{domain}")
    event.add("dtstamp", now.astimezone(UTC))
    event.add("sequence", sequence)
    event.add("summary", summary)
    event.add("description", description)
    event.add("dtstart", ship_by)
    event.add("dtend", ship_by + timedelta(days=1))
    event.add("transp", "TRANSPARENT")
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", summary)
    alarm.add("trigger", timedelta(days=-1))
    event.add_component(alarm)
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add_component(event)
    return calendar.to_ical()
