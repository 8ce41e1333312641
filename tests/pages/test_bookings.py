"""A customer looks at lessons, books a place, moves it, calls it off, and takes it into a calendar; without script."""

from __future__ import annotations

from fastapi import FastAPI
from icalendar import Calendar

from server.usecases.lessons import change_time, hand_back, mark_booking, read_booking, repeat_booking, take_fee
from server.usecases.privacy import sweep
from tests.builders_accounts import signed_in_as
from tests.builders_http import Client
from tests.builders_lessons import booked, lesson, typed_learner, typed_time
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
    page.press("Book the place", **(typed | {"name": "Win at WWW.there.example"}))
    assert (page.status, "A name holds no address and no link." in page.text) == (422, True)
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
    twice = encoded([("to", str(other))])
    assert client.post(f"{page.address}/move", content=twice, headers=FORM).status_code == 303
    assert client.post(f"{page.address}/move", content=twice, headers=FORM).status_code == 303
    page.open(page.address)
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
    assert (page.status, "We could not take this booking here: call us." in page.text) == (429, True)
    body = encoded(list(typed_learner().items()))
    full = client.post(f"/lessons/{numbers[0]}/book", content=body, headers=FORM)
    assert (full.status_code, "Every place in this lesson is taken." in full.text) == (409, True)
    assert client.get("/lessons/999").status_code == 404
    assert client.get("/bookings/abcdefghijklmnopqrstuv").status_code == 404


def test_the_page_says_what_is_so_of_the_money_and_of_who_moved_it(app: FastAPI, client: Client, clock: Clock) -> None:
    shop = app.state.shop
    number, key = lesson(shop), ("key", "one-form-sent-twice")
    body = encoded([*typed_learner().items(), key])
    answers = [client.post(f"/lessons/{number}/book", content=body, headers=FORM) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [303, 303]
    address = answers[0].headers["location"]
    assert address == answers[1].headers["location"]
    with shop.writing("Maeve") as work:
        take_fee(work, read_booking(work, address.rpartition("/")[2]), 115_00, "cash")
    with shop.writing("Maeve") as work:
        change_time(work, number, typed_time(day="2026-11-26", at="10:00"))
    page = Reader(client).open(address)
    assert "We moved this lesson. Free until it begins: you get €115.00 back" in page.text
    page.press("Call it off")
    assert "It was in time. Move to another time below, or get €115.00 back at the shop." in page.text
    with shop.writing("Maeve") as work:
        hand_back(work, read_booking(work, address.rpartition("/")[2]), "cash")
    assert "nothing of its fee is with us, and nothing is owed." in page.open(address).text
    clock.set("2027-03-08T10:30+00:00")
    with shop.writing() as work:
        sweep(work)
    assert ("This booking is past." in page.open(address).text, "Move there" in page.text) == (True, False)


def test_late_a_part_payment_is_counted_towards_what_stays(app: FastAPI, client: Client, clock: Clock) -> None:
    shop = app.state.shop
    booking = booked(shop, lesson(shop))
    with shop.writing("Maeve") as work:
        take_fee(work, booking, 20_00, "cash")
    clock.set("2026-11-28T06:00+00:00")
    page = Reader(client).open(f"/bookings/{booking.token}")
    assert "That is €115.00, of which €95.00 is still to pay." in page.text
    page.press("Call it off late")
    assert page.row("To pay at the shop") == "€95.00"


def test_the_page_of_a_repeat_shows_the_code_of_the_fee(
    app: FastAPI, client: Client, staff: Client, clock: Clock
) -> None:
    shop = app.state.shop
    booking, other = booked(shop, lesson(shop)), lesson(shop, day="2026-12-05")
    clock.set("2026-11-28T11:00+00:00")
    with shop.writing("Maeve") as work:
        mark_booking(work, booking, "cut_short", 0.3)
    with shop.writing("Maeve") as work:
        repeat = repeat_booking(work, booking, other)
    said, own = (f"{code[:4]} {code[4:]}" for code in (booking.code, repeat.code))
    for reader in (
        Reader(client).open(f"/bookings/{repeat.token}"),
        Reader(signed_in_as(staff, app, "Maeve", "staff")).open(f"/desk/lessons/{other}"),
    ):
        assert said in reader.text
        assert own not in reader.text
