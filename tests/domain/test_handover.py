"""Handing over: which points are gone through, what refuses it, signatures as they are drawn, and the day a parcel is expected."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.catalogue import Gear
from server.domain.handover import (
    LONGEST_SIGNATURE,
    MOST_STROKES,
    PAD_HEIGHT,
    PAD_WIDTH,
    Check,
    Handover,
    Taken,
    expected_on,
    faults_of_handover,
    longest_cm,
    points_for,
    read_signature,
)
from server.domain.sales import Item

FOIL = Item(1, "TUR-F62", "Fuselage 62", "fuselage", 300_00, 300_00, percent=Decimal(23))
WING = Item(2, "PHL-50", "Whimbrel 5", "hand_wing", 900_00, 900_00, percent=Decimal(23))
PUMP = Item(3, "WRK-PUMP1", "Hand pump", "pump", 59_00, 0, percent=Decimal(23))
DRAWN = "40,120 80,60 120,130"


def handover(*taken: Taken, **given: object) -> Handover:
    """One with nothing wrong with it, for the fuselage and the hand wing."""
    usual = Handover(
        taken=taken or (Taken(1, "T-0099"), Taken(2, has_none=True)),
        checks={point.name: Check("done") for point in points_for(["fuselage", "hand_wing", "pump"])},
        explained_by="Maeve",
        signed_by="Some One",
        drawn=DRAWN,
    )
    return replace(usual, **given)  # type: ignore[arg-type]


def fields(one: Handover) -> list[str]:
    return [fault.field for fault in faults_of_handover(one, [FOIL, WING, PUMP])]


def test_points_follow_what_leaves() -> None:
    """Common practice of the trade, without a source: what is gone through at a handover."""
    assert [point.name for point in points_for(["pump"])] == ["care", "papers"]
    assert [point.name for point in points_for(["fuselage", "hand_wing"]) if point.is_safety] == [
        "bolts",
        "inflation",
        "leash",
        "vest",
    ]


@pytest.mark.parametrize(
    ("check", "expected"),
    [
        (Check("done"), []),
        (Check("not_done", "no key here"), ["check-bolts"]),
        (Check("not_needed"), ["note-bolts"]),
        (Check("not_needed", "glued by the maker"), []),
        (Check(), ["check-bolts"]),
        (Check("perhaps"), ["check-bolts"]),
        (Check("done", "x" * 300), ["note-bolts"]),
    ],
)
def test_a_point_that_matters_for_safety_refuses_until_it_is_done(check: Check, expected: list[str]) -> None:
    one = handover()
    assert fields(replace(one, checks={**one.checks, "bolts": check})) == expected


def test_another_point_may_be_left_undone_with_a_word_why() -> None:
    one = handover()
    assert fields(replace(one, checks={**one.checks, "papers": Check("not_done")})) == ["note-papers"]
    assert fields(replace(one, checks={**one.checks, "papers": Check("not_done", "come by post")})) == []


@pytest.mark.parametrize(
    ("taken", "expected"),
    [
        ((), ["items"]),
        ((Taken(3),), []),
        ((Taken(1),), ["serial-1"]),
        ((Taken(1, "A-1", has_none=True),), ["serial-1"]),
        ((Taken(1, "<b>"),), ["serial-1"]),
        ((Taken(9),), ["item-9"]),
    ],
)
def test_serial_numbers_are_needed_of_the_kit_and_of_nothing_else(
    taken: tuple[Taken, ...], expected: list[str]
) -> None:
    assert fields(replace(handover(), taken=taken)) == expected


def test_two_of_the_same_cannot_share_a_serial_number_however_it_is_written() -> None:
    twin = replace(FOIL, number=4)
    one = handover(Taken(1, "T-0099"), Taken(4, "t 0099"))
    assert [fault.field for fault in faults_of_handover(one, [FOIL, twin])] == ["serial-1", "serial-4"]


def test_it_is_signed_for_by_drawing_or_by_a_tick() -> None:
    assert fields(handover(drawn="")) == ["drawn"]
    assert fields(handover(drawn="", has_ticked=True)) == []
    assert fields(handover(signed_by="")) == ["signed_by"]


points = st.tuples(st.integers(0, PAD_WIDTH), st.integers(0, PAD_HEIGHT))


@given(st.lists(st.lists(points, min_size=2, max_size=12), min_size=1, max_size=8))
def test_what_was_drawn_is_read_as_it_was(strokes: list[list[tuple[int, int]]]) -> None:
    strokes[0][:2] = [(0, 0), (600, 200)]
    text = ";".join(" ".join(f"{x},{y}" for x, y in stroke) for stroke in strokes)
    read = read_signature(text)
    assert read is not None
    assert [list(stroke) for stroke in read.strokes] == strokes
    assert read.path.count("M") == len(strokes)


@pytest.mark.parametrize(
    "text",
    [
        "1,1 2,2",
        "0,0 601,0",
        "0,0 0,201",
        "0,0 300",
        "0,0 300,0;",
        "0,0 300,0 <script>",
        "0,0  300,0",
        ";".join(["0,0 300,0"] * (MOST_STROKES + 1)),
        "0,0 300,0 " * (LONGEST_SIGNATURE // 10) + "0,0",
        "٣,0 300,0",
    ],
)
def test_what_is_no_signature_is_none(text: str) -> None:
    assert read_signature(text) is None


@pytest.mark.parametrize(
    ("sent_on", "days", "expected"),
    [
        ("2026-11-27", "3", "2026-12-02"),  # A Friday: Monday, Tuesday, Wednesday.
        ("2026-11-27", "2-4", "2026-12-03"),
        ("2026-12-23", "3", "2026-12-30"),  # 24 and 29, 30: Christmas and St Stephen's Day fall between, and a weekend.
        ("2026-11-28", "1", "2026-11-30"),
        ("2026-11-28", "a while", None),
    ],
)
def test_a_parcel_is_expected_after_working_days(sent_on: str, days: str, expected: str | None) -> None:
    # 25 and 28 December 2026: Organisation of Working Time Act 1997 (Ireland), Second Schedule (the 26th is a Saturday).
    holidays = {date(2026, 12, 25), date(2026, 12, 28)}
    day = expected_on(date.fromisoformat(sent_on), days, holidays)
    assert day == (date.fromisoformat(expected) if expected else None)


def test_the_longest_part_decides_the_box_and_a_wing_is_rolled_up() -> None:
    gears = [
        Gear("board", {"length_cm": 165.0}),
        Gear("mast", {"length_cm": 76.0}),
        Gear("hand_wing", {"span_cm": 320.0}),
    ]
    assert longest_cm(gears) == 165
    assert longest_cm([]) is None
