"""Lessons of today at the strand, begun or about to, with learners in them, by whatever clock the shop has."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from server.domain.lessons import Booking
from server.usecases.assessments import confirm_quote_of
from server.usecases.lessons import book_lesson
from server.usecases.quotes import issue_quote
from server.usecases.strand import take_reading
from server.usecases.work import Shop
from tests.builders_lessons import asked, lesson
from tests.builders_shop import learner


def begun(now: datetime, ago: int, zone: ZoneInfo) -> datetime:
    """The moment so many minutes ago by the shop's clock, but not yesterday: just after midnight it is midnight."""
    local = now.astimezone(zone)
    moment = local - timedelta(minutes=ago)
    return moment if moment.date() >= local.date() else local.replace(hour=0, minute=0, second=0, microsecond=0)


def lesson_today(
    shop: Shop, *learners: dict[str, str], ago: int = 10, is_confirmed: bool = True, **given: str
) -> list[Booking]:
    """The bookings of a lesson that began so many minutes ago (fewer than none: it is still to come), made hours before it."""
    with shop.reading() as work:
        zone = ZoneInfo(work.catalogue.policy.shop.time_zone)
    local = begun(shop.clock(), ago, zone)
    early = Shop(shop.sessions, lambda: local - timedelta(hours=4))
    number = lesson(early, day=local.date().isoformat(), at=f"{local:%H:%M}", **{"minutes": "90", **given})
    bookings = []
    for one in learners:
        with early.writing() as work:
            booking = book_lesson(work, number, asked(**one))
        if booking.claimed_quote_token and is_confirmed:
            with early.writing("Maeve") as work:
                booking = confirm_quote_of(work, booking)
        bookings.append(booking)
    return bookings


def kept_quote(shop: Shop, **given: object) -> tuple[str, str]:
    """The token and the code of a fresh quote."""
    with shop.writing() as work:
        quote = issue_quote(work, learner(**given))
    return quote.token, quote.code


def typed_reading(**given: str) -> dict[str, str]:
    """What is typed of a day on which lessons are held: a fair wind onto the land at half tide, with what is given in its place."""
    usual = {
        "spot": "Tullaveen Strand",
        "mean_kn": "16",
        "gust_kn": "19",
        "from_deg": "240",
        "tide_m": "1.5",
        "lightning": "",
    }
    return {**usual, **given}


def read_at_strand(shop: Shop, **given: str) -> None:
    """Wind and tide typed at the desk by Maeve."""
    with shop.writing("Maeve") as work:
        take_reading(work, typed_reading(**given))


def typed_seen(**given: str) -> dict[str, str]:
    """What is typed of a learner who flies 30 m at a time and holds a course, with what is given in its place."""
    usual = {
        "to_feet": "quick",
        "control": "holds_a_course",
        "longest_flight": "30",
        "confidence": "4",
        "wing_handling": "some",
        "setup": "as_worked_out",
        "sentence": "Up on most runs and steady once flying.",
    }
    return {**usual, **given}
