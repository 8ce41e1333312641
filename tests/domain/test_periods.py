"""Periods of days by Regulation (EEC, Euratom) No 1182/71, with the public holidays of Ireland."""

from __future__ import annotations

from datetime import date

import pytest

from server.domain.periods import last_day_of, months_after
from server.outside.public_holidays import public_holidays

IRELAND = public_holidays("IE", [2026, 2027])


@pytest.mark.parametrize(
    ("delivered", "last"),
    [
        ("2026-03-03", "2026-03-18"),  # 17 March is Saint Patrick's Day.
        ("2026-07-20", "2026-08-04"),  # 3 August is a bank holiday.
        ("2026-12-12", "2026-12-28"),  # 26 December is a Saturday and Saint Stephen's Day, 27 a Sunday.
        ("2027-03-15", "2027-03-30"),  # 29 March is Easter Monday.
        ("2026-06-01", "2026-06-15"),  # A plain Monday to a plain Monday.
    ],
)
def test_fourteen_days_end_on_a_working_day(delivered: str, last: str) -> None:
    # Regulation 1182/71, Article 3(1), (3) and (4), counted by hand.
    assert last_day_of(date.fromisoformat(delivered), 14, IRELAND) == date.fromisoformat(last)


@pytest.mark.parametrize(
    ("event", "days", "last"),
    [
        ("2026-11-27", 2, "2026-12-01"),  # From a Friday: Monday and Tuesday.
        ("2026-12-24", 3, "2026-12-29"),  # Two holidays and a Sunday between.
        ("2026-11-27", 1, "2026-11-30"),  # One day alone includes one.
        ("2026-11-30", 2, "2026-12-02"),
    ],
)
def test_a_period_of_two_days_or_more_includes_two_working_days(event: str, days: int, last: str) -> None:
    # Regulation 1182/71, Article 3(5), from memory.
    assert last_day_of(date.fromisoformat(event), days, IRELAND) == date.fromisoformat(last)


def test_the_public_holidays_of_ireland_are_those_of_its_law() -> None:
    # Organisation of Working Time Act 1997, Second Schedule, with Saint Brigid's Day since 2023; days of 2026 from memory of the law:
    # the first Monday of February unless the first is a Friday, the first of May, June and August, the last of October.
    wanted = "01-01 02-02 03-17 04-06 05-04 06-01 08-03 10-26 12-25 12-26"
    assert {f"{day:%m-%d}" for day in IRELAND if day.year == 2026} == set(wanted.split())
    assert public_holidays("XX", [2026]) == frozenset()


def test_no_day_at_all_ends_on_the_day_itself_and_months_end_with_the_month() -> None:
    assert last_day_of(date(2026, 3, 14), 0, IRELAND) == date(2026, 3, 14)
    assert months_after(date(2026, 8, 31), 6) == date(2027, 2, 28)
    assert months_after(date(2026, 11, 25), 24) == date(2028, 11, 25)
