"""A call that was promised: to whom, about what, and when it is due by the shop's clock."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from server.domain.errors import Fault, InvalidInput
from server.domain.stock import PHONE_ACCEPTED, Contact, read_contact

MOST_ABOUT = 300
FURTHEST = timedelta(days=366)
DAY_ACCEPTED = "a day from today on, within a year"
TIME_ACCEPTED = "a time such as 16:30, by the shop's clock"


@dataclass(frozen=True, slots=True)
class Promise:
    """What is promised, as it was read."""

    contact: Contact
    about: str
    due_at: datetime


@dataclass(frozen=True, slots=True)
class Call:
    """A promised call; `code` is the quote that it is about, empty where there is none."""

    id: int
    contact: Contact
    about: str
    due_at: datetime
    made_by: str
    code: str = ""
    done_at: datetime | None = None
    done_by: str = ""

    def is_overdue(self, now: datetime) -> bool:
        """Whether it should have been made by now."""
        return self.done_at is None and self.due_at < now


def read_promise(*, name: str, phone: str, about: str, day: str, at: str, now: datetime, zone: ZoneInfo) -> Promise:
    """A promise from what was typed; raises `InvalidInput` with every fault."""
    faults: list[Fault] = []
    contact = Contact(name, "", phone)
    try:
        contact = read_contact(name, "", phone or "000000")
    except InvalidInput as error:
        faults += error.faults
    if not phone:
        faults.append(Fault("phone", "A number to call is needed.", PHONE_ACCEPTED))
    if len(about) > MOST_ABOUT or not all(sign.isprintable() or sign in "\r\n" for sign in about):
        faults.append(Fault("about", "This cannot be kept.", f"up to {MOST_ABOUT} characters"))
    due_at = _due_at(faults, day, at, now, zone)
    if faults or due_at is None:
        raise InvalidInput(faults)
    return Promise(contact, about, due_at)


def _due_at(faults: list[Fault], day: str, at: str, now: datetime, zone: ZoneInfo) -> datetime | None:
    """The moment a call is due, in UTC; what is wrong is added to the faults."""
    read_day, read_time = _day(day), _time(at)
    if read_day is None:
        faults.append(Fault("day", "This is not a day.", DAY_ACCEPTED))
    if read_time is None:
        faults.append(Fault("at", "This is not a time.", TIME_ACCEPTED))
    if read_day is None or read_time is None:
        return None
    if not now.astimezone(zone).date() <= read_day <= (now.astimezone(zone) + FURTHEST).date():
        faults.append(Fault("day", "This day has passed or is too far away.", DAY_ACCEPTED))
        return None
    local = datetime.combine(read_day, read_time, zone)
    due_at = local.astimezone(UTC)
    # In the night when clocks are put forward an hour does not exist: there and back comes to another time.
    if due_at.astimezone(zone).time() != read_time:
        faults.append(Fault("at", "The clocks are put forward over this hour.", "an hour later"))
    elif due_at < now.replace(second=0, microsecond=0):
        faults.append(Fault("at", "This time has passed.", "a time from now on"))
    return due_at


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text) if len(text) == len("2026-11-25") else None
    except ValueError:
        return None


def _time(text: str) -> time | None:
    try:
        return time.fromisoformat(text) if len(text) == len("16:30") and ":" in text else None
    except ValueError:
        return None
