"""Lessons at the desk: the calendar week by week, and a lesson with its learners, their fees and the call on its weather."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any, cast
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput, TooMany
from server.domain.lessons import (
    HALF,
    METHOD_WORDS,
    METHODS,
    Booking,
    BookingState,
    CallStage,
    CallVerdict,
    FeeStand,
    LessonTime,
    call_due,
    read_asked,
    read_conditions,
    read_day,
    read_number,
)
from server.usecases.assessments import SEEABLE_STATES, confirm_quote_of
from server.usecases.lessons import (
    CORRECTABLE,
    WENT,
    Calendared,
    book_lesson,
    booking_numbered,
    call_off_booking,
    call_weather,
    change_time,
    claimed_code_of,
    fee_code_of,
    hand_back,
    list_bookings,
    list_times,
    make_times,
    mark_booking,
    may_decline,
    may_move,
    move_booking,
    quote_code_of,
    read_time,
    repeat_booking,
    repeat_of,
    stand_of,
    state_if_called_off,
    take_fee,
    times_to_move_to,
    why_not,
)
from server.usecases.strand import decline
from server.usecases.work import Work, new_token
from server.web.pages.bookings import number_in
from server.web.pages.calls import RowNumber
from server.web.pages.deposits import entries_shown, fee_in
from server.web.pages.desk import when_words
from server.web.pages.forms import Form, TypedForm, amount, text_in
from server.web.pages.lesson_words import STATE_WORDS, day_and_hours, hours_of, long_day, to_choose, weather_words
from server.web.render import see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

WEEK = 7
TIME_FIELDS = ("kind", "day", "at", "minutes", "places", "instructor", "spot", "weeks")
ASKED_FIELDS = ("name", "email", "phone", "mass_kg", "swims_100m", "under_18", "code")
WIND_FIELDS = ("mean_kn", "gust_kn", "from_deg", "lightning")
FIELD_WORDS = {
    "kind": "Lesson",
    "day": "Day",
    "at": "Time",
    "minutes": "Minutes",
    "places": "Places",
    "instructor": "Instructor",
    "spot": "Where",
    "weeks": "Weeks",
    "name": "Name",
    "email": "E-mail",
    "phone": "Telephone",
    "mass_kg": "Weight",
    "swims_100m": "Swims 100 m",
    "code": "Code of a quote",
    "mean_kn": "Mean wind",
    "gust_kn": "Gusts",
    "from_deg": "From",
    "because": "Why",
    "amount": "Amount",
    "method": "How it was paid",
    "paid_for_voucher": "Paid for the voucher",
    "back": "How it went back",
    "share": "How much was taught",
    "to": "Another time",
    "declined_because": "Why they decline",
}
METHOD_CHOICES = tuple((method, METHOD_WORDS[method]) for method in METHODS)
Verb = Callable[[Work], Any]


@dataclass(frozen=True, slots=True)
class WeekTime:
    """A time of the week in words; `due` is the call that is to be made, or when it will be due."""

    number: int
    hours: str
    title: str
    spot: str
    instructor: str
    taken: int
    places: int
    left: int
    weather: str
    due: str
    is_to_call: bool


@dataclass(frozen=True, slots=True)
class WeekDay:
    """A day of the week with its times."""

    day: str
    is_today: bool
    times: tuple[WeekTime, ...]


@dataclass(frozen=True)
class WeekPage(TypedForm):
    """Seven days of the calendar, and the form for a new time."""

    title: str
    days: tuple[WeekDay, ...]
    before: str
    after: str
    this: str
    first: str
    kinds: tuple[tuple[str, str], ...]
    spots: tuple[tuple[str, str], ...]
    earliest: str
    key: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True, slots=True)
class LearnerShown:
    """Somebody who has booked, in words; amounts in cents."""

    id: int
    name: str
    email: str
    phone: str
    mass_kg: float | None
    note: str
    code: str
    quote: str
    claimed: str
    state: BookingState
    words: str
    fee: FeeStand
    fee_words: str
    token: str
    is_repeat: bool
    repeated_on: str


@dataclass(frozen=True, slots=True)
class ActsShown:
    """What can be done with a chosen learner's booking now."""

    may_mark: bool
    may_decline: bool
    off: str
    may_move: bool
    may_repeat: bool
    may_write_seen: bool
    others: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class LessonPage(TypedForm):
    """A lesson at the desk: its learners, the one who was chosen, and the call on its weather."""

    number: int
    title: str
    when: str
    spot: str
    instructor: str
    taken: int
    places: int
    left: int
    weather: str
    because: str
    week: str
    learners: tuple[LearnerShown, ...]
    booked: int
    chosen: LearnerShown | None
    acts: ActsShown | None
    methods: tuple[tuple[str, str], ...]
    calls: tuple[tuple[str, str], ...]
    is_open: bool
    may_book: bool
    may_call_on: bool
    may_call_off: bool
    has_final: bool
    reasons: tuple[str, ...] | None
    wind_typed: Mapping[str, str]
    spots: tuple[tuple[str, str], ...]
    key: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def has_fault_in(self, *names: str) -> bool:
        """Whether something is wrong in one of these fields, so that their form is unfolded."""
        return any(fault.field in names for fault in self.faults)


# The calendar.


@router.get("/desk/lessons")
def week(request: Request, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """Seven days of the calendar, from a day `from` or from today on."""
    with shop.reading(account.name) as work:
        page = _week_page(work, read_day(request.query_params.get("from", "")) or work.today)
        return pages.show(request, "lessons/week.html", page, work.catalogue.policy.shop, block="week")


def _week_page(
    work: Work, first: date, typed: Mapping[str, str] | None = None, faults: tuple[Fault, ...] = ()
) -> WeekPage:
    terms = work.catalogue.policy.shop
    # A day at the very end of what a date can say has no week after it.
    first = min(max(first, date(2000, 1, 1)), date(2200, 1, 1))
    by_day: dict[date, list[WeekTime]] = {first + timedelta(days=place): [] for place in range(WEEK)}
    for one in list_times(work, first, WEEK):
        by_day[one.time.starts_at.astimezone(ZoneInfo(terms.time_zone)).date()].append(_week_time(work, one))

    def address(days: int) -> str:
        return "/desk/lessons?" + urlencode({"from": (first + timedelta(days=days)).isoformat()})

    return WeekPage(
        title=f"{long_day(first, terms)} to {long_day(first + timedelta(days=WEEK - 1), terms)}",
        days=tuple(WeekDay(long_day(day, terms), day == work.today, tuple(times)) for day, times in by_day.items()),
        before=address(-WEEK),
        after=address(WEEK),
        this="" if first == work.today else "/desk/lessons",
        first=first.isoformat(),
        kinds=tuple((kind.kind, kind.title) for kind in work.catalogue.lessons.values()),
        spots=tuple((spot, spot) for spot in work.catalogue.spots),
        earliest=work.today.isoformat(),
        key=new_token(),
        typed=typed if typed is not None else {"day": max(first, work.today).isoformat(), "spot": terms.place},
        faults=faults,
    )


def _week_time(work: Work, one: Calendared) -> WeekTime:
    policy, time = work.catalogue.policy, one.time
    due = ""
    if one.to_call is not None:
        due = f"{one.to_call} call, {when_words(call_due(time, one.to_call, policy), work.now, policy.shop)}"
    elif time.final is None and time.starts_at > work.now and one.taken:
        stage: CallStage = "final" if time.provisional else "provisional"
        due = f"{stage} {when_words(call_due(time, stage, policy), work.now, policy.shop)}"
    return WeekTime(
        time.id,
        hours_of(time, policy.shop),
        one.kind.title,
        time.spot,
        time.instructor,
        one.taken,
        time.places,
        one.left,
        weather_words(time),
        due,
        one.to_call is not None,
    )


@router.post("/desk/lessons")
def make(request: Request, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Put a time on the calendar, or one every week, and to the week of the first."""
    typed = {name: text_in(form, name) for name in TIME_FIELDS}
    try:
        with shop.writing(account.name) as work:
            make_times(work, typed, text_in(form, "key"))
        return see_other("/desk/lessons?" + urlencode({"from": typed["day"]}))
    except InvalidInput as error:
        faults, status = error.faults, 422
    except Conflict as error:
        faults, status = error.faults, 409
    with shop.reading(account.name) as work:
        page = _week_page(work, read_day(typed["day"]) or work.today, typed, faults)
        return pages.show(request, "lessons/week.html", page, work.catalogue.policy.shop, status=status)


# A lesson.


@router.get("/desk/lessons/{number}")
def show(request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """A lesson; with a `learner` that learner's booking unfolded, with a wind typed what it says for this lesson."""
    asked = request.query_params
    typed = {name: asked.get(name, "").strip() for name in WIND_FIELDS}
    learner = asked.get("learner", "")
    with shop.reading(account.name) as work:
        faults: tuple[Fault, ...] = ()
        reasons: tuple[str, ...] | None = None
        try:
            seen = read_conditions(typed)
            reasons = why_not(work, read_time(work, number).time, seen) if seen else None
        except (InvalidInput, Conflict) as error:
            faults = error.faults
        chosen = int(learner) if learner.isascii() and learner.isdigit() and len(learner) <= 9 else 0
        page = _lesson_page(work, number, chosen=chosen, typed=typed, faults=faults, reasons=reasons)
        status = 422 if faults else 200
        return pages.show(
            request, "lessons/lesson.html", page, work.catalogue.policy.shop, block="weather_call", status=status
        )


def _lesson_page(
    work: Work,
    number: int,
    *,
    chosen: int = 0,
    typed: Mapping[str, str] | None = None,
    faults: tuple[Fault, ...] = (),
    reasons: tuple[str, ...] | None = None,
) -> LessonPage:
    one = read_time(work, number)
    policy, time = work.catalogue.policy, one.time
    bookings = list_bookings(work, number)
    picked = next((row for row in bookings if row.id == chosen), bookings[0] if len(bookings) == 1 else None)
    stages: tuple[CallStage, ...] = ("provisional", "final")
    learners = tuple(_learner(work, row) for row in bookings)
    spots = dict.fromkeys((*work.catalogue.spots, time.spot))
    return LessonPage(
        number=number,
        title=one.kind.title,
        when=day_and_hours(time, policy.shop),
        spot=time.spot,
        instructor=time.instructor,
        taken=one.taken,
        places=time.places,
        left=one.left,
        weather=weather_words(time),
        because=time.because,
        week="/desk/lessons?" + urlencode({"from": _local_day(work, time)}),
        learners=learners,
        booked=sum(row.state == "booked" for row in bookings),
        chosen=next((row for row in learners if picked and row.id == picked.id), None),
        acts=_acts(work, picked) if picked else None,
        methods=METHOD_CHOICES,
        calls=tuple(
            (stage, _call_words(work, time, stage, time.final if stage == "final" else time.provisional))
            for stage in stages
        ),
        is_open=not time.is_called_off and work.now < time.starts_at,
        may_book=one.left > 0 and work.now < time.starts_at,
        may_call_on=not time.is_called_off and work.now < time.starts_at,
        may_call_off=not time.is_called_off and work.now < time.ends_at,
        has_final=time.final is not None,
        reasons=reasons,
        wind_typed={name: (typed or {}).get(name, "") for name in WIND_FIELDS},
        spots=tuple((spot, spot) for spot in spots),
        key=new_token(),
        typed={**_as_typed(work, time), **_due_typed(work, picked), **(typed or {})},
        faults=faults,
    )


def _local_day(work: Work, time: LessonTime) -> str:
    return time.starts_at.astimezone(work.zone).date().isoformat()


def _as_typed(work: Work, time: LessonTime) -> dict[str, str]:
    """A time as it would be typed."""
    local = time.starts_at.astimezone(work.zone)
    return {
        "day": local.date().isoformat(),
        "at": f"{local:%H:%M}",
        "minutes": str(time.minutes),
        "places": str(time.places),
        "instructor": time.instructor,
        "spot": time.spot,
    }


def _due_typed(work: Work, booking: Booking | None) -> dict[str, str]:
    """What is to pay, as it would be typed."""
    due = stand_of(work, booking).due if booking else 0
    return {"amount": amount(due)} if due else {}


def _call_words(work: Work, time: LessonTime, stage: CallStage, verdict: CallVerdict | None) -> str:
    """What was called, or when the call is due."""
    if verdict is not None:
        return {"on": "on", "off": "off"}[verdict]
    terms = work.catalogue.policy.shop
    return f"due {when_words(call_due(time, stage, work.catalogue.policy), work.now, terms)}"


def _learner(work: Work, booking: Booking) -> LearnerShown:
    repeat = repeat_of(work, booking)
    terms = work.catalogue.policy.shop
    stand = stand_of(work, booking)
    return LearnerShown(
        id=booking.id,
        name=booking.name or "forgotten",
        email=booking.email,
        phone=booking.phone,
        mass_kg=booking.mass_kg,
        note=booking.note,
        code=fee_code_of(work, booking),
        quote=quote_code_of(work, booking),
        claimed=claimed_code_of(work, booking),
        state=booking.state,
        words=_state_words(booking),
        fee=stand,
        fee_words=_fee_words(stand),
        token=booking.token,
        is_repeat=booking.repeats is not None,
        repeated_on=day_and_hours(repeat.time, terms) if repeat else "",
    )


def _state_words(booking: Booking) -> str:
    words = STATE_WORDS[booking.state]
    share = booking.taught_share
    return f"{words}, {100 * share:.0f} % taught" if share is not None else words


def _fee_words(stand: FeeStand) -> str:
    """How a fee stands in one word or two."""
    if stand.is_back_with_kit:
        return "given back with a kit"
    if stand.to_give_back:
        return "to give back"
    if stand.due:
        return "to pay"
    return "paid" if stand.paid or stand.voucher_more else "nothing to pay"


def _acts(work: Work, booking: Booking) -> ActsShown:
    time = booking.time
    is_repeated = repeat_of(work, booking) is not None
    can_move = may_move(work, booking, is_desk=True)
    is_short = booking.state == "cut_short" and (booking.taught_share or 0) < HALF
    can_repeat = is_short and not is_repeated
    off = state_if_called_off(work, booking)
    others = times_to_move_to(work, time.kind) if can_move or can_repeat else []
    return ActsShown(
        may_mark=booking.state in CORRECTABLE and not is_repeated and work.now >= time.starts_at,
        may_decline=may_decline(work, booking),
        off=STATE_WORDS[off] if off else "",
        may_move=can_move,
        may_repeat=can_repeat,
        may_write_seen=booking.state in SEEABLE_STATES and work.now >= time.starts_at,
        others=tuple(to_choose(others, work.catalogue.policy.shop, but_for=time.id)),
    )


def _done(
    request: Request,
    pages: PagesOf,
    shop: ShopOf,
    who: str,
    number: int,
    verb: Verb,
    *,
    chosen: int = 0,
    typed: Mapping[str, str] | None = None,
) -> Response:
    """Do something in a lesson and show it again; what bars it is said on its page, with all that was typed."""
    try:
        with shop.writing(who) as work:
            done = verb(work)
        if isinstance(done, Booking):
            return see_other(f"/desk/lessons/{done.time.id}?learner={done.id}")
        return see_other(f"/desk/lessons/{number}")
    except InvalidInput as error:
        faults, status = error.faults, 422
    except Conflict as error:
        faults, status = error.faults, 409
    except TooMany as error:
        faults, status = (Fault(error.field, str(error)),), 429
    with shop.reading(who) as work:
        page = _lesson_page(work, number, chosen=chosen, typed=typed, faults=faults)
        return pages.show(request, "lessons/lesson.html", page, work.catalogue.policy.shop, status=status)


@router.post("/desk/lessons/{number}/change")
def change(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Change when, where, by whom or for how many."""
    typed = {name: text_in(form, name) for name in TIME_FIELDS}
    return _done(request, pages, shop, account.name, number, lambda work: change_time(work, number, typed), typed=typed)


@router.post("/desk/lessons/{number}/call")
def call(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Call a lesson on or off; off for good means all its learners, who are told."""
    typed = {name: text_in(form, name) for name in (*WIND_FIELDS, "because")}
    said = text_in(form, "call").partition("-")

    def verb(work: Work) -> LessonTime:
        if said[0] not in ("provisional", "final") or said[2] not in ("on", "off"):
            raise InvalidInput([Fault("call", "Say which call it is.", "provisional or final, on or off")])
        seen = read_conditions(typed)
        stage, verdict = cast(CallStage, said[0]), cast(CallVerdict, said[2])
        return call_weather(work, number, stage, verdict, seen, typed["because"])

    return _done(request, pages, shop, account.name, number, verb, typed=typed)


@router.post("/desk/lessons/{number}/book")
def book(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Book a place for somebody."""
    typed = {name: text_in(form, name) for name in ASKED_FIELDS}

    def verb(work: Work) -> Booking:
        return book_lesson(work, number, read_asked(typed), account.id, text_in(form, "key"))

    return _done(request, pages, shop, account.name, number, verb, typed=typed)


# A learner's booking.


def _with_booking(
    request: Request,
    account: StaffOf,
    form: Form,
    shop: ShopOf,
    pages: PagesOf,
    number: int,
    verb: Callable[[Work, Booking], Booking],
    *fields: str,
) -> Response:
    """Do something with a booking and show its lesson again, or the one that it moved to."""
    with shop.reading(account.name) as work:
        lesson = booking_numbered(work, number).time.id
    typed = {name: text_in(form, name) for name in fields}

    def with_it(work: Work) -> Booking:
        return verb(work, booking_numbered(work, number))

    return _done(request, pages, shop, account.name, lesson, with_it, chosen=number, typed=typed)


def _method_in(form: Form, name: str, *, is_needed: bool) -> str:
    method = text_in(form, name)
    if method not in METHODS and (method or is_needed):
        raise InvalidInput([Fault(name, "Say how.", "one of: " + ", ".join(METHOD_WORDS.values()))])
    return method


@router.post("/desk/bookings/{number}/fee")
def fee(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Record what was paid, and how; never a card's number."""

    def verb(work: Work, booking: Booking) -> Booking:
        paid, faults = fee_in(form)
        _method_in(form, "method", is_needed=True)
        if faults:
            raise InvalidInput(faults)
        return take_fee(
            work,
            booking,
            paid.amount,
            paid.method,
            paid_for_voucher=paid.paid_for_voucher,
            expected_entries=entries_shown(form),
        )

    return _with_booking(request, account, form, shop, pages, number, verb, "amount", "method", "paid_for_voucher")


@router.post("/desk/bookings/{number}/back")
def back(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Record that what is to be given back was handed over, and how."""

    def verb(work: Work, booking: Booking) -> Booking:
        method = _method_in(form, "back", is_needed=True)
        return hand_back(work, booking, method, expected_entries=entries_shown(form))

    return _with_booking(request, account, form, shop, pages, number, verb, "back")


@router.post("/desk/bookings/{number}/went")
def went(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Say how it went for a learner: taken, missed, cut short, declined; or that they called it off, in time or late."""

    def verb(work: Work, booking: Booking) -> Booking:
        said = text_in(form, "went")
        if said == "called_off":
            return call_off_booking(work, booking)
        if said == "declined":
            because = text_in(form, "declined_because")
            return decline(work, booking, because, _method_in(form, "went_back", is_needed=False))
        if said not in WENT:
            raise InvalidInput([Fault("went", "Say how it went.", ", ".join(STATE_WORDS[one] for one in WENT))])
        taught = text_in(form, "share")
        if said == "cut_short" and read_number(taught, 0, 99) is None:
            raise InvalidInput([Fault("share", "How much was taught is needed.", "a number from 0 to 99 %")])
        share = (read_number(taught, 0, 99) or 0) / 100
        method = _method_in(form, "went_back", is_needed=False)
        return mark_booking(work, booking, said, share, method)

    fields = ("went", "share", "went_back", "declined_because")
    return _with_booking(request, account, form, shop, pages, number, verb, *fields)


@router.post("/desk/bookings/{number}/quote")
def quote(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Confirm that the quote whose code was typed at booking is the learner's own."""
    return _with_booking(request, account, form, shop, pages, number, confirm_quote_of)


@router.post("/desk/bookings/{number}/move")
def move(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Move a booking to another time with a place, or repeat one of which less than half was taught."""

    def verb(work: Work, booking: Booking) -> Booking:
        to = number_in(form, "to")
        if text_in(form, "how") == "repeat":
            return repeat_booking(work, booking, to)
        return move_booking(work, booking, to, is_desk=True)

    return _with_booking(request, account, form, shop, pages, number, verb, "to")
