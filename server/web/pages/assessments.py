"""What was seen on the water: the form for a phone, what was written down before, and the worker that opens the form without signal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.assessments import LONG_FLIGHT_M, Assessed, Seen, moment_seen, read_seen
from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.policy import ShopTerms
from server.usecases.assessments import SEEABLE_STATES, is_behind_a_boat, keep_assessment, list_assessments
from server.usecases.lessons import booking_numbered, kind_of, quote_code_of
from server.usecases.work import Work, new_token
from server.web.pages.calls import RowNumber
from server.web.pages.forms import Form, TypedForm, text_in
from server.web.pages.lesson_words import day_and_hours
from server.web.render import moment_words, see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf
from server.web.static import STATIC

router = APIRouter(include_in_schema=False)

FIELDS = ("to_feet", "control", "longest_flight", "confidence", "wing_handling", "setup", "sentence")
TO_FEET = (("quick", "quick"), ("average", "average"), ("slow", "slow, or with a hand"))
CONTROL = (("none", "none yet"), ("holds_a_course", "holds a course"), ("turns", "turns while flying"))
CONFIDENCE = tuple((str(number), str(number)) for number in range(1, 6))
HANDLING = (("none", "none yet"), ("some", "some"), ("practised", "practised"), ("not_seen", "not seen today"))
SETUP = (("as_worked_out", "as worked out"), ("steady", "steady"), ("lively", "lively"))
FIELD_WORDS = {
    "to_feet": "To their feet",
    "control": "Control",
    "longest_flight": "Longest flight",
    "confidence": "Confidence",
    "wing_handling": "Hand wing",
    "setup": "Set-up",
    "sentence": "A sentence",
}


@dataclass(frozen=True, slots=True)
class SeenShown:
    """What was seen, in words, and what came of it."""

    when: str
    by: str
    rows: tuple[tuple[str, str], ...]
    sentence: str
    quote: str
    revision: int | None
    because: str


@dataclass(frozen=True)
class SeenPage(TypedForm):
    """The form of a booking, and what was written down of its lesson before."""

    number: int
    name: str
    lesson: str
    when: str
    where: str
    lesson_number: int
    quote: str
    claims_quote: bool
    is_behind_a_boat: bool
    may_write: bool
    key: str
    before: tuple[SeenShown, ...]
    choices: Mapping[str, tuple[tuple[str, str], ...]]
    long_flight_m: float
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    @staticmethod
    def words_of(name: str) -> str:
        """What a field asks for, in a few words; empty for what is no field of the form."""
        return FIELD_WORDS.get(name, "")


CHOICES = {
    "to_feet": TO_FEET,
    "control": CONTROL,
    "confidence": CONFIDENCE,
    "wing_handling": HANDLING,
    "setup": SETUP,
}


@router.get("/desk/bookings/{number}/seen")
def show(request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The form for what was seen in a booking's lesson, below what was written down before."""
    with shop.reading(account.name) as work:
        page = _page(work, number)
        return pages.show(request, "assessments/seen.html", page, work.catalogue.policy.shop)


@router.post("/desk/bookings/{number}/seen")
def write(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Keep what was seen; sent again under its key, also hours later by a phone, it is kept once."""
    typed = {name: text_in(form, name) for name in FIELDS}
    key = text_in(form, "key")
    try:
        with shop.writing(account.name) as work:
            starts_at = booking_numbered(work, number).time.starts_at
            seen = read_seen(typed, moment_seen(text_in(form, "at"), starts_at, work.now))
            keep_assessment(work, number, seen, key)
        return see_other(f"/desk/bookings/{number}/seen")
    except InvalidInput as error:
        faults, status = error.faults, 422
    except Conflict as error:
        faults, status = error.faults, 409
    with shop.reading(account.name) as work:
        page = _page(work, number, typed, faults)
        return pages.show(request, "assessments/seen.html", page, work.catalogue.policy.shop, status=status)


@cache
def _offline() -> bytes:
    return (STATIC / "offline.js").read_bytes()


@router.get("/desk/offline.js")
def offline() -> Response:
    """The worker that opens the form without signal; it stands here since a worker governs only what is below its own address."""
    return Response(_offline(), media_type="text/javascript; charset=utf-8")


def _page(work: Work, number: int, typed: Mapping[str, str] | None = None, faults: tuple[Fault, ...] = ()) -> SeenPage:
    booking = booking_numbered(work, number)
    terms = work.catalogue.policy.shop
    on_boat = is_behind_a_boat(work, booking)
    usual = {"setup": "as_worked_out", "wing_handling": "not_seen" if on_boat else ""}
    return SeenPage(
        number=number,
        name=booking.name or "forgotten",
        lesson=kind_of(work, booking.time).title,
        when=day_and_hours(booking.time, terms),
        where=booking.time.spot,
        lesson_number=booking.time.id,
        quote=quote_code_of(work, booking),
        claims_quote=bool(booking.claimed_quote_token),
        is_behind_a_boat=on_boat,
        may_write=booking.state in SEEABLE_STATES,
        key=new_token(),
        before=tuple(_shown(one, terms) for one in list_assessments(work, number)),
        choices=CHOICES,
        long_flight_m=LONG_FLIGHT_M,
        typed=usual if typed is None else typed,
        faults=faults,
    )


def _shown(assessed: Assessed, terms: ShopTerms) -> SeenShown:
    return SeenShown(
        when=moment_words(assessed.seen.seen_at, terms),
        by=assessed.by,
        rows=_rows(assessed.seen),
        sentence=assessed.seen.sentence,
        quote=assessed.came.code,
        revision=assessed.came.revision,
        because=assessed.came.because,
    )


def _rows(seen: Seen) -> tuple[tuple[str, str], ...]:
    flight = f"{seen.longest_flight_m:g} m" if seen.longest_flight_m else "none"
    said = {
        "to_feet": dict(TO_FEET)[seen.to_feet],
        "control": dict(CONTROL)[seen.control],
        "longest_flight": flight,
        "confidence": f"{seen.confidence} of 5",
        "wing_handling": dict(HANDLING)[seen.wing_handling or "not_seen"],
        "setup": dict(SETUP)[seen.setup or "as_worked_out"],
    }
    return tuple((FIELD_WORDS[name], words) for name, words in said.items())
