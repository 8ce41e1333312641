"""Days and moments as sentences say them."""

from __future__ import annotations

from datetime import date, datetime


def day_in_words(day: date) -> str:
    """A day within a sentence: 5 December 2026."""
    return f"{day.day} {day:%B} {day.year}"


def moment_in_words(local: datetime) -> str:
    """A moment by the shop's clock as letters say it: Saturday 5 December 2026, 10:30."""
    return f"{local:%A} {day_in_words(local)}, {local:%H:%M}"
