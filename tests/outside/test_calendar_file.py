"""Bookings as calendar files, read back by the icalendar library as any calendar would."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from icalendar import Calendar

from server.outside.calendar_file import Appointment, calendar_file, uid_of

DUBLIN = ZoneInfo("Europe/Dublin")
LESSON = Appointment(
    uid=uid_of("a-token"),
    sequence=3,
    made_at=datetime(2026, 7, 1, 9, tzinfo=UTC),
    starts_at=datetime(2026, 7, 4, 10, 30, tzinfo=DUBLIN),
    ends_at=datetime(2026, 7, 4, 12, 0, tzinfo=DUBLIN),
    summary="Private lesson; one, two, Two Herons Watersports " + "é" * 60,
    place="Tullaveen Strand",
    words="First line\nsecond line, with \\ and ;",
    shop_name='The "Two Herons": watersports',
    shop_email="shop@example.org",
    learner_name="Some One",
    learner_email="some.one@example.org",
)


def test_it_says_what_it_was_given_in_utc() -> None:
    read = Calendar.from_ical(calendar_file(LESSON))
    [event] = read.walk("VEVENT")
    assert (str(read["VERSION"]), str(read["METHOD"])) == ("2.0", "REQUEST")
    assert str(read["PRODID"])
    assert {name: str(event[name]) for name in ("UID", "SUMMARY", "LOCATION", "DESCRIPTION", "STATUS")} == {
        "UID": uid_of("a-token"),
        "SUMMARY": LESSON.summary,
        "LOCATION": "Tullaveen Strand",
        "DESCRIPTION": LESSON.words,
        "STATUS": "CONFIRMED",
    }
    assert event["SEQUENCE"] == 3
    assert event.decoded("DTSTART") == datetime(2026, 7, 4, 9, 30, tzinfo=UTC)
    assert event.decoded("DTEND") - event.decoded("DTSTART") == timedelta(minutes=90)
    assert event.decoded("DTSTAMP") == LESSON.made_at
    assert str(event["ORGANIZER"]) == "mailto:shop@example.org"
    assert str(event["ATTENDEE"]) == "mailto:some.one@example.org"


def test_lines_end_and_fold_as_the_standard_says() -> None:
    """RFC 5545, 3.1: lines are delimited by CRLF and should not be longer than 75 octets, without the line break."""
    text = calendar_file(LESSON).encode("utf-8")
    assert text.endswith(b"\r\n")
    assert b"\n" not in text.replace(b"\r\n", b"")
    assert max(len(line) for line in text.split(b"\r\n")) <= 75
    assert b"DTSTART:20260704T093000Z\r\n" in text, "UTC is written with a Z (RFC 5545, 3.3.5, form 2)"


def test_called_off_it_is_the_same_appointment_cancelled() -> None:
    """RFC 5546, 3.2.5: METHOD:CANCEL with the same UID, a SEQUENCE above the last, and STATUS:CANCELLED."""
    read = Calendar.from_ical(calendar_file(replace(LESSON, sequence=4, is_called_off=True)))
    [event] = read.walk("VEVENT")
    assert (str(read["METHOD"]), str(event["STATUS"]), event["SEQUENCE"]) == ("CANCEL", "CANCELLED", 4)
    assert str(event["UID"]) == LESSON.uid


def test_a_shop_without_an_address_organizes_nothing() -> None:
    [event] = Calendar.from_ical(calendar_file(replace(LESSON, shop_email="", learner_email=""))).walk("VEVENT")
    assert "ORGANIZER" not in event
    assert "ATTENDEE" not in event


def test_names_of_bookings_differ_and_do_not_give_the_address_away() -> None:
    assert uid_of("a-token") == uid_of("a-token") != uid_of("b-token")
    assert "a-token" not in uid_of("a-token")


STANDARDS_EVENT = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//hacksw/handcal//NONSGML v1.0//EN
BEGIN:VEVENT
UID:19970901T130000Z-123401@example.com
DTSTAMP:19970901T130000Z
DTSTART:19970903T163000Z
DTEND:19970903T190000Z
SUMMARY:Annual Employee Review
CLASS:PRIVATE
CATEGORIES:BUSINESS,HUMAN RESOURCES
END:VEVENT
END:VCALENDAR
"""
"""RFC 5545, 3.6.1: a meeting of two hours and a half, in a calendar as of section 3.4."""


def test_the_example_of_the_standard_comes_to_the_same_lines_from_our_pen() -> None:
    [event] = Calendar.from_ical(STANDARDS_EVENT.replace("\n", "\r\n")).walk("VEVENT")
    start, end = event.decoded("DTSTART"), event.decoded("DTEND")
    assert end - start == timedelta(hours=2, minutes=30)
    ours = calendar_file(
        replace(
            LESSON,
            uid=str(event["UID"]),
            made_at=event.decoded("DTSTAMP"),
            starts_at=start,
            ends_at=end,
            summary=str(event["SUMMARY"]),
        )
    ).split("\r\n")
    for line in STANDARDS_EVENT.split("\n"):
        if line.partition(":")[0] in ("UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY"):
            assert line in ours


@pytest.mark.parametrize("name", ["Ann\r\nX-EVIL:1", "a\nATTENDEE:mailto:x@example.org"])
def test_no_name_can_begin_a_line_of_its_own(name: str) -> None:
    text = calendar_file(replace(LESSON, summary=name, place=name, words=name))
    assert not [line for line in text.split("\r\n") if line.startswith(("X-EVIL", "ATTENDEE:mailto:x"))]
