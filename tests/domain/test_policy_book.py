"""Versions of a policy by the moment they take effect."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from server.domain.policy_book import (
    Difference,
    PolicyVersion,
    beginning_of,
    differences,
    in_force_at,
    left_behind,
    timeline_of,
)

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
DAY = timedelta(days=1)
FIRST = PolicyVersion(1, NOON, "Orla")
WAITING = PolicyVersion(2, NOON + DAY, "Orla", effective_at=NOON + 9 * DAY)
AT_ONCE = PolicyVersion(3, NOON + 2 * DAY, "Orla")
DROPPED = PolicyVersion(4, NOON + DAY, "Orla", effective_at=NOON + 5 * DAY, dropped_at=NOON + 2 * DAY)
BOOK = (FIRST, WAITING, AT_ONCE, DROPPED)


def test_the_version_that_took_effect_last_is_in_force() -> None:
    found = [in_force_at(BOOK, NOON + days * DAY) for days in (-1, 0, 1, 2, 5, 9, 99)]
    assert found == [None, FIRST, FIRST, AT_ONCE, AT_ONCE, WAITING, WAITING]


def test_one_made_at_once_takes_the_place_of_one_whose_day_has_come() -> None:
    after = PolicyVersion(5, NOON + 10 * DAY, "Orla", effective_at=WAITING.effective_at)
    assert in_force_at((*BOOK, after), NOON + 11 * DAY) == after
    assert in_force_at((*BOOK, after), NOON + 9 * DAY) == WAITING


def test_each_holds_until_the_next_and_one_dropped_never_does() -> None:
    assert [(spell.version.version, spell.since, spell.until) for spell in timeline_of(BOOK)] == [
        (1, NOON, NOON + 2 * DAY),
        (3, NOON + 2 * DAY, NOON + 9 * DAY),
        (2, NOON + 9 * DAY, None),
    ]


def test_a_version_is_to_come_until_its_day_unless_it_was_dropped() -> None:
    assert WAITING.is_to_come(NOON + 8 * DAY)
    assert not WAITING.is_to_come(NOON + 9 * DAY)
    assert not DROPPED.is_to_come(NOON)


def test_a_day_begins_at_midnight_of_its_own_zone_in_summer_too() -> None:
    assert beginning_of(date(2026, 12, 1), "Europe/Dublin") == datetime(2026, 12, 1, tzinfo=UTC)
    assert beginning_of(date(2026, 7, 1), "Europe/Dublin") == datetime(2026, 6, 30, 23, tzinfo=UTC)


def test_what_differs_is_told_by_its_key() -> None:
    before = {"tiers": [{"percent": 22}], "quotes": {"price_good_days": 14}, "fit": {"worn_kg": 5.0}}
    after = {"tiers": [{"percent": 20}, {"percent": 10}], "quotes": {"price_good_days": 14}}
    assert differences(before, after) == (
        Difference("fit.worn_kg", 5.0, None),
        Difference("tiers[1].percent", 22, 20),
        Difference("tiers[2].percent", None, 10),
    )


def test_what_a_version_to_come_would_undo_is_what_changed_since_and_not_what_it_changes_itself() -> None:
    base = {"quotes": {"price_good_days": 14, "draft_days": 30}, "desk": {"staff_see_margin": False}}
    now = {"quotes": {"price_good_days": 20, "draft_days": 30}, "desk": {"staff_see_margin": True}}
    waiting = {"quotes": {"price_good_days": 14, "draft_days": 60}, "desk": {"staff_see_margin": True}}
    assert left_behind(base, now, waiting) == (Difference("quotes.price_good_days", 20, 14),)
    assert left_behind(base, base, waiting) == ()
