"""A customer looks at lessons, books a place, moves it, calls it off, and takes it into a calendar; without script."""

from __future__ import annotations

from fastapi import FastAPI
from icalendar import Calendar

from tests.builders_http import Client
from tests.builders_lessons import booked, lesson, typed_learner
from tests.builders_shop import Clock
from tests.pages.reader import FORM, Reader, encoded


def test_a_place_is_found_booked_moved_and_called_off(app: FastAPI, client: Client) -> None:
    shop = app.state.shop
    number, other = lesson(shop), lesson(shop, day="2026-12-05")
    page = Reader(client).open("/lessons")
    for words in (
        "€115.00",
        "Saturday 28 November",
        "10:30 to 12:00",
        "1 place left",
        "It needs wind.",
        "Before you go out",
    ):
        assert words in page.text
    assert f"/lessons/{number}" in [link.get("href") for link in page.page.iter("a")]
    page.open(f"/lessons/{number}")
    assert "free until Friday 27 November, 10:30" in page.text
    typed = typed_learner()
    page.press("Book the place", **(typed | {"swims_100m": "", "email": "nowhere"}))
    assert page.status == 422
    assert page.by_id("name").get("value") == "Some One"
    assert page.by_id("email").get("aria-invalid") == "true"
    page.press("Book the place", **typed)
    assert (page.status, page.address.startswith("/bookings/")) == (200, True)
    assert page.row("To pay at the shop") == "€115.00"
    assert page.headers["x-robots-tag"] == "noindex, nofollow"
    for words in ("You have a place.", "nothing was paid, and nothing is owed"):
        assert words in page.text
    assert str(number) not in [
        link.get("href", "").rpartition("/")[2] for link in Reader(client).open("/lessons").page.iter("a")
    ]
    page.press("Move there", to=str(other))
    assert "Saturday 5 December" in page.text
    page.press("Call it off")
    assert "You have called this lesson off." in page.text
    assert "Call it off" not in [button.text for button in page.page.iter("button")]


def test_the_calendar_file_follows_the_booking(app: FastAPI, client: Client) -> None:
    booking = booked(app.state.shop, lesson(app.state.shop))
    address = f"/bookings/{booking.token}/lesson.ics"
    answer = client.get(address)
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    first = Calendar.from_ical(answer.text)
    Reader(client).open(f"/bookings/{booking.token}").press("Call it off")
    last = Calendar.from_ical(client.get(address).text)
    assert (str(first["METHOD"]), str(last["METHOD"])) == ("REQUEST", "CANCEL")
    [before], [after] = first.walk("VEVENT"), last.walk("VEVENT")
    assert str(before["UID"]) == str(after["UID"])
    assert (before["SEQUENCE"], after["SEQUENCE"]) == (0, 1)
    assert str(before["LOCATION"]) == "Tullaveen Strand"


def test_late_it_says_what_it_costs_and_an_old_page_does_not_call_off(
    app: FastAPI, client: Client, clock: Clock
) -> None:
    booking = booked(app.state.shop, lesson(app.state.shop))
    page = Reader(client).open(f"/bookings/{booking.token}")
    clock.set("2026-11-28T08:00+00:00")
    page.press("Call it off")
    assert page.status == 409
    assert "It has become late meanwhile" in page.text
    assert "That is €115.00, still to pay." in page.text
    assert not [form for form in page.page.iter("form") if form.get("action", "").endswith("/move")]
    page.press("Call it off late")
    assert (page.status, page.row("To pay at the shop")) == (200, "€115.00")


def test_a_full_lesson_and_a_third_booking_are_refused_on_the_same_page(app: FastAPI, client: Client) -> None:
    shop = app.state.shop
    numbers = [lesson(shop, day=f"2026-12-0{day}") for day in (1, 2, 3)]
    typed = typed_learner()
    page = Reader(client)
    for number in numbers[:2]:
        assert page.open(f"/lessons/{number}").press("Book the place", **typed).status == 200
    page.open(f"/lessons/{numbers[2]}").press("Book the place", **typed)
    assert (page.status, "2 lessons are booked under this address" in page.text) == (429, True)
    body = encoded(list(typed_learner().items()))
    full = client.post(f"/lessons/{numbers[0]}/book", content=body, headers=FORM)
    assert (full.status_code, "Every place in this lesson is taken." in full.text) == (409, True)
    assert client.get("/lessons/999").status_code == 404
    assert client.get("/bookings/abcdefghijklmnopqrstuv").status_code == 404
