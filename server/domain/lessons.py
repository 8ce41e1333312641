"""Lessons: times on the calendar, who has booked, the call on the weather, and what becomes of the fee in every case.

Nothing here decides that it is safe to go out: the instructor on the beach does. Limits of wind are common practice of the
trade, without a source, and the owner's to change.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from datetime import time as hour
from fractions import Fraction
from typing import Literal, get_args
from zoneinfo import ZoneInfo

from server.domain.catalogue import LessonKind, Spot
from server.domain.codes import read_code
from server.domain.days import day_in_words
from server.domain.deposits import LessonState
from server.domain.errors import Fault, InvalidInput
from server.domain.money import Cents, round_half_up
from server.domain.policy import LessonTerms, Policy
from server.domain.stock import Contact, read_contact

BookingState = Literal[
    "booked", "taken", "cut_short", "missed", "called_off", "called_off_late", "called_off_by_shop", "declined"
]
BOOKING_STATES: tuple[BookingState, ...] = get_args(BookingState)
OPEN_STATES: tuple[BookingState, ...] = ("booked",)
PLACE_STATES: tuple[BookingState, ...] = ("booked", "taken", "cut_short", "missed")
"""States in which a booking has a place; all others have given it up."""
MOVABLE_STATES: tuple[BookingState, ...] = ("booked", "called_off", "called_off_by_shop", "declined")
"""States from which a booking may move to another time with its fee."""
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
MOST_WEEKS = 26
WEEKS_AHEAD = 8
MOST_OPEN_BOOKINGS = 2
MINUTES_ACCEPTED = "whole minutes from 15 to 480"
PLACES_ACCEPTED = "a whole number from 1 to 30"
DAY_ACCEPTED = "a day from today on, within a year"
HOUR_ACCEPTED = "a time such as 10:30, by the shop's clock"
MASS_ACCEPTED = "a number from 20 to 200 kg, or nothing"
FURTHEST = timedelta(days=366)
REASON_ACCEPTED = "1 to 300 characters"
MOST_REASON = 300
_NUMBER = re.compile(r"\d{1,4}([.,]\d{1,3})?", re.ASCII)


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
    """Of the quote that is theirs, as the desk or their own contact on it confirmed."""
    claimed_quote_token: str = ""
    """Of the quote whose code they typed, until that is confirmed."""
    note: str = ""
    moved_by_shop: bool = False
    """Whether the shop put it elsewhere since the learner last chose a time."""
    taught_share: float | None = None
    repeats: int | None = None
    """The booking that this one repeats at no cost; its fee stands under that one's code."""
    fee: Cents = 0
    """What it costs, as it was when it was booked, in cents."""
    handed_back_before: Cents = 0
    """What had been handed back of its fee when it was last moved, in cents: settled with the time that it left."""
    sequence: int = 0
    """How often its time or place was changed, for calendars (RFC 5545, 3.8.7.4)."""

    @property
    def is_free_to_go(self) -> bool:
        """Whether calling off costs nothing however late it is: the shop moved it, or says that for now it looks off."""
        return self.moved_by_shop or (self.time.provisional == "off" and self.time.final is None)

    @property
    def is_forgotten(self) -> bool:
        """Whether who had booked was deleted, some time after the lesson."""
        return not self.name


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


FULL_CIRCLE_DEG = 360


def is_offshore(from_deg: float, spot: Spot) -> bool:
    """Whether a wind does not come from the spot's safe sector, which runs clockwise from `safe_from_deg` to `safe_to_deg`.

    Compass degrees that the wind comes from. A spot without a sector, or with one from 0 to 360, is safe from every side: a small
    lake.
    """
    if spot.safe_from_deg is None or spot.safe_to_deg is None:
        return False
    if spot.safe_to_deg - spot.safe_from_deg >= FULL_CIRCLE_DEG:
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


def state_on_call_off(
    now: datetime, time: LessonTime, terms: LessonTerms, *, is_free_to_go: bool = False
) -> BookingState:
    """What a learner's calling off comes to: in time, or late; never late where the shop's own doing set them free to go."""
    in_time = is_free_to_go or now <= time.starts_at - timedelta(hours=terms.call_off_hours)
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
        back = round_half_up(Fraction(paid, 2))
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


def why_not_booked(time: LessonTime, bookings: int, now: datetime) -> str:
    """Why no place can be booked at a time now, as a sentence; empty where one can."""
    if time.is_called_off:
        return "This lesson was called off."
    if now >= time.starts_at:
        return "This lesson has begun already."
    return "" if places_left(time, bookings) else "Every place in this lesson is taken."


def call_to_make(time: LessonTime, now: datetime, policy: Policy) -> CallStage | None:
    """Which call on the weather is to be made now, or None: the final one from twice its hours before the start on, the
    provisional one on the day on which it is due and from then on."""
    if time.final is not None or now >= time.starts_at:
        return None
    if now >= call_due(time, "final", policy) - timedelta(hours=policy.lessons.final_call_hours):
        return "final"
    due = call_due(time, "provisional", policy)
    midnight = datetime.combine(due.date(), hour(), due.tzinfo)
    return "provisional" if time.provisional is None and now >= midnight else None


LEDGER_STATES: Mapping[BookingState, LessonState] = {
    "booked": "booked",
    "taken": "taken",
    "cut_short": "taken",
    "missed": "missed",
    "called_off": "called_off",
    "called_off_late": "called_off_late",
    "called_off_by_shop": "called_off_by_shop",
    "declined": "called_off",
}


def ledger_state(state: BookingState, taught_share: float | None = None) -> LessonState:
    """How a paid lesson stands in the ledger of fees; one that is repeated stays booked until the repeat was held."""
    is_repeated = state == "cut_short" and (taught_share is None or taught_share < HALF)
    return "booked" if is_repeated else LEDGER_STATES[state]


@dataclass(frozen=True, slots=True)
class FeeStand:
    """How a booking's fee stands, in cents: what the lesson costs, what was paid and not handed back, what is still to pay and
    what is to be given back; and whether it went back with a kit.

    `voucher_more` is what vouchers are worth beyond what was paid for them; `entries` counts the ledger's, so that a form can say
    on which of its states it was filled in.
    """

    fee: Cents
    paid: Cents
    due: Cents
    to_give_back: Cents
    is_back_with_kit: bool = False
    voucher_more: Cents = 0
    entries: int = 0


def stand_of_fee(
    booking: Booking,
    paid: Cents,
    handed_back: Cents,
    terms: LessonTerms,
    *,
    voucher_more: Cents = 0,
    is_back_with_kit: bool = False,
) -> FeeStand:
    """How a fee stands: `paid` is all that was ever paid, `handed_back` what the desk has returned of it, both in cents.

    What the shop is to keep is a share of the fee, whatever was paid of it: more than that in its hands is to be given back, less
    is due, a lesson missed or called off late included. A voucher settles what is due by its whole worth, `voucher_more` being
    what it is worth beyond what was paid for it, but only what was paid is ever given back. A fee that went back with a kit is
    settled: nothing is due and nothing to be given back.
    """
    in_hand = paid - handed_back
    if is_back_with_kit:
        return FeeStand(booking.fee, in_hand, 0, 0, is_back_with_kit=True)
    kept = settle(booking.state, booking.fee, terms, booking.taught_share).kept
    due, back = max(0, kept - in_hand - voucher_more), max(0, in_hand - kept)
    return FeeStand(booking.fee, in_hand, due, back, voucher_more=voucher_more)


# What is typed.


@dataclass(frozen=True, slots=True)
class PlannedTime:
    """A time that is to stand on the calendar."""

    kind: str
    starts_at: datetime
    minutes: int
    places: int
    instructor: str
    spot: str


@dataclass(frozen=True, slots=True)
class PlaceAsked:
    """Who asks for a place, and what the instructor should know; `code` is that of a quote, or empty."""

    contact: Contact
    mass_kg: float | None
    note: str
    code: str


def moment_at(day: date, at: hour, zone: ZoneInfo) -> datetime | None:
    """The moment of a day and time by the shop's clock, in UTC; None in the hour over which clocks are put forward."""
    moment = datetime.combine(day, at, zone).astimezone(UTC)
    return moment if moment.astimezone(zone).time() == at else None


def read_day(text: str) -> date | None:
    """A day such as 2026-11-25, or None."""
    try:
        return date.fromisoformat(text) if len(text) == len("2026-11-25") else None
    except ValueError:
        return None


def _read_hour(text: str) -> hour | None:
    try:
        return hour.fromisoformat(text) if len(text) == len("10:30") and ":" in text else None
    except ValueError:
        return None


def _whole(text: str, low: int, high: int) -> int | None:
    is_number = re.fullmatch(r"\d{1,4}", text, re.ASCII) is not None
    return int(text) if is_number and low <= int(text) <= high else None


def read_number(text: str, low: float, high: float) -> float | None:
    """A number with a decimal point or comma within bounds, or None."""
    if not _NUMBER.fullmatch(text):
        return None
    value = float(text.replace(",", "."))
    return value if low <= value <= high else None


def read_plan(
    typed: Mapping[str, str],
    kinds: Mapping[str, LessonKind],
    spots: Collection[str],
    now: datetime,
    zone: ZoneInfo,
    *,
    kind: str = "",
) -> tuple[PlannedTime, ...]:
    """The times that were typed: one, or one every week at the same hour by the shop's clock; `kind` where it is settled.

    Minutes and places left blank are the kind's own. Raises `InvalidInput` with every fault.
    """
    faults: list[Fault] = []
    taught = kinds.get(kind or typed["kind"])
    if taught is None:
        faults.append(Fault("kind", "The shop lists no such lesson.", "one of: " + ", ".join(kinds)))
    minutes = _whole(typed["minutes"], 15, 480) if typed["minutes"] else taught.minutes if taught else 60
    places = _whole(typed["places"], 1, 30) if typed["places"] else taught.places if taught else 1
    weeks = _whole(typed.get("weeks", "") or "1", 1, MOST_WEEKS)
    if minutes is None:
        faults.append(Fault("minutes", "This is no length of a lesson.", MINUTES_ACCEPTED))
    if places is None:
        faults.append(Fault("places", "This is no number of places.", PLACES_ACCEPTED))
    if weeks is None:
        faults.append(Fault("weeks", "This is no number of weeks.", f"a whole number from 1 to {MOST_WEEKS}"))
    instructor = typed["instructor"]
    if not 1 <= len(instructor) <= 80 or not instructor.isprintable():
        faults.append(Fault("instructor", "Who teaches is needed.", "1 to 80 characters"))
    if typed["spot"] not in spots:
        faults.append(Fault("spot", "The shop lists no such spot.", "one of: " + ", ".join(spots)))
    starts = _starts(faults, typed["day"], typed["at"], weeks or 1, now, zone)
    if faults or taught is None or minutes is None or places is None:
        raise InvalidInput(faults)
    return tuple(PlannedTime(taught.kind, start, minutes, places, instructor, typed["spot"]) for start in starts)


def _starts(faults: list[Fault], day: str, at: str, weeks: int, now: datetime, zone: ZoneInfo) -> list[datetime]:
    """When the lessons begin, week by week; what is wrong is added to the faults."""
    first, clock = read_day(day), _read_hour(at)
    if first is None:
        faults.append(Fault("day", "This is not a day.", DAY_ACCEPTED))
    if clock is None:
        faults.append(Fault("at", "This is not a time.", HOUR_ACCEPTED))
    if first is None or clock is None:
        return []
    today = now.astimezone(zone).date()
    if not today <= first <= today + FURTHEST:
        faults.append(Fault("day", "This day has passed or is too far away.", DAY_ACCEPTED))
        return []
    starts = []
    for week in range(weeks):
        that_day = first + timedelta(weeks=week)
        start = moment_at(that_day, clock, zone)
        if start is None:
            faults.append(
                Fault("at", f"On {day_in_words(that_day)} the clocks are put forward over this hour.", "another hour")
            )
        elif start <= now:
            faults.append(Fault("at", "This time has passed.", "a time from now on"))
        else:
            starts.append(start)
    return starts


def read_asked(typed: Mapping[str, str]) -> PlaceAsked:
    """Who asks for a place, from what was typed; raises `InvalidInput` with every fault."""
    faults: list[Fault] = []
    contact, code, mass_kg = Contact(""), "", None
    try:
        contact = read_contact(typed["name"], typed["email"], typed["phone"])
    except InvalidInput as error:
        faults += error.faults
    if typed["mass_kg"]:
        mass_kg = read_number(typed["mass_kg"], 20, 200)
        if mass_kg is None:
            faults.append(Fault("mass_kg", "This is not a weight.", MASS_ACCEPTED))
    if typed["swims_100m"] not in ("yes", "no"):
        faults.append(Fault("swims_100m", "Say whether the learner swims 100 m.", "yes or no"))
    if typed["code"]:
        try:
            code = read_code(typed["code"])
        except InvalidInput as error:
            faults += error.faults
    if faults:
        raise InvalidInput(faults)
    notes = [
        "Under 18." if typed["under_18"] == "yes" else "",
        "Does not swim 100 m." if typed["swims_100m"] == "no" else "",
    ]
    return PlaceAsked(contact, mass_kg, " ".join(note for note in notes if note), code)


def read_conditions(typed: Mapping[str, str]) -> Conditions | None:
    """The wind that was typed, or None where nothing was; raises `InvalidInput` with every fault.

    Means and gusts in knots, a gust never under the mean (it is the highest of the same wind); degrees from 0 to 360.
    """
    if not any(typed[name] for name in ("mean_kn", "gust_kn", "from_deg", "lightning")):
        return None
    faults = []
    mean, gust = read_number(typed["mean_kn"], 0, 100), read_number(typed["gust_kn"], 0, 150)
    origin = read_number(typed["from_deg"], 0, 360)
    if mean is None:
        faults.append(Fault("mean_kn", "This is no mean wind.", "a number from 0 to 100 kn"))
    if gust is None or (mean is not None and gust < mean):
        faults.append(Fault("gust_kn", "This is no gust of such a wind.", "a number from the mean to 150 kn"))
    if origin is None:
        faults.append(Fault("from_deg", "This is no direction.", "compass degrees from 0 to 360"))
    if faults or mean is None or gust is None or origin is None:
        raise InvalidInput(faults)
    return Conditions(mean, gust, origin, typed["lightning"] == "yes")
