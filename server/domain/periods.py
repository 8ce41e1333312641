"""Periods of days as Regulation (EEC, Euratom) No 1182/71 counts them, and months of a warranty."""

from __future__ import annotations

import calendar
from collections.abc import Container
from datetime import date, timedelta

SATURDAY = 5
LEAST_WORKING_DAYS = 2


def is_working_day(day: date, holidays: Container[date]) -> bool:
    """Whether a day is neither a Saturday, a Sunday nor a public holiday (Article 2(2) of the Regulation)."""
    return day.weekday() < SATURDAY and day not in holidays


def last_day_of(event: date, days: int, holidays: Container[date]) -> date:
    """The last day of a period of days that runs from an event, that day included.

    The day of the event does not count (Article 3(1)); the period includes holidays, Sundays and Saturdays (Article 3(3)); where its
    last day is one of them it ends with the end of the next working day (Article 3(4)), unless the period has fewer than one day.
    One of two days or more includes at least two working days (Article 3(5)). Delivered 3 March 2026, 14 days, 17 March a holiday:
    18 March 2026. Two days from Friday 27 November 2026: Tuesday 1 December.
    """
    last = event + timedelta(days=days)
    passed = [event + timedelta(days=day) for day in range(1, days + 1)]
    missing = min(days, LEAST_WORKING_DAYS) - sum(is_working_day(day, holidays) for day in passed)
    while missing > 0 or (days > 0 and not is_working_day(last, holidays)):
        last += timedelta(days=1)
        missing -= is_working_day(last, holidays)
    return last


def months_after(day: date, months: int) -> date:
    """The same day so many months later, or the last of its month where that has no such day: 31 August and 6 months: 28 February."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


def whole_months_between(first: date, last: date) -> int:
    """The whole months from a day to a later one: 31 August to 30 September is none yet, to 1 October it is one; never below zero."""
    months = (last.year - first.year) * 12 + last.month - first.month
    return max(0, months - (last.day < first.day))
