"""What can be set aside for somebody besides a kit: a used piece, or one of an expected delivery; each promised once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from server.domain.errors import Fault
from server.domain.policy import Policy
from server.domain.stock import Contact, confirmed_until, unconfirmed_until

DeliveryState = Literal["to_come", "arrived", "called_off"]
ReservationState = Literal["asked", "confirmed", "bought", "ended", "lapsed"]
BOUGHT = "bought"
TAKEN_BACK = "taken back by the customer"
CALLED_OFF = "the delivery was called off"
EXPIRED = "expired"
MOST_PIECES = 999
LONGEST_NOTE = 200
FURTHEST_DAYS = 730


@dataclass(frozen=True, slots=True)
class Delivery:
    """New parts that a maker is to deliver about a day: how many in all, and how many have come."""

    id: int
    sku: str
    pieces: int
    due_about: date
    note: str = ""
    arrived: int = 0
    is_ended: bool = False

    @property
    def to_come(self) -> int:
        """How many are still to come."""
        return 0 if self.is_ended else self.pieces - self.arrived

    @property
    def state(self) -> DeliveryState:
        """Whether it is to come, has come whole, or the rest was called off."""
        if not self.is_ended:
            return "to_come"
        return "arrived" if self.arrived >= self.pieces else "called_off"


@dataclass(frozen=True, slots=True)
class Reservation:
    """A piece, or one of a delivery, set aside for somebody; open until it expires or ends.

    `hold` is the hold of the stock that was set aside once the delivery came.
    """

    id: int
    token: str
    piece: int | None
    delivery: int | None
    contact: Contact
    made_at: datetime
    expires_at: datetime
    is_confirmed: bool = False
    ended_because: str = ""
    hold: int | None = None

    def is_open(self, now: datetime) -> bool:
        """Whether it is still set aside."""
        return not self.ended_because and self.expires_at > now

    def state_at(self, now: datetime) -> ReservationState:
        """How it stands at a moment."""
        if self.ended_because == BOUGHT:
            return "bought"
        if self.ended_because and self.ended_because != EXPIRED:
            return "ended"
        if not self.is_open(now):
            return "lapsed"
        return "confirmed" if self.is_confirmed else "asked"


def asked_until(now: datetime, policy: Policy) -> datetime:
    """When a reservation lapses that the shop has not confirmed: after the hours of any request to hold."""
    return unconfirmed_until(now, policy)


def kept_until(now: datetime, due: date | None, policy: Policy) -> datetime:
    """When a confirmed reservation lapses: after the days of any confirmed hold, of what is due counted from the day it is due.

    Confirmed on 25 November, 7 days, due about 12 December: at the end of 19 December by the shop's clock.
    """
    usual = confirmed_until(now, policy)
    if due is None:
        return usual
    last = due + timedelta(days=policy.hold_confirmed_days)
    return max(usual, datetime.combine(last + timedelta(days=1), time(), ZoneInfo(policy.shop.time_zone)))


def delivery_faults(sku_is_sold: bool, pieces: int | None, due: date | None, note: str, today: date) -> list[Fault]:
    """What is wrong with a delivery as it was typed."""
    faults = []
    if not sku_is_sold:
        faults.append(Fault("sku", "The catalogue sells no such SKU.", "a SKU of a part on sale"))
    if pieces is None or not 1 <= pieces <= MOST_PIECES:
        faults.append(Fault("pieces", "This is not a number of pieces.", f"a whole number from 1 to {MOST_PIECES}"))
    faults += due_faults(due, today)
    if len(note) > LONGEST_NOTE or not note.isprintable():
        faults.append(Fault("note", "This note cannot be kept.", f"one line of at most {LONGEST_NOTE} characters"))
    return faults


def due_faults(due: date | None, today: date) -> list[Fault]:
    """What is wrong with the day about which something is due."""
    if due is None or not today <= due <= today + timedelta(days=FURTHEST_DAYS):
        return [Fault("due_about", "About which day?", "a day from today on, two years ahead at most")]
    return []
