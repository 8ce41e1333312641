"""What becomes of a fee in every case, when the weather calls a lesson off, and what is typed for times and places."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.catalogue import LessonKind, Spot
from server.domain.errors import InvalidInput
from server.domain.lessons import (
    BOOKING_STATES,
    Booking,
    BookingState,
    Conditions,
    LessonTime,
    call_due,
    call_to_make,
    is_offshore,
    ledger_state,
    moment_at,
    places_left,
    read_asked,
    read_conditions,
    read_plan,
    settle,
    stand_of_fee,
    state_on_call_off,
    why_not_booked,
    why_not_teach,
)
from server.domain.policy import LessonTerms, Policy
from tests.builders_lessons import typed_learner, typed_time

DUBLIN = ZoneInfo("Europe/Dublin")
STRAND = Spot("Tullaveen Strand", "sea", 1.6, 1.25, 0.62, 200, 320, (12.0,) * 12)
NORTH = replace(STRAND, name="Portnafinn Bay", safe_from_deg=290, safe_to_deg=40)
LAKE = replace(STRAND, name="Small lake", safe_from_deg=None, safe_to_deg=None)
WING = LessonKind("private", "Private lesson", 115_00, 46_00, 90, 1)
TOW = LessonKind("tow", "First flights behind the boat", 95_00, 52_00, 60, 1)
KINDS = {"private": WING, "tow": TOW}
START = datetime(2026, 11, 28, 10, 30, tzinfo=UTC)
TIME = LessonTime(1, "private", START, 90, 2, "Maeve", "Tullaveen Strand")
NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
TERMS = LessonTerms()


def booking(state: BookingState = "booked", share: float | None = None) -> Booking:
    return Booking(1, "token", "code", TIME, "Some One", "", "", None, state, NOW, taught_share=share, fee=115_00)


# The limits of wind are common practice of the trade, without a published source.
@pytest.mark.parametrize(
    ("kind", "spot", "seen", "reasons"),
    [
        (WING, STRAND, Conditions(12, 25, 260), []),
        (WING, STRAND, Conditions(11.9, 15, 260), ["under 12 kn"]),
        (WING, STRAND, Conditions(18, 25.1, 260), ["over 25 kn"]),
        (WING, STRAND, Conditions(16, 20, 90), ["blows off the land"]),
        (WING, STRAND, Conditions(16, 20, 260, True), ["lightning"]),
        (WING, STRAND, Conditions(5, 30, 90, True), ["lightning", "over 25 kn", "under 12 kn", "off the land"]),
        (TOW, STRAND, Conditions(0, 2, 90), []),
        (TOW, STRAND, Conditions(0, 2, 90, True), ["lightning"]),
        (TOW, STRAND, Conditions(10, 26, 260), ["over 25 kn"]),
        (WING, NORTH, Conditions(16, 20, 10), []),
        (WING, NORTH, Conditions(16, 20, 180), ["off the land"]),
        (WING, LAKE, Conditions(16, 20, 90), []),
    ],
)
def test_weather_calls_a_lesson_off_by_its_kind(
    kind: LessonKind, spot: Spot, seen: Conditions, reasons: list[str]
) -> None:
    said = why_not_teach(kind, spot, seen, TERMS)
    assert len(said) == len(reasons)
    for words, part in zip(said, reasons, strict=True):
        assert part in words


@given(st.integers(0, 359), st.integers(0, 359), st.integers(0, 359))
def test_offshore_is_counted_on_the_compass_degree_by_degree(start: int, end: int, wind: int) -> None:
    """Walking the compass clockwise from one end of the safe sector to the other meets every safe direction."""
    safe, at = {start}, start
    while at != end:
        at = (at + 1) % 360
        safe.add(at)
    assert is_offshore(wind, replace(STRAND, safe_from_deg=start, safe_to_deg=end)) is (wind not in safe)
    assert not is_offshore(wind, replace(STRAND, safe_from_deg=0, safe_to_deg=360)), "safe from every side"


@pytest.mark.parametrize(
    ("state", "share", "terms", "back", "repeated"),
    [
        ("called_off_by_shop", None, TERMS, 115_01, False),
        ("called_off", None, TERMS, 115_01, False),
        ("declined", None, TERMS, 115_01, False),
        ("cut_short", 0.49, TERMS, 0, True),
        ("cut_short", 0.0, TERMS, 0, True),
        ("cut_short", 0.5, TERMS, 57_51, False),  # Half of 115.01 is 57.505, half up.
        ("cut_short", 0.9, TERMS, 57_51, False),
        ("called_off_late", None, TERMS, 0, False),
        ("missed", None, TERMS, 0, False),
        ("missed", None, LessonTerms(kept_if_missed=Decimal("0.5")), 57_50, False),
        ("called_off_late", None, LessonTerms(kept_if_late=Decimal("0.25")), 86_26, False),
        ("taken", None, TERMS, 0, False),
        ("booked", None, TERMS, 0, False),
    ],
)
def test_what_becomes_of_a_fee(
    state: BookingState, share: float | None, terms: LessonTerms, back: int, repeated: bool
) -> None:
    settled = settle(state, 115_01, terms, share)
    assert (settled.given_back, settled.kept, settled.is_repeated) == (back, 115_01 - back, repeated)
    assert settled.because.endswith(".")


@given(
    st.sampled_from(BOOKING_STATES),
    st.integers(0, 100_000),
    st.none() | st.floats(0, 0.99),
    st.decimals(0, 1, places=2),
)
def test_a_fee_is_split_and_nothing_lost(state: BookingState, paid: int, share: float | None, kept: Decimal) -> None:
    settled = settle(state, paid, LessonTerms(kept_if_late=kept, kept_if_missed=kept), share)
    assert settled.given_back + settled.kept == paid
    assert min(settled.given_back, settled.kept) >= 0


@pytest.mark.parametrize(
    ("state", "share", "paid", "handed_back", "due", "to_give_back"),
    [
        ("booked", None, 0, 0, 115_00, 0),
        ("booked", None, 115_00, 0, 0, 0),
        ("booked", None, 50_00, 0, 65_00, 0),
        ("booked", None, 115_00, 115_00, 115_00, 0),  # Given back, then moved: to be paid again.
        ("called_off", None, 0, 0, 0, 0),
        ("called_off", None, 115_00, 0, 0, 115_00),
        ("called_off", None, 115_00, 115_00, 0, 0),
        ("called_off", None, 230_00, 115_00, 0, 115_00),
        ("called_off_late", None, 0, 0, 115_00, 0),
        ("called_off_late", None, 115_00, 0, 0, 0),
        ("cut_short", 0.7, 115_00, 0, 0, 57_50),
        ("cut_short", 0.7, 115_00, 57_50, 0, 0),
        ("cut_short", 0.2, 115_00, 0, 0, 0),
        ("cut_short", 0.7, 230_00, 115_00, 0, 57_50),  # Handed back and paid again before: half of what is kept now.
        ("cut_short", 0.7, 20_00, 0, 37_50, 0),  # Half the fee stays; nobody who owes gets money.
        ("cut_short", 0.7, 80_00, 0, 0, 22_50),
        ("called_off_late", None, 20_00, 0, 95_00, 0),
        ("missed", None, 230_00, 115_00, 0, 0),
        ("booked", None, 120_00, 0, 0, 5_00),
        ("taken", None, 0, 0, 115_00, 0),
    ],
)
def test_how_a_fee_stands(
    state: BookingState, share: float | None, paid: int, handed_back: int, due: int, to_give_back: int
) -> None:
    stand = stand_of_fee(booking(state, share), paid, handed_back, TERMS)
    assert (stand.paid, stand.due, stand.to_give_back) == (paid - handed_back, due, to_give_back)


@pytest.mark.parametrize(
    ("state", "due", "to_give_back"),
    [("booked", 0, 0), ("taken", 0, 0), ("called_off", 0, 80_00), ("called_off_late", 0, 0)],
)
def test_a_voucher_pays_by_its_worth_and_gives_back_what_was_paid_for_it(
    state: BookingState, due: int, to_give_back: int
) -> None:
    stand = stand_of_fee(booking(state), 80_00, 0, TERMS, voucher_more=35_00)
    assert (stand.due, stand.to_give_back) == (due, to_give_back)


@given(st.sampled_from(BOOKING_STATES), st.none() | st.floats(0, 0.99), st.integers(0, 300_00), st.integers(0, 300_00))
def test_nobody_who_owes_gets_money_and_what_is_settled_is_the_fee(
    state: BookingState, share: float | None, paid: int, more: int
) -> None:
    half = Decimal("0.5")
    terms = LessonTerms(kept_if_late=half, kept_if_missed=half)
    stand = stand_of_fee(booking(state, share), paid + more, more, terms)
    assert stand.due == 0 or stand.to_give_back == 0
    assert paid + stand.due - stand.to_give_back == settle(state, 115_00, terms, share).kept


def test_a_fee_that_went_back_with_a_kit_is_settled() -> None:
    stand = stand_of_fee(booking("called_off"), 115_00, 0, TERMS, is_back_with_kit=True)
    assert (stand.due, stand.to_give_back) == (0, 0)


def test_the_ledger_knows_every_state_and_a_lesson_to_be_repeated_stays_booked() -> None:
    assert {state: ledger_state(state, 0.8) for state in BOOKING_STATES} == {
        "booked": "booked",
        "taken": "taken",
        "cut_short": "taken",
        "missed": "missed",
        "called_off": "called_off",
        "called_off_late": "called_off_late",
        "called_off_by_shop": "called_off_by_shop",
        "declined": "called_off",
    }
    assert ledger_state("cut_short", 0.49) == "booked"


def test_calling_off_is_late_from_less_than_a_day_before() -> None:
    day_before = START - timedelta(hours=24)
    assert state_on_call_off(day_before, TIME, TERMS) == "called_off"
    assert state_on_call_off(day_before + timedelta(seconds=1), TIME, TERMS) == "called_off_late"


def test_the_calls_are_due_by_the_shops_clock() -> None:
    """In July Dublin is an hour ahead of UTC: six in the evening there is 17:00 UTC."""
    early = replace(TIME, starts_at=datetime(2026, 7, 4, 23, 30, tzinfo=UTC))  # Half past midnight on the fifth.
    assert call_due(early, "provisional", Policy()) == datetime(2026, 7, 4, 17, tzinfo=UTC)
    assert call_due(early, "final", Policy()) == datetime(2026, 7, 4, 21, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("now", "made", "to_make"),
    [
        ("2026-11-26T23:59", {}, None),
        ("2026-11-27T00:00", {}, "provisional"),
        ("2026-11-28T06:29", {}, "provisional"),
        ("2026-11-27T12:00", {"provisional": "on"}, None),
        ("2026-11-28T06:30", {"provisional": "off"}, "final"),
        ("2026-11-28T10:29", {}, "final"),
        ("2026-11-28T10:30", {}, None),
        ("2026-11-28T09:00", {"final": "on"}, None),
    ],
)
def test_which_call_is_to_be_made_now(now: str, made: dict[str, Any], to_make: str | None) -> None:
    moment = datetime.fromisoformat(now).replace(tzinfo=UTC)
    assert call_to_make(replace(TIME, **made), moment, Policy()) == to_make


def test_places_are_booked_until_it_begins_or_is_called_off() -> None:
    assert (places_left(TIME, 1), places_left(TIME, 2), places_left(TIME, 3)) == (1, 0, 0)
    assert why_not_booked(TIME, 1, NOW) == ""
    assert "taken" in why_not_booked(TIME, 2, NOW)
    assert "begun" in why_not_booked(TIME, 0, START)
    assert "called off" in why_not_booked(replace(TIME, final="off"), 0, NOW)


def test_every_week_is_at_the_same_hour_by_the_shops_clock() -> None:
    """Irish clocks go back on 25 October 2026 and forward on 28 March 2027 (Directive 2000/84/EC: the last Sundays, at 01:00 UTC)."""
    plan = read_plan(
        typed_time(day="2026-10-24", weeks="3"), KINDS, ["Tullaveen Strand"], START.replace(month=10, day=1), DUBLIN
    )
    assert [f"{one.starts_at:%d %H:%M}" for one in plan] == ["24 09:30", "31 10:30", "07 10:30"]
    assert {(one.minutes, one.places) for one in plan} == {(90, 1)}
    assert moment_at(date(2027, 3, 28), time(1, 30), DUBLIN) is None
    with pytest.raises(InvalidInput, match="put forward"):
        read_plan(typed_time(day="2027-03-28", at="01:30"), KINDS, ["Tullaveen Strand"], NOW, DUBLIN)


def test_every_fault_of_a_time_is_said_at_once() -> None:
    wrong = dict.fromkeys(typed_time(), "x")
    with pytest.raises(InvalidInput) as raised:
        read_plan({**wrong, "instructor": ""}, KINDS, ["Tullaveen Strand"], NOW, DUBLIN)
    assert {fault.field for fault in raised.value.faults} == set(typed_time())
    for name, text in (
        ("weeks", "27"),
        ("places", "0"),
        ("minutes", "14"),
        ("day", "2026-11-24"),
        ("day", "2028-01-01"),
    ):
        with pytest.raises(InvalidInput) as raised:
            read_plan(typed_time(**{name: text}), KINDS, ["Tullaveen Strand"], NOW, DUBLIN)
        assert [fault.field for fault in raised.value.faults] == [name]
    with pytest.raises(InvalidInput, match="has passed"):
        read_plan(typed_time(day="2026-11-25", at="12:00"), KINDS, ["Tullaveen Strand"], NOW, DUBLIN)


def test_who_asks_for_a_place_is_read_with_every_fault() -> None:
    read = read_asked(typed_learner(mass_kg="61,5", swims_100m="no", under_18="yes", code="hkbn 04qa"))
    assert (read.mass_kg, read.note, read.code) == (61.5, "Under 18. Does not swim 100 m.", "HKBN04QA")
    with pytest.raises(InvalidInput) as raised:
        read_asked(typed_learner(name="", email="", phone="", mass_kg="900", swims_100m="", code="HKBN 04QB"))
    assert [fault.field for fault in raised.value.faults] == ["name", "email", "mass_kg", "swims_100m", "code"]


def test_the_wind_is_read_or_there_is_none() -> None:
    none = {"mean_kn": "", "gust_kn": "", "from_deg": "", "lightning": ""}
    assert read_conditions(none) is None
    typed = {"mean_kn": "14,5", "gust_kn": "19", "from_deg": "250", "lightning": "yes"}
    assert read_conditions(typed) == Conditions(14.5, 19, 250, True)
    for wrong in ({"gust_kn": "14"}, {"from_deg": "361"}, {"mean_kn": "-1"}, {"mean_kn": "nan"}):
        with pytest.raises(InvalidInput):
            read_conditions({**typed, **wrong})
    with pytest.raises(InvalidInput):
        read_conditions({**none, "lightning": "yes"})
