"""Seasons, and the days past that tell about one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from server.domain.periods import months_after

SEASON_BEGINS = 4
SEASON_MONTHS = 6
"""April to September: when learners come in the north of Europe; common practice of the trade, without a source."""


@dataclass(frozen=True, slots=True)
class Days:
    """Days from a first to a last, both included."""

    first: date
    last: date

    @property
    def number(self) -> int:
        """How many they are."""
        return (self.last - self.first).days + 1

    @property
    def key(self) -> str:
        """What they are known by: 2027-04-01/2027-09-30."""
        return f"{self.first.isoformat()}/{self.last.isoformat()}"


def coming_season(today: date) -> Days:
    """The next April to September that has not begun."""
    first = date(today.year + ((today.month, today.day) > (SEASON_BEGINS, 1)), SEASON_BEGINS, 1)
    return Days(first, months_after(first, SEASON_MONTHS) - timedelta(days=1))


def days_to_count(season: Days, today: date, oldest: date | None) -> Days:
    """The days past that tell about a season: the same days a year before, or where nothing was kept by then as many up to today.

    `oldest` is the day of the oldest quote; neither days end after today.
    """
    last_time = Days(months_after(season.first, -12), min(months_after(season.last, -12), today))
    if last_time.first <= last_time.last and oldest is not None and oldest <= last_time.last:
        return last_time
    return Days(today - timedelta(days=season.number - 1), today)


def season_of(today: date) -> Days:
    """The April to September that goes on or was last, as far as it has come."""
    first = date(today.year - (today.month < SEASON_BEGINS), SEASON_BEGINS, 1)
    return Days(first, min(months_after(first, SEASON_MONTHS) - timedelta(days=1), today))
