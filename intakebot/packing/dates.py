"""Business days, public holidays, and the dates a parcel lives by.

A *working day* is a weekday the shop works, no public holiday and no closure of its own. Periods in days follow the
European rule (Reg. (EEC, Euratom) 1182/71 art. 3, from memory): the day of the event is not counted, and a period that
would end on a holiday, Saturday or Sunday ends with the next working day; a later date is promised rather than an
earlier one. Carriers move Monday to Friday except public holidays, whatever the shop does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache
from typing import Any

import holidays
from dateutil.relativedelta import relativedelta

from intakebot.definitions.model import Calendar
from intakebot.errors import BadInputError
from intakebot.packing.bench_queue import NoPromise, Turnaround

_MONDAY_TO_FRIDAY = (0, 1, 2, 3, 4)
_LONGEST_SEARCH_DAYS = 366
MOST_DAYS = 3660


@lru_cache(maxsize=128)
def public_holidays(country: str, subdivision: str | None, year: int) -> frozenset[date]:
    """Public holidays of a year, days in lieu included. Raises: BadInputError for a country the library lacks."""
    try:
        return frozenset(holidays.country_holidays(country, subdiv=subdivision, years=year))
    except NotImplementedError as error:
        found = country if subdivision is None else f"{country}-{subdivision}"
        raise BadInputError(
            "calendar, country", found, "a country (and subdivision) with known holidays"
        ) from error


def is_public_holiday(calendar: Calendar, day: date) -> bool:
    return day in public_holidays(calendar.country, calendar.subdivision, day.year)


def is_working_day(calendar: Calendar, day: date) -> bool:
    """Whether the shop works on a day."""
    if day.weekday() not in calendar.working_weekdays or is_public_holiday(calendar, day):
        return False
    return not any(first <= day <= last for first, last, _ in calendar.closures)


def carrier_calendar(calendar: Calendar) -> Calendar:
    """The days on which parcels move: Monday to Friday, no public holidays, none of the shop's own closures."""
    return replace(calendar, working_weekdays=_MONDAY_TO_FRIDAY, closures=())


def next_working_day(calendar: Calendar, day: date) -> date:
    """The day itself or the first working day after it. Raises: BadInputError when there is none within a year."""
    return _seek(calendar, day, 1)


def previous_working_day(calendar: Calendar, day: date) -> date:
    """The day itself or the last working day before it. Raises: BadInputError when there is none within a year."""
    return _seek(calendar, day, -1)


def add_business_days(calendar: Calendar, day: date, count: int) -> date:
    """The count-th working day after a day, which itself is not counted; 0 gives the day or the next working one.

    Raises: BadInputError for a count outside 0 to 3660, or a calendar that is closed for a year on end.
    """
    _check_count("count", count)
    if count == 0:
        return next_working_day(calendar, day)
    for _ in range(count):
        day = next_working_day(calendar, day + timedelta(days=1))
    return day


def subtract_business_days(calendar: Calendar, day: date, count: int) -> date:
    """The count-th working day before a day; 0 gives the day or the working one before it."""
    _check_count("count", count)
    if count == 0:
        return previous_working_day(calendar, day)
    for _ in range(count):
        day = previous_working_day(calendar, day - timedelta(days=1))
    return day


def period_end(calendar: Calendar, event_day: date, days: int) -> date:
    """Last day of a period of calendar days (Reg. 1182/71 art. 3), on a day the shop works as well."""
    _check_count("days", days)
    return _next_day_of_both(calendar, event_day + timedelta(days=days))


def period_end_months(calendar: Calendar, event_day: date, months: int) -> date:
    """Last day of a period of months: the same day number, or the month's last day, then as `period_end`."""
    _check_count("months", months)
    return _next_day_of_both(calendar, event_day + relativedelta(months=months))


def quote_expiry(calendar: Calendar, issued: date, validity_days: int) -> date:
    """Last day on which a quote may be accepted: never fewer calendar days than stated, ending on a working day."""
    return period_end(calendar, issued, validity_days)


def arrival_day(calendar: Calendar, posted: date, transit_days: int) -> date:
    """Day a parcel posted on a day reaches the shop: transit on carrier days, then the next day the shop works."""
    return next_working_day(calendar, add_business_days(carrier_calendar(calendar), posted, transit_days))


@dataclass(frozen=True)
class PackingDates:
    """The dates on the packing sheet.

    post_on: the example day everything below is worked from (the next day parcels move).
    ship_by: last day to post so that the box arrives while the quote holds and, if that can be met, before the deadline;
        None when it is too late, or nothing is quoted yet and there is no deadline.
    back_by: day by which the device should be back if posted on post_on; None when no turnaround can be promised.
    deadline_met: None without a deadline or without a promise.
    """

    today: date
    post_on: date
    quote_expires: date | None
    ship_by: date | None
    too_late: bool
    arrives: date
    ready_by: date | None
    back_by: date | None
    promise: Turnaround | NoPromise
    deadline: date | None
    deadline_met: bool | None

    def to_mapping(self) -> dict[str, Any]:
        days = {
            "today": self.today,
            "post_on": self.post_on,
            "quote_expires": self.quote_expires,
            "ship_by": self.ship_by,
            "arrives": self.arrives,
            "ready_by": self.ready_by,
            "back_by": self.back_by,
            "deadline": self.deadline,
        }
        return {
            **{name: day.isoformat() if day else None for name, day in days.items()},
            "too_late": self.too_late,
            "deadline_met": self.deadline_met,
            "turnaround": self.promise.to_mapping(),
        }


def packing_dates(
    calendar: Calendar,
    today: date,
    transit_days: int,
    promise: Turnaround | NoPromise,
    *,
    quote_expires: date | None = None,
    deadline: date | None = None,
) -> PackingDates:
    """Work out ship-by, arrival and expected-back dates. Raises: BadInputError for a closed calendar."""
    _check_count("transit_days", transit_days)
    carrier = carrier_calendar(calendar)
    post_on = add_business_days(carrier, today, 1)
    arrives = arrival_day(calendar, post_on, transit_days)
    ready_by, back_by = _done_dates(calendar, arrives, transit_days, promise)
    met = None if deadline is None or back_by is None else back_by <= deadline
    limits = []
    if quote_expires is not None:
        limits.append(_last_post(calendar, quote_expires, transit_days))
    if met and deadline is not None:
        limits.append(_last_post_for_deadline(calendar, post_on, deadline, transit_days, promise))
    ship_by = min(limits, default=None)
    too_late = ship_by is not None and ship_by < today
    return PackingDates(
        today=today,
        post_on=post_on,
        quote_expires=quote_expires,
        ship_by=None if too_late else ship_by,
        too_late=too_late,
        arrives=arrives,
        ready_by=ready_by,
        back_by=back_by,
        promise=promise,
        deadline=deadline,
        deadline_met=met,
    )


def _done_dates(
    calendar: Calendar, arrives: date, transit_days: int, promise: Turnaround | NoPromise
) -> tuple[date | None, date | None]:
    if isinstance(promise, NoPromise):
        return None, None
    ready = add_business_days(calendar, arrives, promise.days)
    return ready, add_business_days(carrier_calendar(calendar), ready, transit_days)


def _last_post(calendar: Calendar, arrive_by: date, transit_days: int) -> date:
    """The last carrier day from which a box still arrives by a day."""
    carrier = carrier_calendar(calendar)
    posted = subtract_business_days(carrier, arrive_by, transit_days)
    while arrival_day(calendar, posted, transit_days) > arrive_by:
        posted = subtract_business_days(carrier, posted, 1)
    return posted


def _last_post_for_deadline(
    calendar: Calendar, earliest: date, deadline: date, transit_days: int, promise: Turnaround | NoPromise
) -> date:
    """The last carrier day from `earliest` on from which the device is still back by the deadline.

    A deadline more than a year away is taken as a year away: it binds nobody today.
    """
    carrier = carrier_calendar(calendar)
    deadline = min(deadline, earliest + timedelta(days=_LONGEST_SEARCH_DAYS))
    last = earliest
    for _ in range(_LONGEST_SEARCH_DAYS):
        following = add_business_days(carrier, last, 1)
        back = _done_dates(calendar, arrival_day(calendar, following, transit_days), transit_days, promise)[1]
        if back is None or back > deadline:
            break
        last = following
    return last


def _next_day_of_both(calendar: Calendar, day: date) -> date:
    """First day from `day` on that is no Saturday, Sunday or holiday, then the first on which the shop works."""
    return next_working_day(calendar, next_working_day(carrier_calendar(calendar), day))


def _seek(calendar: Calendar, day: date, step: int) -> date:
    for _ in range(_LONGEST_SEARCH_DAYS):
        if is_working_day(calendar, day):
            return day
        day += timedelta(days=step)
    raise _closed(calendar)


def _closed(calendar: Calendar) -> BadInputError:
    return BadInputError("calendar", calendar.working_weekdays, "at least one working day within a year")


def _check_count(where: str, count: int) -> None:
    if not 0 <= count <= MOST_DAYS:
        raise BadInputError(where, count, f"a whole number from 0 to {MOST_DAYS}")
