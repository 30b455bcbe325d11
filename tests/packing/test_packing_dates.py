"""Holidays, business days, periods and the dates of a parcel.

Sources: official bank-holiday and federal-holiday lists as held by the `holidays` library (year-end rows of England and
Wales confirmed on a second page); Reg. (EEC, Euratom) 1182/71 art. 3, from memory.
"""

from __future__ import annotations

from datetime import date, timedelta
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intakebot.definitions.model import Calendar
from intakebot.errors import BadInputError
from intakebot.packing.bench_queue import NoPromise, Turnaround
from intakebot.packing.dates import (
    add_business_days,
    arrival_day,
    carrier_calendar,
    is_working_day,
    next_working_day,
    packing_dates,
    period_end,
    period_end_months,
    previous_working_day,
    public_holidays,
    quote_expiry,
    subtract_business_days,
)

WEEKDAYS = (0, 1, 2, 3, 4)
UK = Calendar("GB", "ENG", WEEKDAYS, (), "invented for the demo", 6.0, 90)
US = Calendar("US", None, WEEKDAYS, (), "invented for the demo", 6.0, 90)
DE = Calendar("DE", "BY", WEEKDAYS, (), "invented for the demo", 6.0, 90)
DAYS = st.dates(date(2024, 1, 1), date(2032, 12, 31))
NINE_DAYS = Turnaround(9, 90, 0.8, 1.25, "usual")


def days(year: int, *month_days: str) -> frozenset[date]:
    return frozenset(date.fromisoformat(f"{year}-{day}") for day in month_days)


def test_closed_days_of_england_and_wales_2026() -> None:
    closed = public_holidays("GB", "ENG", 2026)
    weekdays = {day for day in closed if day.weekday() in WEEKDAYS}

    assert weekdays == days(2026, "01-01", "04-03", "04-06", "05-04", "05-25", "08-31", "12-25", "12-28")


def test_substitute_days_of_england_and_wales_in_2027_and_2028() -> None:
    assert days(2027, "12-27", "12-28") <= public_holidays("GB", "ENG", 2027)
    assert days(2028, "01-03") <= public_holidays("GB", "ENG", 2028)


def test_closed_days_of_the_united_states_2026() -> None:
    weekdays = {day for day in public_holidays("US", None, 2026) if day.weekday() in WEEKDAYS}

    assert weekdays == days(
        2026,
        "01-01",
        "01-19",
        "02-16",
        "05-25",
        "06-19",
        "07-03",
        "09-07",
        "10-12",
        "11-11",
        "11-26",
        "12-25",
    )


@pytest.mark.parametrize(
    ("calendar", "start", "count", "end"),
    [
        pytest.param(UK, "2026-12-22", 5, "2026-12-31", id="uk-over-christmas"),
        pytest.param(UK, "2026-04-01", 5, "2026-04-10", id="uk-over-easter"),
        pytest.param(UK, "2027-12-20", 10, "2028-01-06", id="uk-with-both-substitutes"),
        pytest.param(US, "2026-11-24", 3, "2026-11-30", id="us-thanksgiving"),
        pytest.param(US, "2026-07-01", 2, "2026-07-06", id="us-independence-day-in-lieu"),
        pytest.param(UK, "2026-12-25", 0, "2026-12-29", id="zero-from-a-holiday"),
        pytest.param(UK, "2026-12-24", 0, "2026-12-24", id="zero-from-a-working-day"),
    ],
)
def test_business_days(calendar: Calendar, start: str, count: int, end: str) -> None:
    assert add_business_days(calendar, date.fromisoformat(start), count) == date.fromisoformat(end)


@pytest.mark.parametrize(
    ("start", "plain", "expiry"),
    [
        # 25 Dec is a holiday, 26 and 27 a weekend, Mon 28 the substitute: the quote holds until Tue 29
        pytest.param("2026-11-25", "2026-12-25", "2026-12-29", id="christmas"),
        pytest.param("2026-01-31", "2026-03-02", "2026-03-02", id="short-february"),
        pytest.param("2028-01-31", "2028-03-01", "2028-03-01", id="leap-year"),
    ],
)
def test_thirty_calendar_days_end_on_a_working_day(start: str, plain: str, expiry: str) -> None:
    issued = date.fromisoformat(start)

    assert issued + timedelta(days=30) == date.fromisoformat(plain)
    assert quote_expiry(UK, issued, 30) == date.fromisoformat(expiry)


def test_a_european_period_ending_at_christmas_runs_to_monday_the_28th() -> None:
    # Bavaria 2026: Fri 25 and Sat 26 Dec are holidays, Sun 27, so the period ends on Mon 28.
    assert period_end(DE, date(2026, 11, 25), 30) == date(2026, 12, 28)


def test_a_month_from_31_january_ends_with_february_or_the_next_working_day() -> None:
    # 28 Feb 2026 is a Saturday -> Mon 2 Mar; 29 Feb 2028 is a Tuesday
    assert period_end_months(DE, date(2026, 1, 31), 1) == date(2026, 3, 2)
    assert period_end_months(DE, date(2028, 1, 31), 1) == date(2028, 2, 29)


def test_own_closures_and_short_weeks_count(build: SimpleNamespace) -> None:
    closed = build.calendar(
        closures=((date(2026, 8, 3), date(2026, 8, 14), "summer"),), working_weekdays=(1, 2, 3)
    )

    # Thu 30 Jul 2026; Fri and Mon are never worked, 4 to 14 Aug closed: the next is Tue 18
    assert add_business_days(closed, date(2026, 7, 30), 1) == date(2026, 8, 18)
    assert is_working_day(carrier_calendar(closed), date(2026, 8, 3))


def test_a_shop_that_works_on_saturdays_only_gets_a_later_day_not_an_earlier(build: SimpleNamespace) -> None:
    saturdays = build.calendar(working_weekdays=(5,))

    # 30 days from Thu 5 Nov 2026 is Sat 5 Dec; the law runs to Mon 7, the shop works on Sat 12
    assert period_end(saturdays, date(2026, 11, 5), 30) == date(2026, 12, 12)


@given(DAYS, st.integers(1, 60))
def test_adding_and_taking_away_business_days_are_inverse(day: date, count: int) -> None:
    start = next_working_day(UK, day)

    assert subtract_business_days(UK, add_business_days(UK, start, count), count) == start


@given(DAYS, st.integers(0, 90))
def test_a_period_is_never_shorter_than_its_days_and_ends_on_a_working_day(day: date, count: int) -> None:
    end = period_end(UK, day, count)

    assert end >= day + timedelta(days=count)
    assert is_working_day(UK, end)


@given(DAYS)
def test_the_next_and_the_previous_working_day_enclose_a_day(day: date) -> None:
    assert previous_working_day(UK, day) <= day <= next_working_day(UK, day)


@pytest.mark.parametrize(
    "changes",
    [
        pytest.param({"working_weekdays": ()}, id="no-weekday"),
        pytest.param({"closures": ((date(2020, 1, 1), date(2040, 1, 1), "for good"),)}, id="closed-for-good"),
    ],
)
def test_a_calendar_closed_for_a_year_is_refused(build: SimpleNamespace, changes: dict[str, object]) -> None:
    closed = build.calendar(**changes)

    with pytest.raises(BadInputError, match="at least one working day"):
        add_business_days(closed, date(2026, 11, 25), 1)
    with pytest.raises(BadInputError, match="at least one working day"):
        period_end(closed, date(2026, 11, 25), 30)


@pytest.mark.parametrize(("country", "subdivision"), [("ZZ", None), ("GB", "NOWHERE")])
def test_a_country_without_known_holidays_is_refused(country: str, subdivision: str | None) -> None:
    with pytest.raises(BadInputError, match="calendar, country"):
        public_holidays(country, subdivision, 2026)


@pytest.mark.parametrize("count", [-1, 4000])
def test_absurd_day_counts_are_refused(count: int) -> None:
    with pytest.raises(BadInputError, match="count"):
        add_business_days(UK, date(2026, 11, 25), count)


# ---- the dates of one parcel -----------------------------------------------------------------------------------------


def test_every_date_of_a_parcel_over_christmas() -> None:
    dates = packing_dates(UK, date(2026, 12, 16), 2, NINE_DAYS, quote_expires=date(2027, 1, 15))

    # post Thu 17 Dec; 2 carrier days -> Mon 21; 9 working days: 22 23 24 29 30 31 4 5 6 -> 6 Jan; back Fri 8 Jan
    assert (dates.post_on, dates.arrives, dates.ready_by, dates.back_by) == (
        date(2026, 12, 17),
        date(2026, 12, 21),
        date(2027, 1, 6),
        date(2027, 1, 8),
    )
    # arrives by Fri 15 Jan when posted on Wed 13
    assert dates.ship_by == date(2027, 1, 13)


def test_the_box_is_received_only_when_the_shop_works(build: SimpleNamespace) -> None:
    closed = build.calendar(closures=((date(2026, 11, 30), date(2026, 12, 4), "stocktaking"),))

    # posted Thu 26 Nov, carried by Mon 30, shop opens again on Mon 7 Dec
    assert arrival_day(closed, date(2026, 11, 26), 2) == date(2026, 12, 7)


def test_a_deadline_moves_ship_by_forward() -> None:
    # today Mon 2 Nov; deadline Fri 4 Dec 2026: back by then needs ready by Wed 2 Dec, so arrival by Thu 19 Nov
    # (9 working days 20 23 24 25 26 27 30 1 2), so posting by Tue 17 Nov
    dates = packing_dates(
        UK, date(2026, 11, 2), 2, NINE_DAYS, quote_expires=date(2026, 12, 29), deadline=date(2026, 12, 4)
    )

    assert (dates.deadline_met, dates.ship_by) == (True, date(2026, 11, 17))


def test_a_deadline_that_cannot_be_met_is_said_and_does_not_move_ship_by() -> None:
    dates = packing_dates(
        UK, date(2026, 11, 25), 2, NINE_DAYS, quote_expires=date(2026, 12, 29), deadline=date(2026, 11, 30)
    )

    assert (dates.deadline_met, dates.ship_by) == (False, date(2026, 12, 23))


@pytest.mark.parametrize("deadline", [date(2031, 1, 1), date.max])
def test_a_deadline_years_away_changes_nothing(deadline: date) -> None:
    far = packing_dates(
        UK, date(2026, 11, 25), 2, NINE_DAYS, quote_expires=date(2026, 12, 29), deadline=deadline
    )
    none = packing_dates(UK, date(2026, 11, 25), 2, NINE_DAYS, quote_expires=date(2026, 12, 29))

    assert (far.ship_by, far.deadline_met) == (none.ship_by, True)


@given(DAYS, st.integers(0, 8), st.integers(5, 120))
def test_a_box_posted_by_ship_by_is_back_by_the_deadline(today: date, transit: int, until: int) -> None:
    deadline = today + timedelta(days=until)
    dates = packing_dates(UK, today, transit, NINE_DAYS, deadline=deadline)

    if dates.deadline_met:
        assert dates.ship_by is not None
        later = packing_dates(UK, dates.ship_by - timedelta(days=1), transit, NINE_DAYS)
        assert later.back_by is not None
        assert later.back_by <= deadline or later.post_on > dates.ship_by
    else:
        assert dates.ship_by is None


def test_too_late_to_post_under_the_quote() -> None:
    dates = packing_dates(UK, date(2026, 11, 25), 5, NINE_DAYS, quote_expires=date(2026, 11, 27))

    assert (dates.too_late, dates.ship_by) == (True, None)


def test_without_a_promise_there_is_no_expected_back_date() -> None:
    dates = packing_dates(UK, date(2026, 11, 25), 2, NoPromise("overloaded", 1.2), deadline=date(2027, 1, 1))

    assert (dates.ready_by, dates.back_by, dates.deadline_met) == (None, None, None)
    assert dates.to_mapping()["turnaround"] == {"working_days": None, "reason": "overloaded"}


@given(DAYS, st.integers(0, 10), st.integers(0, 60))
def test_a_box_posted_by_ship_by_arrives_while_the_quote_holds(
    today: date, transit: int, validity: int
) -> None:
    expires = quote_expiry(UK, today, validity)
    dates = packing_dates(UK, today, transit, NINE_DAYS, quote_expires=expires)

    if dates.ship_by is None:
        assert dates.too_late
    else:
        assert today <= dates.ship_by <= expires
        assert arrival_day(UK, dates.ship_by, transit) <= expires
        # and posting on the next carrier day would be too late
        assert arrival_day(UK, add_business_days(carrier_calendar(UK), dates.ship_by, 1), transit) > expires
