"""A till's lines: when they were sold, under which key they are booked once, what they cost then, and what they do to the shelf."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from types import MappingProxyType
from typing import Any

import pytest

from server.domain.catalogue import Catalogue, Gear, Part
from server.domain.counter import Stand
from server.domain.errors import Fault
from server.domain.prices import PricePoint
from server.domain.till import TillLine, changes_of, form_of, moment_of, price_then

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
DAY = date(2026, 11, 24)
PUMP = Part("PUMP", "Pump", "M", "1", 59_00, 20_00, Gear("pump", MappingProxyType({})))
MOMENTS = [
    ({"time": datetime.fromisoformat("2026-07-01T00:30")}, "31 days"),
    ({"time": datetime.fromisoformat("2026-11-24T15:30")}, datetime(2026, 11, 24, 15, 30, tzinfo=UTC)),
    ({"day": DAY, "time": time(15, 30)}, datetime(2026, 11, 24, 15, 30, tzinfo=UTC)),
    ({"day": DAY}, datetime(2026, 11, 24, 12, 0, tzinfo=UTC)),
    ({"day": date(2026, 10, 25)}, datetime(2026, 10, 25, 12, 0, tzinfo=UTC)),  # Irish time is UTC again from that day.
    ({"day": date(2026, 10, 24)}, "31 days"),
    ({"day": date(2026, 11, 25)}, NOW),
    ({"day": date(2026, 11, 26)}, "still to come"),
    ({"time": datetime.fromisoformat("2026-11-25T09:01")}, "still to come"),
    ({"time": time(9, 0)}, "without its day"),
    ({}, "When was it sold"),
]


@pytest.mark.parametrize(("values", "wanted"), MOMENTS)
def test_a_line_has_a_moment_that_has_passed_and_not_long_ago(values: dict[str, Any], wanted: datetime | str) -> None:
    found = moment_of(values, "Europe/Dublin", NOW)
    if isinstance(found, Fault):
        assert isinstance(wanted, str)
        assert wanted in found.message
    else:
        assert found == wanted


def test_a_key_tells_day_receipt_and_line_apart() -> None:
    keys = {form_of(day, receipt, line) for day in (DAY, NOW.date()) for receipt in ("1", "11") for line in ("1", "2")}
    assert len(keys) == 8
    assert form_of(DAY, "1", "1") == form_of(DAY, "1", "1")
    assert all(key.startswith("till-") and "/" not in key for key in keys)


def test_a_line_without_a_price_costs_what_the_part_cost_that_day() -> None:
    points = (PricePoint("PUMP", date(2026, 11, 1), 49_00), PricePoint("PUMP", date(2026, 11, 24), 55_00))
    catalogue = Catalogue({"PUMP": PUMP}, history={"PUMP": points})
    days = {date(2026, 11, 23): 49_00, DAY: 55_00, NOW.date(): 59_00, date(2026, 10, 30): 59_00}
    assert {day: price_then(PUMP, catalogue, day, NOW.date()) for day in days} == days


@pytest.mark.parametrize(
    ("pieces", "stand", "missing", "left", "promised"),
    [
        ((2,), Stand(5, 0, ()), 0, 3, 0),
        ((2, -1), Stand(2, 0, ()), 0, 1, 0),
        ((2, -1), Stand(1, 0, ()), 1, 1, 0),
        ((1, -1), Stand(0, 0, ()), 1, 1, 0),
        ((-1, 1), Stand(0, 0, ()), 0, 0, 0),
        ((3,), Stand(1, 0, ()), 2, 0, 0),
        ((1,), Stand(2, 2, ("HKBN04QA",)), 0, 1, 1),
        ((-1,), Stand(0, 0, ()), 0, 1, 0),
    ],
)
def test_the_shelf_never_holds_fewer_than_none_and_says_what_was_missing(
    pieces: tuple[int, ...], stand: Stand, missing: int, left: int, promised: int
) -> None:
    lines = [TillLine(2, "1", str(one), PUMP, one, 59_00, NOW, has_own_price=True) for one in pieces]
    [change] = changes_of(lines, {"PUMP": PUMP}, {"PUMP": stand}, {})
    assert (change.missing, change.left, change.promised) == (missing, left, promised)
    assert change.amount == sum(pieces) * 59_00
    assert stand.on_hand + missing - change.sold + change.back == left
