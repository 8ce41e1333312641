"""What is said of lessons on the pages of the desk and of customers: hours, states, and times to choose from."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from babel.dates import format_date

from server.domain.lessons import BookingState, CallStage, LessonTime
from server.domain.policy import ShopTerms
from server.usecases.lessons import Calendared

STATE_WORDS: dict[BookingState, str] = {
    "booked": "booked",
    "taken": "taken",
    "cut_short": "cut short",
    "missed": "missed",
    "called_off": "called off in time",
    "called_off_late": "called off late",
    "called_off_by_shop": "called off by the shop",
    "declined": "declined: wind over their own window",
}
STAGE_WORDS: dict[CallStage, str] = {"provisional": "provisional", "final": "final"}


def long_day(day: date, terms: ShopTerms) -> str:
    """A day with its weekday: Saturday 28 November."""
    return str(format_date(day, "EEEE d MMMM", locale=terms.locale))


def day_and_hours(time: LessonTime, terms: ShopTerms) -> str:
    """When a lesson is, by the shop's clock: Saturday 28 November, 10:30 to 12:00."""
    return f"{long_day(time.starts_at.astimezone(ZoneInfo(terms.time_zone)).date(), terms)}, {hours_of(time, terms)}"


def hours_of(time: LessonTime, terms: ShopTerms) -> str:
    """From when to when, by the shop's clock: 10:30 to 12:00."""
    zone = ZoneInfo(terms.time_zone)
    return f"{time.starts_at.astimezone(zone):%H:%M} to {time.ends_at.astimezone(zone):%H:%M}"


def day_and_hour(moment: datetime, terms: ShopTerms) -> str:
    """A moment by the shop's clock: Friday 27 November, 18:00."""
    local = moment.astimezone(ZoneInfo(terms.time_zone))
    return f"{long_day(local.date(), terms)}, {local:%H:%M}"


def weather_words(time: LessonTime) -> str:
    """How the call on the weather stands: called off, on, looks off or looks on; empty where none was made."""
    if time.final is not None:
        return "called off" if time.final == "off" else "on"
    return {"off": "looks off", "on": "looks on", None: ""}[time.provisional]


def places_words(left: int) -> str:
    """How many places are left, in words."""
    return "no place left" if not left else "1 place left" if left == 1 else f"{left} places left"


def to_choose(times: list[Calendared], terms: ShopTerms, *, but_for: int = 0) -> list[tuple[str, str]]:
    """Times as choices of a list: their number and when, where and how many places are left."""
    return [
        (str(one.time.id), f"{day_and_hours(one.time, terms)}, {one.time.spot}, {places_words(one.left)}")
        for one in times
        if one.time.id != but_for
    ]
