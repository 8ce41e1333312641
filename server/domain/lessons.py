"""Lessons: times on the calendar, who has booked, the call on the weather, and what becomes of the fee in every case.

Nothing here decides that it is safe to go out: the instructor on the beach does. Limits of wind are common practice of the
trade, without a source, and the owner's to change.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from datetime import time as hour
from typing import Literal, get_args
from zoneinfo import ZoneInfo

from server.domain.catalogue import LessonKind, Spot
from server.domain.money import Cents, round_half_up
from server.domain.policy import LessonTerms, Policy

BookingState = Literal[
    "booked", "taken", "cut_short", "missed", "called_off", "called_off_late", "called_off_by_shop", "declined"
]
BOOKING_STATES: tuple[BookingState, ...] = get_args(BookingState)
OPEN_STATES: tuple[BookingState, ...] = ("booked",)
Method = Literal["cash", "terminal", "bank_transfer", "voucher", "paid_by_another"]
METHODS: tuple[Method, ...] = get_args(Method)
METHOD_WORDS = {
    "cash": "cash",
    "terminal": "card terminal",
    "bank_transfer": "bank transfer",
    "voucher": "voucher",
    "paid_by_another": "paid by somebody else",
}
CallStage = Literal["provisional", "final"]
CallVerdict = Literal["on", "off"]
HALF = 0.5


@dataclass(frozen=True, slots=True)
class LessonTime:
    """A time on the calendar: what is taught, when, where, by whom, for how many; and the calls made on its weather."""

    id: int
    kind: str
    starts_at: datetime
    minutes: int
    places: int
    instructor: str
    spot: str
    provisional: CallVerdict | None = None
    final: CallVerdict | None = None
    because: str = ""
    sequence: int = 0

    @property
    def ends_at(self) -> datetime:
        """When it ends."""
        return self.starts_at + timedelta(minutes=self.minutes)

    @property
    def is_called_off(self) -> bool:
        """Whether the shop has called it off for good."""
        return self.final == "off"


@dataclass(frozen=True, slots=True)
class Booking:
    """Somebody's place in a lesson, under an address and a code of its own; the code is the one its fee is kept under."""

    id: int
    token: str
    code: str
    time: LessonTime
    name: str
    email: str
    phone: str
    mass_kg: float | None
    state: BookingState
    made_at: datetime
    quote_token: str = ""
    note: str = ""
    taught_share: float | None = None


@dataclass(frozen=True, slots=True)
class Conditions:
    """The wind as it was measured or read at the spot: mean and gust in knots, where it comes from in degrees, lightning about."""

    mean_kn: float
    gust_kn: float
    from_deg: float
    has_lightning: bool = False


@dataclass(frozen=True, slots=True)
class Settlement:
    """What becomes of a fee: given back and kept in cents (together what was paid), whether the lesson is repeated, and why."""

    given_back: Cents
    kept: Cents
    is_repeated: bool
    because: str


def is_offshore(from_deg: float, spot: Spot) -> bool:
    """Whether a wind does not come from the spot's safe sector, which runs clockwise from `safe_from_deg` to `safe_to_deg`.

    Compass degrees that the wind comes from. A spot without a sector is safe from every side: a small lake.
    """
    if spot.safe_from_deg is None or spot.safe_to_deg is None:
        return False
    width = (spot.safe_to_deg - spot.safe_from_deg) % 360
    return (from_deg - spot.safe_from_deg) % 360 > width


def why_not_teach(kind: LessonKind, spot: Spot, seen: Conditions, terms: LessonTerms) -> tuple[str, ...]:
    """Why a lesson of this kind is called off in this weather, as sentences; empty where it may be held.

    Lightning and gusts call every lesson off. A lesson with the hand wing wants wind, and none that blows off the land; behind
    the boat no wind is needed. Common practice of the trade; the instructor may call off more, never less.
    """
    reasons = []
    if seen.has_lightning:
        reasons.append("There is lightning about.")
    if seen.gust_kn > terms.most_gust_kn:
        reasons.append(f"Gusts of {seen.gust_kn:g} kn are over {terms.most_gust_kn:g} kn.")
    if kind.kind not in terms.without_wind:
        if seen.mean_kn < terms.least_mean_kn:
            reasons.append(f"A mean wind of {seen.mean_kn:g} kn is under {terms.least_mean_kn:g} kn.")
        if is_offshore(seen.from_deg, spot):
            reasons.append(f"The wind from {seen.from_deg:.0f}° blows off the land at {spot.name}.")
    return tuple(reasons)


def call_due(time: LessonTime, stage: CallStage, policy: Policy) -> datetime:
    """When a call on the weather is due: the provisional one the evening before by the shop's clock, the final one hours before."""
    if stage == "final":
        return time.starts_at - timedelta(hours=policy.lessons.final_call_hours)
    zone = ZoneInfo(policy.shop.time_zone)
    evening_before = time.starts_at.astimezone(zone).date() - timedelta(days=1)
    return datetime.combine(evening_before, hour(policy.lessons.provisional_call_hour), zone)


def state_on_call_off(now: datetime, time: LessonTime, terms: LessonTerms) -> BookingState:
    """What a learner's calling off comes to: in time, or late."""
    in_time = now <= time.starts_at - timedelta(hours=terms.call_off_hours)
    return "called_off" if in_time else "called_off_late"


def settle(state: BookingState, paid: Cents, terms: LessonTerms, taught_share: float | None = None) -> Settlement:
    """What becomes of a fee once it is known how a lesson went.

    Called off by the shop, called off in time, or declined because the wind was over the learner's own window: all of it given
    back unless the lesson is moved. Less than half taught: repeated, and the fee stays for that. Half or more: half of it is
    credited. Late or missed: the policy's share stays with the shop.
    """
    if state in ("called_off_by_shop", "called_off", "declined"):
        whose = {
            "called_off_by_shop": "The shop called it off",
            "called_off": "It was called off in time",
            "declined": "The wind was over the learner's own window",
        }[state]
        return Settlement(paid, 0, False, f"{whose}: moved, or given back in full.")
    if state == "cut_short":
        if taught_share is None or taught_share < HALF:
            return Settlement(0, paid, True, "Less than half of it was taught: it is repeated at no cost.")
        back = paid // 2
        return Settlement(back, paid - back, False, "Half of it or more was taught: half the fee is credited.")
    if state in ("missed", "called_off_late"):
        share = terms.kept_if_missed if state == "missed" else terms.kept_if_late
        kept = round_half_up(share * paid)
        words = "missed" if state == "missed" else "called off late"
        return Settlement(
            paid - kept, kept, False, f"It was {words}: {100 * share:.0f} % of the fee stays with the shop."
        )
    return Settlement(0, paid, False, "The fee stays paid.")


def places_left(time: LessonTime, bookings: int) -> int:
    """Places that can still be booked; none once it was called off."""
    return 0 if time.is_called_off else max(0, time.places - bookings)
