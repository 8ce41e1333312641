"""A booking as a calendar file (RFC 5545) that calendars take as an invitation, its updates and its cancellation (RFC 5546).

The package is imported by the first file: it takes 50 ms, and no page that is asked first wants one.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from icalendar import vCalAddress

PRODUCT = "-//Slackwater//Lessons//EN"
CALENDAR_TYPE = "text/calendar; charset=utf-8"
Asks = Literal["REQUEST", "CANCEL"]


@dataclass(frozen=True, slots=True)
class Appointment:
    """What stands in a calendar: moments with their zone; `sequence` rises with every change, `uid` never changes."""

    uid: str
    sequence: int
    made_at: datetime
    starts_at: datetime
    ends_at: datetime
    summary: str
    place: str
    words: str = ""
    shop_name: str = ""
    shop_email: str = ""
    learner_name: str = ""
    learner_email: str = ""
    is_called_off: bool = False


def uid_of(token: str) -> str:
    """The name of a booking in every calendar: always the same one, and it does not give the booking's address away."""
    return sha256(f"slackwater:booking:{token}".encode()).hexdigest()[:32]


def calendar_file(appointment: Appointment) -> str:
    """The file's text, in UTC, with CRLF and lines of at most 75 octets; a cancellation where it was called off."""
    from icalendar import Calendar, Event

    calendar = Calendar()
    calendar.add("PRODID", PRODUCT)
    calendar.add("VERSION", "2.0")
    asks: Asks = "CANCEL" if appointment.is_called_off else "REQUEST"
    calendar.add("METHOD", asks)
    event = Event()
    event.add("UID", appointment.uid)
    event.add("SEQUENCE", appointment.sequence)
    event.add("DTSTAMP", appointment.made_at.astimezone(UTC))
    event.add("DTSTART", appointment.starts_at.astimezone(UTC))
    event.add("DTEND", appointment.ends_at.astimezone(UTC))
    event.add("SUMMARY", appointment.summary)
    event.add("LOCATION", appointment.place)
    event.add("STATUS", "CANCELLED" if appointment.is_called_off else "CONFIRMED")
    if appointment.words:
        event.add("DESCRIPTION", appointment.words)
    if appointment.shop_email:
        event["ORGANIZER"] = _address(appointment.shop_email, appointment.shop_name)
    if appointment.learner_email:
        event["ATTENDEE"] = _address(appointment.learner_email, appointment.learner_name)
    calendar.add_component(event)
    written: bytes = calendar.to_ical()
    return written.decode("utf-8")


def _address(email: str, name: str) -> vCalAddress:
    from icalendar import vCalAddress, vText

    address = vCalAddress(f"mailto:{email}")
    if name:
        # A quotation mark cannot stand in a parameter at all (RFC 5545, 3.2).
        address.params["CN"] = vText(name.replace('"', "'"))
    return address
