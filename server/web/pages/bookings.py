"""Lessons for customers: times with places left, a place in one, and the booking under its own address."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta
from itertools import groupby

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput, TooMany
from server.domain.lessons import (
    METHOD_WORDS,
    METHODS,
    Booking,
    BookingState,
    FeeStand,
    LessonTime,
    call_due,
    read_asked,
    settle,
)
from server.outside.calendar_file import CALENDAR_TYPE
from server.usecases.lessons import (
    Calendared,
    book_lesson,
    calendar_of,
    call_off_booking,
    fee_code_of,
    kind_of,
    list_open_times,
    may_move,
    move_booking,
    read_booking,
    read_time,
    repeat_of,
    stand_of,
    state_if_called_off,
)
from server.usecases.work import Work, new_token
from server.web.pages.calls import RowNumber
from server.web.pages.forms import Form, TypedForm, text_in
from server.web.pages.lesson_words import (
    day_and_hour,
    day_and_hours,
    hours_of,
    places_words,
    to_choose,
    weather_words,
)
from server.web.render import see_other
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

FIELDS = ("name", "email", "phone", "mass_kg", "swims_100m", "under_18", "code")
FIELD_WORDS = {
    "name": "Name",
    "email": "E-mail",
    "phone": "Telephone",
    "mass_kg": "Weight",
    "swims_100m": "Swims 100 m",
    "code": "Code of a quote",
    "to": "Another time",
}
PRIVATE = {"X-Robots-Tag": "noindex, nofollow", "Cache-Control": "no-store"}
BRING = (
    "Swimwear, a towel, something warm for afterwards, and water to drink.",
    "A wetsuit, a helmet and a buoyancy vest if you have them; if not, ask us beforehand about your size.",
    "Anything the instructor should know before you go out: tell them on the beach. Please write nothing medical here.",
)


@dataclass(frozen=True, slots=True)
class TimeShown:
    """A time with places left, in words."""

    number: int
    day: str
    hours: str
    left: str
    instructor: str
    weather: str


@dataclass(frozen=True, slots=True)
class SpotShown:
    """The times at a spot."""

    spot: str
    times: tuple[TimeShown, ...]


@dataclass(frozen=True, slots=True)
class KindShown:
    """A kind of lesson: its fee in cents, how long, for how many, and its times by spot."""

    kind: str
    title: str
    fee: int
    minutes: int
    places: int
    needs_wind: bool
    spots: tuple[SpotShown, ...]


@dataclass(frozen=True)
class LessonsPage:
    """The lessons that can be booked."""

    kinds: tuple[KindShown, ...]
    bring: tuple[str, ...]
    call_off_hours: int
    provisional_hour: int
    final_hours: int


@dataclass(frozen=True)
class PlacePage(TypedForm):
    """A time and the form for a place in it."""

    number: int
    title: str
    when: str
    spot: str
    instructor: str
    left: str
    fee: int
    weather: str
    free_until: str
    kept_late: str
    final_hours: int
    closed: str
    bring: tuple[str, ...]
    key: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def words_of(self, name: str) -> str:
        """What a field asks for; empty for what is no field."""
        return FIELD_WORDS.get(name, "")


@dataclass(frozen=True)
class BookingPage:
    """A booking as its learner sees it: how it stands, the fee in cents, and what can still be done.

    Called off now (`off`), `off_kept` of the fee would stay with the shop, and the fee would stand as `off_fee`.
    """

    token: str
    code: str
    state: BookingState
    title: str
    when: str
    spot: str
    instructor: str
    weather: str
    because: str
    fee: FeeStand
    settled: str
    is_repeat: bool
    repeat_token: str
    methods: str
    off: BookingState | None
    off_words: str
    off_kept: int
    off_fee: FeeStand
    free_until: str
    why_free: str
    is_forgotten: bool
    calls: tuple[str, str]
    others: tuple[tuple[str, str], ...]
    may_move: bool
    bring: tuple[str, ...]
    faults: tuple[Fault, ...] = ()

    def value(self, _name: str) -> str:
        """Nothing is typed here."""
        return ""

    def fault_at(self, name: str) -> Fault | None:
        """What is wrong with a choice."""
        return next((fault for fault in self.faults if fault.field == name), None)


# Times with places left.


@router.get("/lessons")
def lessons(request: Request, shop: ShopOf, pages: PagesOf) -> Response:
    """The times of the next weeks with places left, by kind and spot."""
    with shop.reading() as work:
        policy = work.catalogue.policy
        terms = policy.lessons
        page = LessonsPage(
            _kinds(work), BRING, terms.call_off_hours, terms.provisional_call_hour, terms.final_call_hours
        )
        return pages.show(request, "lessons/lessons.html", page, policy.shop)


def _kinds(work: Work) -> tuple[KindShown, ...]:
    """All kinds that the shop lists, each with its times by spot."""
    times = sorted(list_open_times(work), key=lambda one: (one.time.kind, one.time.spot))
    by_kind = {kind: list(group) for kind, group in groupby(times, lambda one: one.time.kind)}
    without_wind = work.catalogue.policy.lessons.without_wind
    return tuple(
        KindShown(
            kind.kind,
            kind.title,
            kind.fee,
            kind.minutes,
            kind.places,
            kind.kind not in without_wind,
            tuple(
                SpotShown(spot, tuple(_time(work, one) for one in group))
                for spot, group in groupby(by_kind.get(kind.kind, ()), lambda one: one.time.spot)
            ),
        )
        for kind in work.catalogue.lessons.values()
    )


def _time(work: Work, one: Calendared) -> TimeShown:
    terms = work.catalogue.policy.shop
    day = day_and_hours(one.time, terms).rpartition(", ")[0]
    return TimeShown(
        one.time.id,
        day,
        hours_of(one.time, terms),
        places_words(one.left),
        one.time.instructor,
        weather_words(one.time),
    )


@router.get("/lessons/{number}")
def place(request: Request, number: RowNumber, shop: ShopOf, pages: PagesOf) -> Response:
    """A time, with the form for a place in it."""
    with shop.reading() as work:
        return pages.show(request, "lessons/place.html", _place_page(work, number), work.catalogue.policy.shop)


def _place_page(
    work: Work, number: int, typed: Mapping[str, str] | None = None, faults: tuple[Fault, ...] = ()
) -> PlacePage:
    one = read_time(work, number)
    policy = work.catalogue.policy
    is_open = any(number == other.time.id for other in list_open_times(work))
    closed = "" if is_open else "No place in this lesson can be booked here (any more)."
    if not is_open and one.left and work.now < one.time.starts_at:
        closed = "It begins soon, so its last places are booked at the shop: call us."
    return PlacePage(
        number=number,
        title=one.kind.title,
        when=day_and_hours(one.time, policy.shop),
        spot=one.time.spot,
        instructor=one.time.instructor,
        left=places_words(one.left),
        fee=one.kind.fee,
        weather=weather_words(one.time),
        free_until=_free_until(work, one.time),
        kept_late=f"{100 * policy.lessons.kept_if_late:.0f} %",
        final_hours=policy.lessons.final_call_hours,
        closed=closed,
        bring=BRING,
        key=new_token(),
        typed=typed or {},
        faults=faults,
    )


def _free_until(work: Work, time: LessonTime) -> str:
    """Until when calling off is free, by the shop's clock; empty where that has passed."""
    until = time.starts_at - timedelta(hours=work.catalogue.policy.lessons.call_off_hours)
    return day_and_hour(until, work.catalogue.policy.shop) if until >= work.now else ""


@router.post("/lessons/{number}/book")
def book(request: Request, number: RowNumber, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Book a place, and on to the booking; what is wrong is said beside its field, with all that was typed."""
    typed = {name: text_in(form, name) for name in FIELDS}
    try:
        with shop.writing() as work:
            booking = book_lesson(work, number, read_asked(typed), key=text_in(form, "key"))
        return see_other(f"/bookings/{booking.token}")
    except InvalidInput as error:
        faults, status = error.faults, 422
    except Conflict as error:
        faults, status = error.faults, 409
    except TooMany as error:
        faults, status = (Fault(error.field, str(error)),), 429
    with shop.reading() as work:
        page = _place_page(work, number, typed, faults)
        return pages.show(request, "lessons/place.html", page, work.catalogue.policy.shop, status=status)


# The booking.


@router.get("/bookings/{token}")
def show(request: Request, token: str, shop: ShopOf, pages: PagesOf) -> Response:
    """A booking as its learner sees it."""
    with shop.reading() as work:
        return _shown(request, work, pages, token)


def _shown(
    request: Request, work: Work, pages: PagesOf, token: str, faults: tuple[Fault, ...] = (), status: int = 200
) -> Response:
    page = _booking_page(work, token, faults)
    answer = pages.show(request, "lessons/booking.html", page, work.catalogue.policy.shop, status=status)
    answer.headers.update(PRIVATE)
    return answer


def _booking_page(work: Work, token: str, faults: tuple[Fault, ...]) -> BookingPage:
    booking = read_booking(work, token)
    policy, time = work.catalogue.policy, booking.time
    stand = stand_of(work, booking)
    off = state_if_called_off(work, booking)
    settled = settle(off, booking.fee, policy.lessons) if off else None
    repeat = repeat_of(work, booking)
    can_move = may_move(work, booking, is_desk=False)
    others = to_choose(list_open_times(work, time.kind), policy.shop, but_for=time.id if off else 0) if can_move else []
    is_over = booking.state not in ("booked", "taken")
    return BookingPage(
        token=token,
        code=fee_code_of(work, booking),
        state=booking.state,
        title=kind_of(work, time).title,
        when=day_and_hours(time, policy.shop),
        spot=time.spot,
        instructor=time.instructor,
        weather=weather_words(time) if booking.state == "booked" else "",
        because=time.because if time.provisional or time.final else "",
        fee=stand,
        settled=settle(booking.state, stand.fee, policy.lessons, booking.taught_share).because if is_over else "",
        is_repeat=booking.repeats is not None,
        repeat_token=repeat.token if repeat else "",
        methods=", ".join(METHOD_WORDS[method] for method in METHODS),
        off=off,
        off_words=settled.because if settled else "",
        off_kept=settled.kept if settled else 0,
        off_fee=stand_of(work, replace(booking, state=off)) if off else stand,
        free_until="it begins" if booking.is_free_to_go else _free_until(work, time),
        why_free=_why_free(booking),
        is_forgotten=booking.is_forgotten,
        calls=(
            day_and_hour(call_due(time, "provisional", policy), policy.shop),
            day_and_hour(call_due(time, "final", policy), policy.shop),
        ),
        others=tuple(others),
        may_move=can_move,
        bring=BRING,
        faults=faults,
    )


def _why_free(booking: Booking) -> str:
    """Why calling off is free until the lesson begins; empty where it goes by the hours."""
    if not booking.is_free_to_go:
        return ""
    return "We moved this lesson." if booking.moved_by_shop else "For now it looks off."


@router.post("/bookings/{token}/call-off")
def call_off(request: Request, token: str, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Call it off for what the page said that it costs."""
    try:
        with shop.writing() as work:
            booking = read_booking(work, token)
            expected = text_in(form, "costs")
            if expected not in ("called_off", "called_off_late"):
                raise InvalidInput([Fault("costs", "Look at what calling off costs first.")])
            call_off_booking(work, booking, expected)
        return see_other(f"/bookings/{token}")
    except (InvalidInput, Conflict) as error:
        faults, status = error.faults, 422 if isinstance(error, InvalidInput) else 409
    with shop.reading() as work:
        return _shown(request, work, pages, token, faults, status)


@router.post("/bookings/{token}/move")
def move(request: Request, token: str, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Move to another time that has a place."""
    try:
        with shop.writing() as work:
            booking = read_booking(work, token)
            move_booking(work, booking, number_in(form, "to"), is_desk=False)
        return see_other(f"/bookings/{token}")
    except InvalidInput as error:
        faults, status = error.faults, 422
    except Conflict as error:
        faults, status = error.faults, 409
    except TooMany as error:
        faults, status = (Fault("to", str(error)),), 429
    with shop.reading() as work:
        return _shown(request, work, pages, token, faults, status)


def number_in(form: Form, name: str) -> int:
    """The number of a time that was chosen; raises `InvalidInput`."""
    text = text_in(form, name)
    if not text.isascii() or not text.isdigit() or len(text) > 9:
        raise InvalidInput([Fault(name, "Choose a time.", "one of the times in the list")])
    return int(text)


@router.get("/bookings/{token}/lesson.ics")
def calendar(token: str, shop: ShopOf) -> Response:
    """The booking for a calendar; once it was called off, the same appointment cancelled."""
    with shop.reading() as work:
        text = calendar_of(work, read_booking(work, token))
    headers = {"Content-Disposition": 'attachment; filename="lesson.ics"', **PRIVATE}
    return Response(text.encode("utf-8"), media_type=CALENDAR_TYPE, headers=headers)
