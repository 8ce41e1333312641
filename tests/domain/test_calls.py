"""When a promised call is due, by the shop's clock."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from server.domain.calls import Promise, read_promise
from server.domain.errors import InvalidInput

DUBLIN = ZoneInfo("Europe/Dublin")
SUMMER = datetime(2026, 7, 1, 11, 30, 20, tzinfo=UTC)


def promise(now: datetime = SUMMER, day: str = "2026-07-01", at: str = "16:30", **said: str) -> Promise:
    said = {"name": "Some One", "phone": "020 910 0177", "about": "", **said}
    return read_promise(**said, day=day, at=at, now=now, zone=DUBLIN)


def test_a_time_is_the_shops_own() -> None:
    assert promise().due_at == datetime(2026, 7, 1, 15, 30, tzinfo=UTC)
    assert promise(day="2026-12-01").due_at == datetime(2026, 12, 1, 16, 30, tzinfo=UTC)
    assert promise(at="12:30").due_at == datetime(2026, 7, 1, 11, 30, tzinfo=UTC)  # This very minute.


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("name", {"name": ""}),
        ("name", {"name": "x" * 81}),
        ("phone", {"phone": ""}),
        ("phone", {"phone": "call me"}),
        ("about", {"about": "x" * 301}),
        ("about", {"about": "\0"}),
        ("day", {"day": "tomorrow"}),
        ("day", {"day": "20260701"}),
        ("day", {"day": "2026-06-30"}),
        ("day", {"day": "2028-01-01"}),
        ("day", {"day": "9999-12-31"}),
        ("at", {"at": "25:00"}),
        ("at", {"at": ""}),
        ("at", {"at": "11:59"}),
    ],
)
def test_what_cannot_be_promised_is_said_at_its_field(field: str, typed: dict[str, str]) -> None:
    with pytest.raises(InvalidInput) as wrong:
        promise(SUMMER, **typed)
    assert [fault.field for fault in wrong.value.faults] == [field]


def test_every_fault_is_said_at_once() -> None:
    with pytest.raises(InvalidInput) as wrong:
        promise(name="", phone="", day="", at="")
    assert {fault.field for fault in wrong.value.faults} == {"name", "phone", "day", "at"}


def test_an_hour_over_which_clocks_are_put_forward_does_not_exist() -> None:
    """Directive 2000/84/EC, Article 2: summer time begins at 01:00 UTC on the last Sunday of March."""
    with pytest.raises(InvalidInput, match="put forward"):
        promise(now=datetime(2026, 3, 1, tzinfo=UTC), day="2026-03-29", at="01:30")
