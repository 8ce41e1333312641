"""Lessons at the desk over the front door: the calendar, a lesson's learners, their fees and the call on its weather."""

from __future__ import annotations

from fastapi import FastAPI

from server.usecases.lessons import list_bookings
from tests.builders_accounts import signed_in_as
from tests.builders_http import Client
from tests.builders_lessons import booked, lesson, typed_learner, typed_time
from tests.builders_shop import Clock
from tests.pages.reader import FORM, Reader, encoded, text_of


def rows(reader: Reader) -> list[str]:
    return [text_of(row) for row in reader.page.iter("tr")]


def test_times_are_put_on_the_calendar_week_by_week(staff: Client) -> None:
    desk = Reader(staff).open("/desk/lessons").press("Put on the calendar", **typed_time(weeks="2", instructor="Bo"))
    assert (desk.status, desk.address) == (200, "/desk/lessons?from=2026-11-28")
    [row] = [row for row in rows(desk) if "Bo" in row]
    for words in ("10:30 to 12:00", "Private lesson", "Tullaveen Strand", "0 of 1", "1 left"):
        assert words in row
    later = next(link.get("href", "") for link in desk.page.iter("a") if link.get("rel") == "next")
    assert [row for row in rows(desk.open(later)) if "Bo" in row]
    assert not [row for row in rows(desk.open("/desk/lessons?from=2026-12-12")) if "Bo" in row]
    for odd in ("never", "0001-01-01", "9999-12-31"):
        assert desk.open(f"/desk/lessons?from={odd}").status == 200


def test_what_is_wrong_with_a_time_is_said_at_its_field_and_kept(staff: Client) -> None:
    desk = Reader(staff).open("/desk/lessons")
    desk.press("Put on the calendar", **typed_time(day="2026-11-24", minutes="5", instructor="Bo"))
    assert desk.status == 422
    assert desk.by_id("minutes").get("aria-invalid") == desk.by_id("day").get("aria-invalid") == "true"
    assert desk.by_id("instructor").get("value") == "Bo"
    assert desk.by_id("new-time").get("open") is not None


def test_somebody_is_booked_pays_and_takes_the_lesson(app: FastAPI, staff: Client, clock: Clock) -> None:
    number = lesson(app.state.shop)
    desk = Reader(staff).open(f"/desk/lessons/{number}")
    typed = typed_learner(name="Una Vale", under_18="yes", mass_kg="900")
    desk.press("Book the place", **typed)
    assert (desk.status, desk.by_id("mass_kg").get("value")) == (422, "900")
    desk.press("Book the place", **{**typed, "mass_kg": "61"})
    assert desk.status == 200
    for words in ("Una Vale", "Under 18.", "61 kg", "to pay €115.00", typed["phone"]):
        assert words in desk.text
    assert desk.by_id("amount").get("value") == "115.00"
    desk.press("Record the fee", amount="115", method="")
    assert (desk.status, desk.by_id("method").get("aria-invalid")) == (422, "true")
    desk.press("Record the fee", amount="115", method="terminal")
    assert "paid €115.00" in desk.text
    clock.set("2026-11-28T10:30+00:00")
    signed_in_as(staff, app, "Maeve", "staff")
    desk.open(desk.address).press("Write it down", went="cut_short", share="60", went_back="cash")
    assert "cut short, 60 % taught" in desk.text
    assert desk.row("Paid") == "€57.50 of €115.00"
    assert not [form for form in desk.page.iter("form") if form.get("action", "").endswith("/back")]


def test_the_wind_is_asked_and_one_button_calls_it_off_for_all(app: FastAPI, staff: Client, clock: Clock) -> None:
    shop = app.state.shop
    number = lesson(shop, kind="group")
    learners = [booked(shop, number, name=f"Learner {place}") for place in range(2)]
    clock.set("2026-11-28T08:30+00:00")
    signed_in_as(staff, app, "Maeve", "staff")
    assert f"weather-{number}" in Reader(staff).open("/desk").html
    desk = Reader(staff).open(f"/desk/lessons/{number}")
    buttons = {button.get("value") for button in desk.page.iter("button")}
    assert "final-on" not in buttons, "a lesson is called on only on a wind that was typed"
    wind = f"/desk/lessons/{number}?mean_kn=16&gust_kn=20&from_deg=250"
    fragment = staff.get(wind, headers={"HX-Request": "true"}).text
    assert "Nothing in this wind speaks against this lesson." in fragment
    assert "final-on" in fragment
    assert "<h1" not in fragment
    desk.open(f"/desk/lessons/{number}?mean_kn=9&gust_kn=30&from_deg=90")
    for words in ("Gusts of 30 kn are over 25 kn.", "A mean wind of 9 kn is under 12 kn.", "blows off the land"):
        assert words in desk.text
    desk.press("Call it off for all 2 learners")
    assert (desk.status, "called off by the shop" in desk.text) == (200, True)
    with shop.reading() as work:
        assert {one.state for one in list_bookings(work, number)} == {"called_off_by_shop"}
    assert "We have called this lesson off. Gusts of 30 kn" in Reader(staff).open(f"/bookings/{learners[0].token}").text


def test_a_learner_is_moved_and_what_bars_it_is_said(app: FastAPI, staff: Client, clock: Clock) -> None:
    shop = app.state.shop
    number, other = lesson(shop), lesson(shop, day="2026-12-05")
    booked(shop, number)
    desk = Reader(staff).open(f"/desk/lessons/{number}").press("Move", to="")
    assert (desk.status, desk.by_id("to").get("aria-invalid")) == (422, "true")
    desk.press("Move", to=str(other))
    assert (desk.status, desk.address.split("?")[0]) == (200, f"/desk/lessons/{other}")
    assert "They decline" not in desk.text, "that is said near the lesson"
    clock.set("2026-12-05T09:00+00:00")
    signed_in_as(staff, app, "Maeve", "staff")
    desk.open(desk.address).press("They decline: wind over their own window")
    assert (desk.status, desk.by_id("declined_because").get("aria-invalid")) == (422, "true")
    desk.press("They decline: wind over their own window", declined_because="Gusts on the beach")
    assert "declined: wind over their own window" in desk.text


def test_a_lesson_is_changed_and_odd_forms_do_nothing(app: FastAPI, staff: Client) -> None:
    number = lesson(app.state.shop)
    booking = booked(app.state.shop, number)
    desk = Reader(staff).open(f"/desk/lessons/{number}")
    desk.press("Change, and tell its learners", day="2026-11-29", spot="Portnafinn Bay")
    assert "Sunday 29 November, 10:30 to 12:00" in desk.text
    again = [(name, desk.by_id(name).get("value", "")) for name in ("day", "at", "minutes", "places", "instructor")]
    for address, fields, status in (
        (f"/desk/lessons/{number}/change", [*again, ("spot", "Portnafinn Bay"), ("weeks", "2")], 303),
        (f"/desk/bookings/{booking.id}/quote", [], 409),
        (f"/desk/lessons/{number}/call", [("call", "maybe-on")], 422),
        (f"/desk/lessons/{number}/call", [("call", "final-on"), ("mean_kn", "x")], 422),
        (f"/desk/lessons/{number}/call", [("call", "final-off")], 422),
        (f"/desk/bookings/{booking.id}/went", [("went", "booked")], 422),
        (f"/desk/bookings/{booking.id}/went", [("went", "taken")], 409),
        (f"/desk/bookings/{booking.id}/went", [("went", "cut_short"), ("share", "100")], 422),
        (f"/desk/bookings/{booking.id}/back", [("back", "cash")], 409),
        (f"/desk/bookings/{booking.id}/fee", [("amount", "1e3"), ("method", "cash")], 422),
        (f"/desk/bookings/{booking.id}/fee", [("amount", "115"), ("method", "4111111111111111")], 422),
        (f"/desk/bookings/{booking.id}/move", [("to", "²")], 422),
        ("/desk/bookings/999/fee", [], 404),
        ("/desk/lessons/999/call", [("call", "final-off"), ("because", "x")], 404),
    ):
        assert staff.post(address, content=encoded(fields), headers=FORM).status_code == status, (address, fields)
    assert staff.get(f"/desk/lessons/{number}?learner=²&mean_kn=x").status_code == 422
    assert "to pay €115.00" in desk.open(f"/desk/lessons/{number}").text


def test_a_form_about_money_that_is_sent_twice_counts_once(app: FastAPI, staff: Client) -> None:
    shop = app.state.shop
    booking = booked(shop, lesson(shop))
    desk = Reader(staff).open(f"/desk/lessons/{booking.time.id}")
    address, body = desk.sending("Record the fee", amount="20", method="cash")
    assert [staff.post(address, content=body, headers=FORM).status_code for _ in range(2)] == [303, 409]
    desk.open(desk.address)
    assert desk.row("Paid") == "€20.00 of €115.00"
    desk.press("They call it off")
    address, body = desk.sending("Record as given back", back="cash")
    first, second = (staff.post(address, content=body, headers=FORM) for _ in range(2))
    assert (first.status_code, second.status_code) == (303, 409)
    assert "An entry was made meanwhile" in second.text
    assert desk.open(desk.address).row("Paid") == "€0.00 of €115.00"


def test_a_voucher_is_taken_with_what_was_paid_for_it(app: FastAPI, staff: Client) -> None:
    shop = app.state.shop
    booking = booked(shop, lesson(shop))
    desk = Reader(staff).open(f"/desk/lessons/{booking.time.id}")
    desk.press("Record the fee", amount="115", method="cash", paid_for_voucher="80")
    assert (desk.status, desk.by_id("paid_for_voucher").get("aria-invalid")) == (422, "true")
    desk.press("Record the fee", amount="115", method="voucher", paid_for_voucher="80")
    assert desk.row("Paid") == "€80.00 of €115.00, and €35.00 more that a voucher is worth"
    assert not [form for form in desk.page.iter("form") if form.get("action", "").endswith("/fee")]
