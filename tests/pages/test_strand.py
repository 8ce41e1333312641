"""Today at the strand over the front door: typed once, a verdict on each learner, one confirmed step, and who was told."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi import FastAPI

from server.domain.errors import Conflict, Fault
from server.domain.lessons import LessonTime
from server.usecases.lessons import call_weather
from server.usecases.work import Work
from tests.builders_accounts import signed_in_as
from tests.builders_http import Client
from tests.builders_shop import Clock
from tests.builders_strand import lesson_today, read_at_strand, typed_reading
from tests.pages.reader import FORM, Reader, encoded, text_of


def row(reader: Reader, name: str) -> str:
    return next(text_of(one) for one in reader.page.iter("tr") if name in text_of(one))


def test_wind_and_tide_are_typed_once_and_say_of_each_learner_who_goes(
    app: FastAPI, staff: Client, clock: Clock
) -> None:
    there = (
        {"name": "Una Vale", "mass_kg": "85"},
        {"name": "Bo Reed", "mass_kg": "38"},
        {"name": "Ina Holt", "mass_kg": ""},
    )
    lesson_today(app.state.shop, *there, kind="group", ago=-60)
    desk = Reader(staff).open("/desk/strand")
    assert "No wind typed today." in desk.text
    desk.press("Who goes?", **typed_reading(mean_kn="9", gust_kn="8"))
    assert (desk.status, desk.by_id("gust_kn").get("aria-invalid"), desk.by_id("mean_kn").get("value")) == (
        422,
        "true",
        "9",
    )
    desk.press("Who goes?", **typed_reading(mean_kn="22", gust_kn="24", from_deg="WSW"))
    assert (desk.status, desk.address) == (200, "/desk/strand?spot=Tullaveen+Strand")
    for words in (
        "22 kn, gusts 24 kn, from 248° (WSW)",
        "tide 1.5 m above low water",
        "just now, by Maeve",
        "62 % of its wind",
    ):
        assert words in desk.text
    assert "85 kgGo3 m², their window 19 to 22 knots" in row(desk, "Una Vale")
    assert "NoOver their window" in row(desk, "Bo Reed")
    assert "You may decline: this is over your own window" in row(desk, "Bo Reed")
    assert "AskAsk their weight" in row(desk, "Ina Holt")
    assert "to be called off" not in desk.text
    clock.forward(minutes=59)
    signed_in_as(staff, app, "Maeve", "staff")
    assert "59 min ago" in desk.open("/desk/strand").text
    clock.forward(minutes=70)
    signed_in_as(staff, app, "Maeve", "staff")
    assert "2 h ago, by Maeve: look again" in desk.open("/desk/strand").text


def test_call_offs_are_looked_at_confirmed_once_and_told(app: FastAPI, staff: Client) -> None:
    lesson_today(app.state.shop, {"name": "Una Vale", "email": "una@example.org", "phone": ""}, ago=-60)
    lesson_today(app.state.shop, {"name": "Bo Reed", "email": "", "phone": "+353 20 910 0002"}, ago=-90)
    read_at_strand(app.state.shop, from_deg="90")
    desk = Reader(staff).open("/desk/strand")
    assert "2 lessons are to be called off" in desk.text
    desk.open("/desk/strand/call-offs")
    assert desk.text.count("blows off the land at Tullaveen Strand. 62 %") == 2
    assert "Una Vale: told at once by e-mail." in desk.text
    assert "To be called: Bo Reed." in desk.text
    read_at_strand(app.state.shop, from_deg="80")
    desk.press("Call off what is ticked, and tell them")
    assert (desk.status, "Nothing was called off" in desk.text) == (409, True)
    desk.press("Call off what is ticked, and tell them")
    assert desk.status == 200
    assert "Una Vale, 13:00 to 14:30: told by e-mail at una@example.org" in desk.text
    assert "Bo Reed, 13:30 to 15:00: call them, +353 20 910 0002" in desk.text
    assert "Nothing is to be called off" in desk.open("/desk/strand/call-offs").text


def test_where_one_could_not_be_called_off_both_are_named(
    app: FastAPI, staff: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    lesson_today(app.state.shop, {"name": "Una Vale", "email": "una@example.org"}, ago=-60)
    [other] = lesson_today(app.state.shop, {"name": "Bo Reed"}, ago=-90)
    read_at_strand(app.state.shop, from_deg="90")
    desk = Reader(staff).open("/desk/strand/call-offs")

    def call(work: Work, number: int, *given: Any) -> LessonTime:
        """As where somebody else is quicker with one of the two."""
        if number == other.time.id:
            raise Conflict([Fault("number", "This lesson was called off already.")])
        return call_weather(work, number, *given)

    monkeypatch.setattr("server.usecases.strand.call_weather", call)
    desk.press("Call off what is ticked, and tell them")
    assert desk.status == 409
    assert "Called off: Private lesson, 13:00 to 14:30." in desk.text
    assert "Una Vale, 13:00 to 14:30: told by e-mail" in desk.text
    assert "Not called off: Private lesson, 13:30 to 15:00. This lesson was called off already." in desk.text


@pytest.mark.parametrize(
    "fields", [[], [("lesson", "²")], [("lesson", "9" * 30)], [("lesson", "1"), ("reading", "x Tullaveen Strand")]]
)
def test_odd_forms_call_nothing_off(staff: Client, fields: list[tuple[str, str]]) -> None:
    answer = staff.post("/desk/strand/call-offs", content=encoded(fields), headers=FORM)
    assert answer.status_code in (409, 422)
    assert staff.get("/desk/strand?called=²&called=7&spot=x").status_code == 404
