"""Handing over on the beach and sending off, as the desk does it: on a telephone, with wet hands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from babel.dates import format_date
from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.handover import (
    CHECK_WORDS,
    PAD_HEIGHT,
    PAD_WIDTH,
    POINTS,
    Check,
    Handover,
    Point,
    Taken,
    needs_serial,
    parcels_of,
    points_for,
    read_signature,
)
from server.domain.lessons import read_day
from server.domain.policy import ShopTerms
from server.domain.sales import STATE_WORDS, Item, Mark, Sale
from server.usecases.aftercare import record_session, sessions_of, take_session_back
from server.usecases.handover import (
    Sending,
    expected_day,
    hand_over,
    is_late,
    label_of,
    longest_of,
    note_arrival,
    numbers_there,
    on_the_way,
    read_handover,
    send_off,
    sizes_to_choose,
    to_come,
)
from server.usecases.pieces import gear_to_look_at
from server.usecases.sales import read_sale
from server.usecases.work import Work, new_token
from server.web.pages.calls import RowNumber
from server.web.pages.forms import Form, TypedForm, text_in, texts_in
from server.web.pages.piece_words import title_of_piece
from server.web.render import day_words, moment_words, see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

CHECK_OPTIONS = tuple(CHECK_WORDS.items())
FIELD_WORDS = {
    "items": "What leaves",
    "explained_by": "Who went through it with them",
    "signed_by": "Who signs",
    "drawn": "Signature",
    "carrier": "Carrier",
    "tracking": "Tracking number",
    "parcels": "Boxes",
    "day": "The day",
    "place": "What arrived",
    "address": "Address",
    "note": "Note",
    "why": "Why",
}


@dataclass(frozen=True, slots=True)
class ItemShown:
    """A thing that is still here: whether it is there to be given, and the sizes to choose from where it is sized at the shop."""

    number: int
    label: str
    sku: str
    has_to_be_numbered: bool
    is_there: bool
    sizes: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class RecordShown:
    """A handover that was signed for: the things and their serial numbers, the check list, and the signature."""

    place: int
    when: str
    by: str
    items: tuple[tuple[str, str], ...]
    checks: tuple[tuple[str, str, str], ...]
    is_set_up: bool
    explained_by: str
    signed_by: str
    path: str


@dataclass(frozen=True, kw_only=True)
class SaleForm(TypedForm):
    """What the pages of this room have in common: whose sale it is, how it stands, and a form with its key."""

    number: int
    code: str
    name: str
    state: str
    owed: int
    key: str
    items: tuple[ItemShown, ...] = ()
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def words_of(self, name: str) -> str:
        """What a field asks for; empty for what is no field."""
        kind, _, about = name.partition("-")
        if kind in ("serial", "item", "sku"):
            label = next((item.label for item in self.items if str(item.number) == about), "")
            return f"{label}, serial number" if kind == "serial" else label
        if kind in ("check", "note") and about:
            return next((point.title for point in POINTS if point.name == about), "Note")
        return FIELD_WORDS.get(name, "")


@dataclass(frozen=True, kw_only=True)
class HandOverPage(SaleForm):
    """What is handed over now, the check list, and the signature; `gear` is old gear not looked at yet, with what it counts for."""

    points: tuple[Point, ...]
    check_options: tuple[tuple[str, str], ...]
    done_before: tuple[tuple[int, str], ...]
    path: str
    pad: tuple[int, int]
    gear: tuple[tuple[int, str, int], ...]


@dataclass(frozen=True, kw_only=True)
class RecordPage:
    """A handover to be printed."""

    number: int
    code: str
    name: str
    record: RecordShown


@dataclass(frozen=True, slots=True)
class SentShown:
    """A parcel that was sent: when, by whom, by when it is expected, whether it is still on its way, and whether it is late."""

    when: str
    items: tuple[str, ...]
    carrier: str
    tracking: str
    parcels: int
    expected: str
    is_on_its_way: bool
    is_late: bool
    place: int


@dataclass(frozen=True, kw_only=True)
class DeliveryPage(SaleForm):
    """What is to be sent, the label, and what is on its way; `arriving` are the parcels to choose from where there are several."""

    is_to_collect: bool
    zone: str
    days: str
    expected: str
    label: tuple[str, ...]
    longest: float | None
    way: tuple[str, ...]
    arriving: tuple[tuple[str, str], ...]
    sent: tuple[SentShown, ...]
    today: str


@dataclass(frozen=True, kw_only=True)
class LabelPage:
    """Labels to be printed, one a box."""

    number: int
    code: str
    label: tuple[str, ...]
    parcels: int


@dataclass(frozen=True, slots=True)
class SessionShown:
    """A session that was written down, in words; `key` is empty where it was taken back, with why in `taken_back`."""

    key: str
    what: str
    day: str
    by: str
    note: str
    taken_back: str


@dataclass(frozen=True, kw_only=True)
class SessionsPage(SaleForm):
    """Sessions on the water and included lessons: promised, taken, left."""

    counts: tuple[tuple[str, str, int, int, int, int], ...]
    taken: tuple[SessionShown, ...]
    undoing: str
    today: str
    first_day: str


def record_shown(one: Mark, place: int, terms: ShopTerms) -> RecordShown:
    """A handover's record in words."""
    about: Mapping[str, Any] = one.about
    signature = read_signature(str(about.get("drawn", "")))
    return RecordShown(
        place,
        moment_words(one.at, terms),
        one.by,
        tuple(
            (str(item["label"]), str(item["serial"]) or ("none on it" if item["has_none"] else ""))
            for item in about.get("items", ())
        ),
        tuple((str(row["words"]), CHECK_WORDS[row["state"]], str(row["note"])) for row in about.get("checks", ())),
        bool(about.get("set_up")),
        str(about.get("explained_by", "")),
        str(about.get("signed_by", "")),
        signature.path if signature else "",
    )


def records_of(sale: Sale, terms: ShopTerms) -> tuple[RecordShown, ...]:
    """All handovers of a sale that were signed for."""
    marks = [one for one in sale.marks if one.kind == "handed_over"]
    return tuple(record_shown(one, place, terms) for place, one in enumerate(marks, start=1))


def _common(sale: Sale, typed: Mapping[str, str] | None, faults: Sequence[Fault]) -> dict[str, Any]:
    return {
        "number": sale.id,
        "code": sale.code,
        "name": sale.contact.name,
        "state": STATE_WORDS[sale.state],
        "owed": sale.owed,
        "key": (typed or {}).get("key") or new_token(),
        "typed": typed or {},
        "faults": tuple(faults),
    }


def _items(work: Work, items: Sequence[Item]) -> tuple[ItemShown, ...]:
    there = numbers_there(work, items)
    return tuple(
        ItemShown(
            item.number,
            item.label,
            item.sku,
            needs_serial(item),
            item.number in there,
            sizes_to_choose(work, item),
        )
        for item in items
    )


def _taken(form: Form) -> tuple[Taken, ...]:
    """The items that were ticked, with what was typed for each."""
    return tuple(
        Taken(
            int(number),
            text_in(form, f"serial-{number}"),
            bool(text_in(form, f"none-{number}")),
            text_in(form, f"sku-{number}"),
        )
        for number in dict.fromkeys(texts_in(form, "item"))
        if number.isascii() and number.isdigit() and len(number) < 10
    )


def _typed(form: Form) -> dict[str, str]:
    """A form as it was typed; ticked items each under a name of their own."""
    typed = {name: text_in(form, name) for name in form if name != "item"}
    return typed | {f"item-{number}": "yes" for number in texts_in(form, "item")} | {"is_typed": "yes"}


# Handing over.


@router.get("/desk/sales/{number}/hand-over")
def show(request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """What can be handed over now, with the check list and the place to sign."""
    with shop.reading(account.name) as work:
        page = _hand_over_page(work, read_sale(work, number))
        return pages.show(request, "handover/hand_over.html", page, work.catalogue.policy.shop)


def _hand_over_page(
    work: Work, sale: Sale, typed: Mapping[str, str] | None = None, faults: Sequence[Fault] = ()
) -> HandOverPage:
    items = _items(work, to_come(sale))
    usual = {"explained_by": work.actor, "signed_by": sale.contact.name, "may_write": "yes" if sale.may_write else ""}
    usual |= {f"item-{item.number}": "yes" for item in items if item.is_there}
    shown = usual if typed is None else typed
    signature = read_signature(shown.get("drawn", ""))
    common = _common(sale, typed, faults)
    return HandOverPage(
        **{**common, "typed": shown},
        items=items,
        points=points_for(item.slot for item in to_come(sale)),
        check_options=CHECK_OPTIONS,
        done_before=tuple((one.place, one.when) for one in records_of(sale, work.catalogue.policy.shop)),
        path=signature.path if signature else "",
        pad=(PAD_WIDTH, PAD_HEIGHT),
        gear=tuple((piece.id, title_of_piece(piece), piece.bought) for piece in gear_to_look_at(work, sale)),
    )


@router.post("/desk/sales/{number}/hand-over")
def hand(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Hand over what is ticked, and on to the record; what is wrong is said beside its field, with all that was typed."""
    handover = Handover(
        taken=_taken(form),
        checks={
            point.name: Check(text_in(form, f"check-{point.name}"), text_in(form, f"note-{point.name}"))
            for point in POINTS
        },
        is_set_up=bool(text_in(form, "is_set_up")),
        explained_by=text_in(form, "explained_by"),
        signed_by=text_in(form, "signed_by"),
        drawn=text_in(form, "drawn"),
        has_ticked=bool(text_in(form, "has_ticked")),
        may_write=bool(text_in(form, "may_write")),
    )
    try:
        with shop.writing(account.name) as work:
            sale = hand_over(work, number, handover, text_in(form, "key"))
            done = [one.key for one in sale.marks if one.kind == "handed_over"]
        key = text_in(form, "key")
        return see_other(f"/desk/sales/{number}/hand-over" + (f"/{done.index(key) + 1}" if key in done else ""))
    except InvalidInput as error:
        faults, status = error.faults, 422
    except Conflict as error:
        faults, status = error.faults, 409
    with shop.reading(account.name) as work:
        page = _hand_over_page(work, read_sale(work, number), _typed(form), faults)
        return pages.show(request, "handover/hand_over.html", page, work.catalogue.policy.shop, status=status)


@router.get("/desk/sales/{number}/hand-over/{place}")
def record(
    request: Request, number: RowNumber, place: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf
) -> Response:
    """A handover as it was signed for, to be printed."""
    with shop.reading(account.name) as work:
        sale, terms = read_sale(work, number), work.catalogue.policy.shop
        shown = record_shown(read_handover(sale, place), place, terms)
        page = RecordPage(number=number, code=sale.code, name=sale.contact.name, record=shown)
        return pages.show(request, "handover/record.html", page, terms)


# Sending off.


def _day(day: date | None, terms: ShopTerms) -> str:
    return "" if day is None else str(format_date(day, "EEEE d MMMM", locale=terms.locale))


def sent_shown(sale: Sale, today: date, terms: ShopTerms) -> tuple[SentShown, ...]:
    """The parcels of a sale in words, the newest first; one that has arrived is not late."""
    return tuple(
        SentShown(
            moment_words(one.sent.at, terms),
            tuple(str(item["label"]) for item in one.sent.about.get("items", ())),
            str(one.sent.about.get("carrier", "")),
            str(one.sent.about.get("tracking", "")),
            int(one.sent.about.get("parcels", 1)),
            _day(date.fromisoformat(one.sent.about["expected"]) if one.sent.about.get("expected") else None, terms),
            bool(one.on_the_way),
            bool(one.on_the_way) and is_late(one.sent, today),
            one.place,
        )
        for one in reversed(parcels_of(sale))
    )


def _arriving(sale: Sale, terms: ShopTerms) -> tuple[tuple[str, str], ...]:
    """The parcels on their way by their places, in words, where there are several."""
    way = on_the_way(sale)
    if len(way) == 1:
        return ()
    return tuple(
        (str(one.place), f"{moment_words(one.sent.at, terms)}: {', '.join(item.label for item in one.on_the_way)}")
        for one in way
    )


def _delivery_page(
    work: Work, sale: Sale, typed: Mapping[str, str] | None = None, faults: Sequence[Fault] = ()
) -> DeliveryPage:
    terms = work.catalogue.policy.shop
    here = to_come(sale)
    items = _items(work, here)
    zone = work.catalogue.zones.get(sale.zone)
    usual = {"parcels": "1"} | {f"item-{item.number}": "yes" for item in items if item.is_there}
    return DeliveryPage(
        **{**_common(sale, typed, faults), "typed": usual if typed is None else {"parcels": "1", **typed}},
        items=items,
        is_to_collect=sale.delivery == "collect",
        zone=sale.zone,
        days=zone.days if zone else "",
        expected=_day(expected_day(work, sale, work.today), terms),
        label=label_of(sale) if sale.address else (),
        longest=longest_of(work, here),
        way=tuple(item.label for parcel in on_the_way(sale) for item in parcel.on_the_way),
        arriving=_arriving(sale, terms),
        sent=sent_shown(sale, work.today, terms),
        today=work.today.isoformat(),
    )


@router.get("/desk/sales/{number}/delivery")
def delivery(request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """What is to be sent and what is on its way."""
    with shop.reading(account.name) as work:
        page = _delivery_page(work, read_sale(work, number))
        return pages.show(request, "handover/delivery.html", page, work.catalogue.policy.shop)


@router.post("/desk/sales/{number}/delivery")
def send(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Send off what is ticked, or write down the day on which it came."""
    parcels = text_in(form, "parcels")
    try:
        with shop.writing(account.name) as work:
            if text_in(form, "do") == "arrived":
                place = text_in(form, "place")
                which = int(place) if place.isascii() and place.isdigit() and len(place) < 4 else None
                note_arrival(work, number, _read_day(text_in(form, "day")), text_in(form, "key"), which)
            else:
                sending = Sending(
                    _taken(form),
                    text_in(form, "carrier"),
                    text_in(form, "tracking"),
                    int(parcels) if parcels.isascii() and parcels.isdigit() and len(parcels) < 4 else None,
                )
                send_off(work, number, sending, text_in(form, "key"))
        return see_other(f"/desk/sales/{number}/delivery")
    except InvalidInput as error:
        faults, status = error.faults, 422
    except Conflict as error:
        faults, status = error.faults, 409
    with shop.reading(account.name) as work:
        page = _delivery_page(work, read_sale(work, number), _typed(form), faults)
        return pages.show(request, "handover/delivery.html", page, work.catalogue.policy.shop, status=status)


def _read_day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


@router.get("/desk/sales/{number}/delivery/label")
def label(
    request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf, parcels: str = "1"
) -> Response:
    """Labels to be printed, one for each box."""
    count = int(parcels) if parcels in {str(few) for few in range(1, 21)} else 1
    with shop.reading(account.name) as work:
        sale = read_sale(work, number)
        page = LabelPage(number=number, code=sale.code, label=label_of(sale), parcels=count)
        return pages.show(request, "handover/label.html", page, work.catalogue.policy.shop)


# Sessions on the water.


def _sessions_page(
    work: Work, sale: Sale, typed: Mapping[str, str] | None = None, faults: Sequence[Fault] = ()
) -> SessionsPage:
    support, lessons = sessions_of(work, sale)
    today = work.today.isoformat()
    common = _common(sale, typed, faults)
    return SessionsPage(
        **{**common, "typed": {"day": today, **(typed or {})}},
        counts=(
            ("support", "Sessions on the water", support.promised, support.otherwise, support.taken, support.left),
            ("lesson", "Included lessons", lessons.promised, lessons.otherwise, lessons.taken, lessons.left),
        ),
        taken=_sessions_shown(sale, work.catalogue.policy.shop),
        undoing=(typed or {}).get("session", ""),
        today=today,
        first_day=sale.made_on.isoformat(),
    )


def _sessions_shown(sale: Sale, terms: ShopTerms) -> tuple[SessionShown, ...]:
    """The sessions that were written down, the newest first, those taken back among them."""
    words = {"support": "session on the water", "lesson": "included lesson"}
    undone = {str(one.about.get("undoes")): one for one in sale.marks if one.kind == "session_undone"}
    shown = []
    for one in reversed(sale.marks):
        if one.kind == "session":
            day = read_day(str(one.about.get("day", "")))
            said = day_words(day, terms) if day is not None else moment_words(one.at, terms)
            back = undone.get(one.key)
            why = "" if back is None else f"It was not taken: {back.why} ({back.by}, {moment_words(back.at, terms)})"
            key = "" if back is not None else one.key
            shown.append(SessionShown(key, words.get(str(one.about.get("what")), ""), said, one.by, one.why, why))
    return tuple(shown)


@router.get("/desk/sales/{number}/sessions")
def sessions(request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The sessions that come with a kit, and those taken."""
    with shop.reading(account.name) as work:
        page = _sessions_page(work, read_sale(work, number))
        return pages.show(request, "handover/sessions.html", page, work.catalogue.policy.shop)


@router.post("/desk/sales/{number}/sessions")
def take_session(
    request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf
) -> Response:
    """Write down that one was taken on a day, or that one was not taken after all."""
    what, day, key = text_in(form, "what"), read_day(text_in(form, "day")), text_in(form, "key")
    try:
        with shop.writing(account.name) as work:
            if text_in(form, "session"):
                take_session_back(work, number, text_in(form, "session"), text_in(form, "why"), key)
            elif what not in ("support", "lesson"):
                raise InvalidInput([Fault("what", "Which of the two was taken?", "one of the buttons")])
            elif day is None:
                raise InvalidInput([Fault("day", "This is not a day.", "a day such as 2026-12-05")])
            else:
                record_session(
                    work, number, "support" if what == "support" else "lesson", text_in(form, "note"), key, day
                )
        return see_other(f"/desk/sales/{number}/sessions")
    except InvalidInput as error:
        faults, status = error.faults, 422
    except Conflict as error:
        faults, status = error.faults, 409
    with shop.reading(account.name) as work:
        typed = {name: text_in(form, name) for name in ("note", "day", "what", "session", "why") if name in form}
        page = _sessions_page(work, read_sale(work, number), typed, faults)
        return pages.show(request, "handover/sessions.html", page, work.catalogue.policy.shop, status=status)
