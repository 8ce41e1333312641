"""Lessons on the calendar and places in them, made as the desk and customers make them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from itertools import count

from server.domain.lessons import Booking, Conditions, PlaceAsked, read_asked
from server.usecases.lessons import book_lesson, make_times
from server.usecases.work import Shop

NUMBERS = count(1000)
GOOD_WIND = Conditions(16, 20, 240)
"""From the south-west, which is onshore at Tullaveen Strand."""


def typed_time(**given: str) -> Mapping[str, str]:
    """What is typed for a private lesson on Saturday 28 November 2026 at half past ten, with what is given in its place."""
    usual = {
        "kind": "private",
        "day": "2026-11-28",
        "at": "10:30",
        "minutes": "",
        "places": "",
        "instructor": "Maeve",
        "spot": "Tullaveen Strand",
        "weeks": "",
    }
    return {**usual, **given}


def day_ahead(shop: Shop, days: int = 3) -> str:
    """A day so many days from now by the shop's clock, as it is typed; with a clock at `NOON` the third is 28 November 2026."""
    with shop.reading() as work:
        return (work.today + timedelta(days=days)).isoformat()


def lesson(shop: Shop, **given: str) -> int:
    """The number of a new time on the calendar, in three days unless it is said otherwise."""
    with shop.writing("Maeve") as work:
        day = (work.today + timedelta(days=3)).isoformat()
        return make_times(work, typed_time(**{"day": day, **given}))[0]


def typed_learner(**given: str) -> dict[str, str]:
    """What somebody new types to book, with what is given in its place."""
    number = next(NUMBERS)
    usual = {
        "name": "Some One",
        "email": f"some.one.{number}@example.org",
        "phone": f"+353 20 910 {number:04d}",
        "mass_kg": "72",
        "swims_100m": "yes",
        "under_18": "",
        "code": "",
    }
    return {**usual, **given}


def asked(**given: str) -> PlaceAsked:
    """Somebody new who asks for a place."""
    return read_asked(typed_learner(**given))


def booked(shop: Shop, number: int, **given: str) -> Booking:
    """A customer's new booking."""
    with shop.writing() as work:
        return book_lesson(work, number, asked(**given))
