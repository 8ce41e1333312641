"""Reservations and deliveries: how long something is set aside, and what a delivery may be."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from server.domain.periods import whole_months_between
from server.domain.policy import Policy
from server.domain.reservations import BOUGHT, Delivery, Reservation, asked_until, delivery_faults, kept_until
from server.domain.stock import Contact

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
TODAY = NOW.date()
POLICY = Policy()
ASKED = Reservation(1, "abcdefgh", 1, None, Contact("Some One", "a@example.org"), NOW, asked_until(NOW, POLICY))


def test_a_request_lapses_by_the_clock_and_a_confirmed_one_later() -> None:
    assert ASKED.expires_at == NOW + timedelta(hours=2)
    assert kept_until(NOW, None, POLICY) == NOW + timedelta(days=7)
    assert ASKED.state_at(NOW) == "asked"
    assert ASKED.state_at(ASKED.expires_at) == "lapsed"
    assert replace(ASKED, is_confirmed=True).state_at(NOW) == "confirmed"
    assert replace(ASKED, ended_because=BOUGHT).state_at(NOW) == "bought"
    assert replace(ASKED, ended_because="They rang.").state_at(NOW) == "ended"


def test_what_is_due_is_kept_until_some_days_after_it_is_due_by_the_shops_clock() -> None:
    until = kept_until(NOW, date(2026, 12, 12), POLICY)
    assert until.date() == date(2026, 12, 20)
    assert (until.hour, until.minute) == (0, 0)
    # What was due long ago is kept for the usual days at least.
    assert kept_until(NOW, date(2026, 11, 1), POLICY) == NOW + timedelta(days=7)


def test_a_delivery_knows_what_is_to_come() -> None:
    one = Delivery(1, "DUN-72", 5, date(2026, 12, 12), arrived=2)
    assert (one.to_come, one.state) == (3, "to_come")
    assert (replace(one, is_ended=True).to_come, replace(one, is_ended=True).state) == (0, "called_off")
    assert replace(one, arrived=5, is_ended=True).state == "arrived"


def test_every_fault_of_a_delivery_comes_at_once() -> None:
    faults = delivery_faults(False, 0, TODAY - timedelta(days=1), "x" * 201, TODAY)
    assert {fault.field for fault in faults} == {"sku", "pieces", "due_about", "note"}
    assert not delivery_faults(True, 1, TODAY, "", TODAY)


def test_months_are_counted_whole() -> None:
    assert whole_months_between(date(2026, 8, 31), date(2026, 9, 30)) == 0
    assert whole_months_between(date(2026, 8, 31), date(2026, 10, 1)) == 1
    assert whole_months_between(date(2025, 11, 25), date(2026, 11, 25)) == 12
    assert whole_months_between(date(2026, 11, 25), date(2026, 11, 1)) == 0
