"""Today at the strand: wind and tide typed once, a verdict on each of the day's learners, and the call-offs that follow."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.lessons import Booking
from server.domain.policy import ShopTerms
from server.domain.strand import Reading, State, compass_word
from server.domain.wind import window_words
from server.usecases.lessons import list_bookings, read_time
from server.usecases.strand import (
    CalledOff,
    Learner,
    LessonToday,
    SpotToday,
    call_off_today,
    take_reading,
    today_at_strand,
)
from server.usecases.work import Work
from server.web.pages.forms import Form, TypedForm, text_in, texts_in
from server.web.pages.lesson_words import STATE_WORDS, hours_of, long_day, weather_words
from server.web.render import see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

FIELDS = ("spot", "mean_kn", "gust_kn", "from_deg", "tide_m", "lightning")
FIELD_WORDS = {
    "spot": "Where",
    "mean_kn": "Mean wind",
    "gust_kn": "Gusts",
    "from_deg": "From",
    "tide_m": "Tide",
    "lesson": "Lesson",
}
MOST_NUMBERS = 60
_STATE_SAID: dict[State, str] = {"go": "go", "no": "no", "ask": "ask"}


@dataclass(frozen=True, slots=True)
class LearnerShown:
    """A learner with the verdict in words."""

    booking: int
    name: str
    email: str
    phone: str
    mass_kg: float | None
    note: str
    quote: str
    state: str
    """`go`, `no` or `ask`; empty where there is no verdict, and then `says` how the booking stands."""
    says: str
    reasons: tuple[str, ...]
    may_decline: bool
    was_seen: bool


@dataclass(frozen=True, slots=True)
class LessonShown:
    """A lesson of today in words."""

    number: int
    title: str
    hours: str
    instructor: str
    weather: str
    because: tuple[str, ...]
    learners: tuple[LearnerShown, ...]

    @property
    def to_ask(self) -> tuple[LearnerShown, ...]:
        """Those who may decline."""
        return tuple(one for one in self.learners if one.may_decline)


@dataclass(frozen=True, slots=True)
class SpotShown:
    """A spot in words: its reading with its age, what is safe there, and its lessons."""

    name: str
    wind: str
    tide: str
    age: str
    is_old: bool
    reading: int
    is_listed: bool
    about: str
    lessons: tuple[LessonShown, ...]
    to_call_off: tuple[LessonShown, ...]


@dataclass(frozen=True, slots=True)
class ToldShown:
    """Somebody whose lesson was called off: told by e-mail, or to be called."""

    name: str
    lesson: str
    email: str
    phone: str


@dataclass(frozen=True)
class StrandPage(TypedForm):
    """All spots of today, and the form for wind and tide."""

    today: str
    spots: tuple[SpotShown, ...]
    all_spots: tuple[tuple[str, str], ...]
    called_off: tuple[str, ...]
    told: tuple[ToldShown, ...]
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    @property
    def to_call_off(self) -> int:
        """How many lessons would be called off."""
        return sum(len(spot.to_call_off) for spot in self.spots)

    @staticmethod
    def words_of(name: str) -> str:
        """What a field asks for, in a few words."""
        return FIELD_WORDS.get(name, "")


@dataclass(frozen=True)
class CallOffsPage:
    """What would be called off and why, and who may decline, to be confirmed once; what was called off although some was not."""

    today: str
    spots: tuple[SpotShown, ...]
    called_off: tuple[str, ...] = ()
    told: tuple[ToldShown, ...] = ()
    faults: tuple[Fault, ...] = ()

    @property
    def number(self) -> int:
        """How many lessons would be called off."""
        return sum(len(spot.to_call_off) for spot in self.spots)


@router.get("/desk/strand")
def show(request: Request, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The day by spots; lessons `called` off just now are named with who was told."""
    with shop.reading(account.name) as work:
        page = _strand_page(
            work, _numbers(request.query_params.getlist("called")), request.query_params.get("spot", "")
        )
        return pages.show(request, "strand/strand.html", page, work.catalogue.policy.shop)


@router.post("/desk/strand")
def take(request: Request, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Keep wind and tide at a spot, and show what they say."""
    typed = {name: text_in(form, name) for name in FIELDS}
    try:
        with shop.writing(account.name) as work:
            take_reading(work, typed)
        return see_other("/desk/strand?" + urlencode({"spot": typed["spot"]}))
    except InvalidInput as error:
        faults = error.faults
    with shop.reading(account.name) as work:
        page = _strand_page(work, (), "", typed, faults)
        return pages.show(request, "strand/strand.html", page, work.catalogue.policy.shop, status=422)


@router.get("/desk/strand/call-offs")
def look(request: Request, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """What would be called off, and why; it changes nothing."""
    with shop.reading(account.name) as work:
        return pages.show(request, "strand/call_offs.html", _call_offs_page(work), work.catalogue.policy.shop)


@router.post("/desk/strand/call-offs")
def call_off(request: Request, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Call the lessons off that are ticked; where something has changed meanwhile nothing is, and the page shows how it stands."""
    told = [text.partition(" ") for text in texts_in(form, "reading")]
    readings = {spot: int(number) for number, _, spot in told if _numbers([number])}
    try:
        done = call_off_today(shop, account.name, _numbers(texts_in(form, "lesson")), readings)
        faults: tuple[Fault, ...] = ()
        status = 409
    except InvalidInput as error:
        done, faults, status = CalledOff(), error.faults, 422
    except Conflict as error:
        done, faults, status = CalledOff(), error.faults, 409
    if not faults and not done.left:
        return see_other("/desk/strand?" + urlencode({"called": done.done}, doseq=True))
    with shop.reading(account.name) as work:
        faults += tuple(Fault("lesson", f"Not called off: {_titled(work, number)}. {why}") for number, why in done.left)
        page = _call_offs_page(work, faults, done.done)
        return pages.show(request, "strand/call_offs.html", page, work.catalogue.policy.shop, status=status)


def _numbers(texts: list[str]) -> tuple[int, ...]:
    """Numbers of rows among texts; what is none is left out."""
    return tuple(int(text) for text in texts[:MOST_NUMBERS] if text.isascii() and text.isdigit() and len(text) <= 9)


def _strand_page(
    work: Work,
    called: tuple[int, ...],
    chosen: str,
    typed: Mapping[str, str] | None = None,
    faults: tuple[Fault, ...] = (),
) -> StrandPage:
    terms = work.catalogue.policy.shop
    spots = today_at_strand(work)
    listed = list(work.catalogue.spots)
    first = next((spot.name for spot in spots if spot.spot is not None and spot.reading is None), terms.place)
    return StrandPage(
        today=long_day(work.today, terms),
        spots=tuple(_spot(work, spot) for spot in spots),
        all_spots=tuple((name, name) for name in listed),
        called_off=_called_off(work, called),
        told=_told(work, called),
        typed={"spot": chosen if chosen in listed else first} if typed is None else typed,
        faults=faults,
    )


def _titled(work: Work, number: int) -> str:
    one = read_time(work, number)
    return f"{one.kind.title}, {hours_of(one.time, work.catalogue.policy.shop)}"


def _called_off(work: Work, numbers: tuple[int, ...]) -> tuple[str, ...]:
    """Those of some lessons that are called off, in words."""
    return tuple(_titled(work, number) for number in numbers if read_time(work, number).time.is_called_off)


def _told(work: Work, numbers: tuple[int, ...]) -> tuple[ToldShown, ...]:
    """The learners of those of some lessons that are called off."""
    off = [one for one in (read_time(work, number) for number in numbers) if one.time.is_called_off]
    return tuple(
        ToldShown(row.name or "forgotten", hours_of(one.time, work.catalogue.policy.shop), row.email, row.phone)
        for one in off
        for row in list_bookings(work, one.time.id)
        if row.state == "called_off_by_shop"
    )


def _call_offs_page(work: Work, faults: tuple[Fault, ...] = (), called: tuple[int, ...] = ()) -> CallOffsPage:
    spots = tuple(_spot(work, spot) for spot in today_at_strand(work))
    today = long_day(work.today, work.catalogue.policy.shop)
    return CallOffsPage(today, spots, _called_off(work, called), _told(work, called), faults)


def _spot(work: Work, spot: SpotToday) -> SpotShown:
    terms = work.catalogue.policy.shop
    reading = spot.reading
    return SpotShown(
        name=spot.name,
        wind=_wind_words(reading) if reading else "",
        tide=f"{reading.tide_m:g} m above low water" if reading else "",
        age=f"{age_words(reading.at, work.now)}, by {reading.by}" if reading else "",
        is_old=reading is not None and reading.is_old(work.now),
        reading=reading.id if reading else 0,
        is_listed=spot.spot is not None,
        about=_about(spot),
        lessons=tuple(_lesson(lesson, terms) for lesson in spot.lessons),
        to_call_off=tuple(_lesson(lesson, terms) for lesson in spot.to_call_off),
    )


def _wind_words(reading: Reading) -> str:
    seen = reading.seen
    words = f"{seen.mean_kn:g} kn, gusts {seen.gust_kn:g} kn, from {seen.from_deg:.0f}° ({compass_word(seen.from_deg)})"
    return f"{words}, lightning about" if seen.has_lightning else words


def age_words(at: datetime, now: datetime) -> str:
    """How long ago a moment was: just now, 25 min ago, 2 h ago."""
    minutes = int((now - at) / timedelta(minutes=1))
    if minutes < 1:
        return "just now"
    return f"{minutes} min ago" if minutes < 60 else f"{minutes // 60} h ago"


def _about(spot: SpotToday) -> str:
    """What is safe at a spot and how deep it is, in words."""
    if spot.spot is None:
        return "The catalogue lists this spot no more, so nothing is said of it."
    safe = spot.spot
    parts = []
    if safe.safe_from_deg is not None and safe.safe_to_deg is not None:
        share = f"{100 * safe.safe_share:.0f} % of its wind"
        parts.append(f"Safe with wind from {safe.safe_from_deg:.0f}° to {safe.safe_to_deg:.0f}°, {share}")
    if safe.min_depth_m is not None:
        tide = spot.reading.tide_m if spot.reading else 0.0
        when = "now" if spot.reading else "at low water"
        parts.append(f"{safe.min_depth_m + tide:.1f} m deep {when}")
    parts.append(f"gusts usually {safe.gust_ratio:g} times the mean")
    return "; ".join(parts) + "."


def _lesson(lesson: LessonToday, terms: ShopTerms) -> LessonShown:
    one = lesson.one
    return LessonShown(
        number=one.time.id,
        title=one.kind.title,
        hours=hours_of(one.time, terms),
        instructor=one.time.instructor,
        weather=weather_words(one.time),
        because=lesson.because,
        learners=tuple(_learner(learner) for learner in lesson.learners),
    )


def _learner(learner: Learner) -> LearnerShown:
    booking: Booking = learner.booking
    judged = learner.verdict
    says = STATE_WORDS[booking.state]
    if judged is not None and judged.state == "go":
        says = f"{judged.wing_m2:g} m²" if judged.wing_m2 else "behind the boat"
        if judged.window is not None:
            says += f", their window {window_words(judged.window)}"
    elif judged is not None:
        says = ""
    return LearnerShown(
        booking=booking.id,
        name=booking.name or "forgotten",
        email=booking.email,
        phone=booking.phone,
        mass_kg=booking.mass_kg,
        note=booking.note,
        quote=learner.code,
        state=_STATE_SAID[judged.state] if judged else "",
        says=says,
        reasons=tuple(reason.words for reason in judged.reasons) if judged else (),
        may_decline=judged is not None and judged.may_decline,
        was_seen=learner.was_seen,
    )
