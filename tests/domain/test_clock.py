"""What a clock is worth by what was written around it."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from server.domain.accounts import (
    ABSOLUTE,
    OWNER_LINK_LIFE,
    PER_ACCOUNT,
    STAFF_LINK_LIFE,
    SessionTimes,
    is_link_live,
    is_live,
    wait_left,
)
from server.domain.clock import APART, Around, ClockStands, clock_stands, is_ahead
from tests.builders_shop import NOON

NOTHING = Around(before=False, soon_after=False, after=False, long_ago=False, lately=False)
YEARS = timedelta(days=73 * 365)
STANDS: dict[str, tuple[Around, ClockStands]] = {
    "a new shop": (NOTHING, "right"),
    "a shop of every day": (replace(NOTHING, before=True, long_ago=True, lately=True), "right"),
    "a shop of a few days": (replace(NOTHING, before=True), "right"),
    "a year back in a shop of years": (Around(True, True, True, True, True), "behind"),
    "1970, before anything was written": (replace(NOTHING, after=True), "behind"),
    "a day back in a shop of a day": (replace(NOTHING, soon_after=True, after=True), "behind"),
    "entries of 2099 after the clock was put right": (Around(True, False, True, True, True), "right"),
    "2099": (replace(NOTHING, before=True, long_ago=True), "leapt"),
    "after a winter": (replace(NOTHING, before=True, long_ago=True), "leapt"),
}


@pytest.mark.parametrize("name", STANDS)
def test_a_clock_stands_as_what_was_written_around_it_says(name: str) -> None:
    written, stands = STANDS[name]
    assert clock_stands(written) == stands


def test_the_clocks_of_two_servers_may_differ_a_little() -> None:
    assert not is_ahead(NOON + APART, NOON)
    assert is_ahead(NOON + APART + timedelta(seconds=1), NOON)


@pytest.mark.parametrize("stage", ["full", "password"])
def test_a_session_begun_by_a_clock_that_was_ahead_ends_when_it_is_put_right(stage: str) -> None:
    begun = SessionTimes(stage, NOON + YEARS, NOON + YEARS)  # type: ignore[arg-type]
    assert is_live(begun, NOON + YEARS)
    assert not is_live(begun, NOON)
    assert not is_live(replace(begun, started_at=NOON - ABSOLUTE / 2), NOON), "nor one that was used then"


def test_a_link_made_by_a_clock_that_was_ahead_does_not_work_until_then() -> None:
    for life in (OWNER_LINK_LIFE, STAFF_LINK_LIFE):
        assert is_link_live(NOON + life, NOON)
        assert not is_link_live(NOON + YEARS + life, NOON)


def test_nobody_waits_for_a_failure_that_has_not_been_yet() -> None:
    failures = PER_ACCOUNT.free + 3
    assert wait_left(PER_ACCOUNT, failures, NOON, NOON) > timedelta(0)
    assert wait_left(PER_ACCOUNT, failures, NOON + YEARS, NOON) == timedelta(0)
