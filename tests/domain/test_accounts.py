"""The rules of passwords, the life of sessions and the wait of guessers."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.accounts import (
    PER_ACCOUNT,
    PER_ADDRESS,
    SessionTimes,
    counted_as,
    failures_now,
    is_live,
    is_spent,
    name_key,
    password_faults,
    read_name,
    wait_left,
)
from server.domain.errors import InvalidInput

NOW = datetime(2026, 6, 30, 12, tzinfo=UTC)
NAMES = ("Two Herons Watersports", "Orla")
GOOD = "nine wet ropes on a quay"


def accepts(password: str, *, has_factor: bool = False) -> bool:
    return not password_faults(password, NAMES, has_factor)


def test_length_alone_and_beside_a_second_factor() -> None:
    # NIST SP 800-63B-4, section 3.1.1.2: 15 characters alone, 8 beside another factor, at least 64 permitted.
    assert not accepts("vq7 rope mend!"), "14"
    assert accepts("vq7 rope mend!k"), "15"
    assert not accepts("vq7 rop", has_factor=True), "7"
    assert accepts("vq7 rope", has_factor=True), "8"
    assert accepts((GOOD * 10)[:64])
    long = "".join(chr(0x4E00 + 7 * n) for n in range(201))
    assert accepts(long[:200])
    assert not accepts(long)


@pytest.mark.parametrize(
    "password", [GOOD, "gaoth láidir aniar aduaidh", "водоросли на ветру", "🐚🦀🌊🪁⛵🐟🦞🐙🦑🐡🐠🦐🐋🐬🦭"]
)
def test_any_printable_letter_and_space_serves_without_rules_of_composition(password: str) -> None:
    assert accepts(password)


def test_a_code_point_counts_as_one_character() -> None:
    # NIST SP 800-63B-4, section 3.1.1.2: each Unicode code point counts as a single character.
    assert accepts("🐚🦀🌊🪁⛵🐟🦞🐙", has_factor=True)


def test_what_cannot_be_printed_is_refused() -> None:
    assert not accepts(GOOD + "\x00")
    assert not accepts(GOOD + "\n")


@pytest.mark.parametrize(
    "password",
    [
        "password12345678",
        "P@ssw0rd!!!!!!!!",
        "iloveyou20252025",
        "passwordpassword",
        "aaaaaaaaaaaaaaaa",
        "123456789012345",
        "abcdefghijklmnop",
        "qwertyuiopasdfgh",
        "abcabcabcabcabc",
        "0987654321098765",
        "2026!!!Sunshine2026",
    ],
)
def test_common_ones_and_patterns_are_refused(password: str) -> None:
    assert not accepts(password)


@pytest.mark.parametrize(
    "password",
    [
        "Two Herons Watersports",
        "TwoHeronsWatersports1",
        "herons-herons-orla",
        "Slackwater Orla 99",
        "watersports-owner-1",
    ],
)
def test_names_of_shop_and_account_are_refused(password: str) -> None:
    assert not accepts(password)


def test_a_name_among_other_words_is_no_fault() -> None:
    assert accepts("herons wade where ropes rot")


@given(st.text(max_size=250))
def test_every_refusal_has_a_reason(password: str) -> None:
    assert all(fault.field == "password" and fault.message for fault in password_faults(password, NAMES, True))


def test_names_are_compared_without_case_and_extra_spaces() -> None:
    assert name_key("  ORLA  Quill") == name_key("orla quill") != name_key("orlaquill")
    assert read_name("  Orla   Quill ") == "Orla Quill"
    for wrong in ("", "   ", "x" * 61, "a\x00b"):
        with pytest.raises(InvalidInput):
            read_name(wrong)


def test_a_session_ends_after_idle_time_and_after_twelve_hours() -> None:
    def live(started: float, seen: float, stage: str = "full") -> bool:
        ago = [NOW - timedelta(minutes=minutes) for minutes in (started, seen)]
        return is_live(SessionTimes("full" if stage == "full" else "password", *ago), NOW)

    assert live(60, 29.9)
    assert not live(60, 30)
    assert live(719.9, 1)
    assert not live(720, 1)
    assert live(9.9, 0, "password")
    assert not live(10, 0, "password")


def test_the_wait_grows_to_a_limit_and_is_forgotten() -> None:
    waits = [wait_left(PER_ACCOUNT, failures, NOW, NOW).total_seconds() for failures in range(4, 13)]
    assert waits == [0, 30, 60, 120, 240, 480, 900, 900, 900]
    assert wait_left(PER_ADDRESS, 19, NOW, NOW) == timedelta(0) < wait_left(PER_ADDRESS, 20, NOW, NOW)
    assert wait_left(PER_ACCOUNT, 5, NOW, NOW + timedelta(seconds=29)) == timedelta(seconds=1)
    assert wait_left(PER_ACCOUNT, 5, NOW, NOW + timedelta(seconds=30)) == timedelta(0)
    assert wait_left(PER_ACCOUNT, 10**9, NOW, NOW + timedelta(minutes=15)) == timedelta(0)
    assert failures_now(PER_ADDRESS, 7, NOW, NOW + timedelta(hours=23)) == 7
    assert failures_now(PER_ADDRESS, 7, NOW, NOW + timedelta(hours=24)) == 0
    assert failures_now(PER_ACCOUNT, 7, NOW, NOW + timedelta(days=400)) == 7, "only success or recovery ends the row"


def test_after_a_hundred_failures_an_account_takes_no_more_tries_but_an_address_does() -> None:
    # NIST SP 800-63B-4, section 3.2.2: no more than 100 consecutive failed attempts.
    assert [is_spent(PER_ACCOUNT, failures) for failures in (99, 100, 101)] == [False, True, True]
    assert not is_spent(PER_ADDRESS, 10**9)


@pytest.mark.parametrize(
    ("address", "counted"),
    [
        ("198.51.100.7", "198.51.100.7"),
        ("::ffff:198.51.100.7", "198.51.100.7"),
        ("2001:db8:1:7:aaaa::1", "2001:db8:1:7::"),
        ("unknown", "unknown"),
    ],
)
def test_whose_requests_are_counted_together(address: str, counted: str) -> None:
    assert counted_as(address) == counted
