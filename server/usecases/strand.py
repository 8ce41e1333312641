"""Today at the strand: the wind and tide of each spot, who goes with what, and the call-offs that follow, in one confirmed step."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, time

from server.domain.catalogue import Gear, Spot
from server.domain.errors import Conflict, Fault, InvalidInput, Outdated, Unreadable
from server.domain.lessons import MOST_REASON, PLACE_STATES, REASON_ACCEPTED, Booking
from server.domain.quotes import Quote
from server.domain.slots import CORE_SLOTS, SIZES
from server.domain.strand import OWN, Reading, Rider, Verdict, read_reading, rider_on, verdict, why_call_off
from server.persistence.assessments import assessed_among
from server.persistence.lessons import load_bookings_of
from server.persistence.quotes import load_quote
from server.persistence.strand import load_readings_since, save_reading
from server.usecases.fit import fitter_for
from server.usecases.lessons import Calendared, call_weather, list_times, mark_booking, may_decline, read_time
from server.usecases.work import Shop, Work

USUAL_LEARNER = {"to_feet": "average", "fitness": "fair", "board_background": "some", "foil_stage": "none"}
"""What is taken of a learner who has told their weight and nothing more."""
NO_WEIGHT = "Ask their weight: without it there is no hand wing to name."
NOT_ALL_SUIT = "The wind or the water at this tide does not suit those who are booked."


@dataclass(frozen=True, slots=True)
class Learner:
    """Somebody booked today with the verdict on them; None where no wind was typed, or their lesson is over or called off."""

    booking: Booking
    verdict: Verdict | None
    was_seen: bool
    code: str
    """Of the quote they booked with; empty without one."""


@dataclass(frozen=True, slots=True)
class LessonToday:
    """A lesson of today with its learners, and why it would be called off in what was typed; no reason: it stays on."""

    one: Calendared
    learners: tuple[Learner, ...]
    because: tuple[str, ...]

    @property
    def told(self) -> str:
        """The reasons as all its learners may read them: what speaks of one of several is left out; empty for the weather's own."""
        judged = [learner.verdict for learner in self.learners if learner.verdict is not None]
        if any(reason.kind == "weather" for one in judged for reason in one.reasons):
            return ""
        words = " ".join(self.because)
        return words if len(judged) == 1 and len(words) <= MOST_REASON else NOT_ALL_SUIT


@dataclass(frozen=True, slots=True)
class SpotToday:
    """A spot with its lessons of today; `spot` is None where the catalogue lists it no more, `reading` None where none was typed."""

    name: str
    spot: Spot | None
    reading: Reading | None
    lessons: tuple[LessonToday, ...]

    @property
    def to_call_off(self) -> tuple[LessonToday, ...]:
        """The lessons that would be called off."""
        return tuple(lesson for lesson in self.lessons if lesson.because)


@dataclass(frozen=True, slots=True)
class CalledOff:
    """What was called off, by the numbers of the lessons, and what could not be any more, with its reason."""

    done: tuple[int, ...] = ()
    left: tuple[tuple[int, str], ...] = ()


@dataclass
class _Riders:
    """Riders worked out once for each weight at each spot."""

    work: Work
    known: dict[tuple[float, str], Rider | str] = field(default_factory=dict)

    def of(self, booking: Booking, quote: Quote | None, spot: Spot) -> Rider | str:
        """The rider a booking stands for, on the kit of their quote if they have one; else a sentence that says why there is none."""
        worn_kg = self.work.catalogue.policy.fit.worn_kg
        if quote is not None:
            gear = {slot: quote.kit.gear_in(slot) for slot in CORE_SLOTS}
            return rider_on(gear, booking.mass_kg or quote.mass_kg, worn_kg, spot.water, quote.hands)
        if booking.mass_kg is None:
            return NO_WEIGHT
        key = (booking.mass_kg, spot.name)
        if key not in self.known:
            self.known[key] = self._usual(booking.mass_kg, spot)
        return self.known[key]

    def _usual(self, mass_kg: float, spot: Spot) -> Rider | str:
        """A rider on the sizes that would be recommended to them."""
        try:
            fitter = fitter_for(self.work, {**USUAL_LEARNER, "mass_kg": mass_kg, "spot": spot.name})
        except InvalidInput as error:
            return f"{error.faults[0].message} The instructor decides."
        sizing = fitter.fitting.sizing
        gear = {slot: Gear(slot, {SIZES[slot]: target.ideal}) for slot, target in sizing.targets.items()}
        return rider_on(gear, mass_kg, sizing.terms.worn_kg, spot.water, fitter.hands)


def _midnight(work: Work) -> datetime:
    return datetime.combine(work.today, time(), work.zone)


def take_reading(work: Work, typed: Mapping[str, str]) -> Reading:
    """Keep the wind and tide that were typed; raises `InvalidInput` with every fault."""
    reading = read_reading(typed, tuple(work.catalogue.spots), work.now, work.actor)
    save_reading(work.session, reading)
    work.commit()
    return reading


def today_at_strand(work: Work) -> tuple[SpotToday, ...]:
    """The spots at which lessons are held today, the shop's own first, each with its newest reading of today and its learners."""
    lessons = list_times(work, work.today, 1)
    bookings = load_bookings_of(work.session, [one.time.id for one in lessons])
    seen = assessed_among(work.session, [booking.id for booking in bookings])
    readings = load_readings_since(work.session, _midnight(work))
    home = work.catalogue.policy.shop.place
    names = dict.fromkeys(one.time.spot for one in lessons)
    riders = _Riders(work)
    in_order = sorted(names, key=lambda name: name != home) or [home]
    return tuple(
        _spot_today(
            work, name, readings.get(name), [one for one in lessons if one.time.spot == name], bookings, seen, riders
        )
        for name in in_order
    )


def _spot_today(
    work: Work,
    name: str,
    reading: Reading | None,
    lessons: Sequence[Calendared],
    bookings: Sequence[Booking],
    seen: set[int],
    riders: _Riders,
) -> SpotToday:
    spot = work.catalogue.spots.get(name)
    shown = []
    for one in lessons:
        there = [row for row in bookings if row.time.id == one.time.id and row.state in PLACE_STATES]
        learners = tuple(_learner(work, one, row, spot, reading, riders, row.id in seen) for row in there)
        is_open = not one.time.is_called_off and work.now < one.time.ends_at
        judged = [learner.verdict for learner in learners if learner.verdict is not None]
        shown.append(LessonToday(one, learners, why_call_off(judged) if is_open else ()))
    return SpotToday(name, spot, reading, tuple(shown))


def _learner(
    work: Work,
    one: Calendared,
    booking: Booking,
    spot: Spot | None,
    reading: Reading | None,
    riders: _Riders,
    was_seen: bool,
) -> Learner:
    quote = _quote_of(work, booking)
    code = quote.code if quote is not None else ""
    is_open = booking.state == "booked" and not one.time.is_called_off and work.now < one.time.ends_at
    if reading is None or spot is None or not is_open:
        return Learner(booking, None, was_seen, code)
    sizes = [part.gear.size for part in work.catalogue.sold_in("hand_wing")]
    rider = riders.of(booking, quote, spot)
    terms = work.catalogue.policy.lessons
    if isinstance(rider, str):
        return Learner(booking, verdict(None, one.kind, spot, reading, sizes, terms, rider), was_seen, code)
    return Learner(booking, verdict(rider, one.kind, spot, reading, sizes, terms), was_seen, code)


def _quote_of(work: Work, booking: Booking) -> Quote | None:
    if not booking.quote_token:
        return None
    try:
        return load_quote(work.session, booking.quote_token)
    except Unreadable:
        return None


def decline(work: Work, seen: Booking, because: str = "", method: str = "") -> Booking:
    """A learner declines because the wind is over their own window, at no cost; money that goes back at once by a method.

    The wind typed at the strand today has to say so. Where none was typed, or nothing can be worked out for them, the desk says
    why. Raises `Conflict` where that wind is not over their window or it is not the hour for it, and `InvalidInput`.
    """
    if len(because) > MOST_REASON or not because.isprintable():
        raise InvalidInput([Fault("declined_because", "This cannot be kept.", REASON_ACCEPTED)])
    judged = _verdict_today(work, seen) if may_decline(work, seen) else None
    if judged is not None and judged.state != "ask":
        own = [reason.words for reason in judged.reasons if reason.kind in OWN]
        if not own:
            words = (
                "The wind typed at the strand today is not over their own window: type it anew, or they call it off."
            )
            raise Conflict([Fault("went", words)])
        because = because or own[0]
    return mark_booking(work, seen, "declined", method=method, because=because)


def _verdict_today(work: Work, booking: Booking) -> Verdict | None:
    """The verdict on a learner in the newest wind of today at their lesson's spot; None where none was typed."""
    spot = work.catalogue.spots.get(booking.time.spot)
    reading = load_readings_since(work.session, _midnight(work)).get(booking.time.spot)
    one = read_time(work, booking.time.id)
    return _learner(work, one, booking, spot, reading, _Riders(work), was_seen=False).verdict


def call_off_today(shop: Shop, actor: str, numbers: Iterable[int], readings: Mapping[str, int]) -> CalledOff:
    """Call lessons of today off for good, as the page said they would be, each with its learners in a transaction of its own.

    `readings` are the numbers of the readings that the page was made from, by spot: where wind or tide were typed anew meanwhile,
    or a lesson is not to be called off any more, raises `Outdated` before anything is done.
    """
    with shop.reading(actor) as work:
        spots = today_at_strand(work)
    meant = {lesson.one.time.id: (spot, lesson) for spot in spots for lesson in spot.to_call_off}
    wanted = list(dict.fromkeys(numbers))
    if not wanted:
        raise InvalidInput([Fault("lesson", "No lesson is chosen.", "one lesson or more of the list")])
    for number in wanted:
        spot = meant[number][0] if number in meant else None
        if spot is None or spot.reading is None or readings.get(spot.name) != spot.reading.id:
            words = "Wind, tide or lessons have changed meanwhile: this is how it stands now. Nothing was called off."
            raise Outdated([Fault("lesson", words)])
    done: list[int] = []
    left: list[tuple[int, str]] = []
    for number in wanted:
        spot, lesson = meant[number]
        assert spot.reading is not None
        try:
            with shop.writing(actor) as work:
                call_weather(work, number, "final", "off", spot.reading.seen, lesson.told)
            done.append(number)
        except Conflict as error:
            left.append((number, error.faults[0].message))
    return CalledOff(tuple(done), tuple(left))
