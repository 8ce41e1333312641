"""The till's day: a file of the till looked at before it is booked; between looking and booking it travels in the page."""

from __future__ import annotations

import base64
import binascii
import zlib
from dataclasses import dataclass, replace
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Query
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.till import ShelfChange
from server.usecases.till import (
    MOST_BYTES,
    CounterDay,
    TillDay,
    ToLookAt,
    book_till,
    counter_days,
    left_to_look_at,
    read_till,
)
from server.usecases.work import Work
from server.web.pages.desk import when_words
from server.web.pages.forms import Form, PhotoForm, TypedForm, text_in
from server.web.render import day_words, see_other
from server.web.signed import OwnerOf
from server.web.state import PagesOf, ShopOf

owner_router = APIRouter(include_in_schema=False)

ENDINGS = (".csv", ".txt")
NO_TABLE = Fault("file", "This is not named as a table.", "a CSV file of the till (.csv or .txt)")
NO_FILE = Fault("file", "No file was chosen.", "a CSV file of the till")
BROKEN = Fault("file", "The file did not come back whole: choose it again.", "a CSV file of the till")
MOST_FAULTS = 100
MOST_NAMED = 5
MOST_LEFT = 40
"""So many parts to look at are carried to the page that follows a booking."""
Skus = Annotated[list[str], Query(default_factory=list)]


@dataclass(frozen=True, slots=True)
class NoteShown:
    """What wants a look, with the codes of quotes that it is about between two halves of the sentence."""

    words: str
    codes: tuple[str, ...] = ()
    rest: str = ""


@dataclass(frozen=True, slots=True)
class LeftShown:
    """A part that wants a look after its day was booked."""

    name: str
    sku: str
    notes: tuple[NoteShown, ...]


@dataclass(frozen=True, slots=True)
class ChangeShown:
    """What the file does to a part, in words; the amount in cents."""

    name: str
    sku: str
    sold: str
    amount: int
    on_hand: int
    left: int
    notes: tuple[NoteShown, ...]


@dataclass(frozen=True, slots=True)
class FaultShown:
    """What is wrong in the file, by row and column."""

    row: int | None
    column: str
    message: str
    accepted: str


@dataclass(frozen=True, slots=True)
class DayShown:
    """A day of the counter; the amount in cents."""

    day: str
    words: str
    sales: int
    amount: int


@dataclass(frozen=True)
class TillPage(TypedForm):
    """Where a file is chosen; or what one comes to, to be booked; or what was booked."""

    is_read: bool
    lines: int
    known: int
    amount: int
    days: tuple[str, ...]
    changes: tuple[ChangeShown, ...]
    odd: int
    counted: tuple[tuple[str, tuple[str, ...]], ...]
    """When parts were counted after they were sold, with their SKUs."""
    left: tuple[LeftShown, ...]
    left_counted: tuple[str, ...]
    """SKUs that were counted after they were sold, of the day that was booked."""
    left_many: int
    """How many these were, where they are too many to be named."""
    file_faults: tuple[FaultShown, ...]
    more_faults: int
    remarks: tuple[str, ...]
    carried: str
    digest: str
    counter: tuple[DayShown, ...]
    said: str
    faults: tuple[Fault, ...] = ()

    @property
    def number_counted(self) -> int:
        """How many parts were counted after they were sold."""
        return sum(len(skus) for _, skus in self.counted)

    @property
    def most_named(self) -> int:
        """Up to how many of them are named."""
        return MOST_NAMED


@owner_router.get("/console/till")
def show_till(
    request: Request,
    account: OwnerOf,
    shop: ShopOf,
    pages: PagesOf,
    look: Skus,
    again: Skus,
    booked: str = "",
    known: str = "",
    many: str = "",
) -> Response:
    """Where the till's file is chosen, and what the counter took on the last days; after a booking, what still wants a look."""
    with shop.reading(account.name) as work:
        page = replace(
            _page(work, said=_said(booked, known)),
            left=tuple(map(_left, left_to_look_at(work, look[:MOST_LEFT]))),
            left_counted=tuple(sku for sku in again[:MOST_NAMED] if sku in work.catalogue.parts),
            left_many=int(many) if many.isascii() and many.isdigit() and len(many) < 6 else 0,
        )
        return pages.show(request, "console/till.html", page, work.catalogue.policy.shop)


def _left(one: ToLookAt) -> LeftShown:
    return LeftShown(one.part.name, one.part.sku, _notes(one.found, one.promised, one.stand.codes, is_booked=True))


def _after(day: TillDay) -> str:
    """The address of the page that follows a booking, with what it leaves to look at."""
    look = [one.part.sku for one in day.changes if one.missing or one.promised]
    again = [one.part.sku for one in day.changes if one.counted_at is not None]
    fields: dict[str, object] = {"booked": len(day.lines), "known": day.known, "look": look[:MOST_LEFT]}
    fields |= {"again": again} if len(again) <= MOST_NAMED else {"many": len(again)}
    return f"/console/till?{urlencode(fields, doseq=True)}"


def _said(booked: str, known: str) -> str:
    """What was done last, from the address."""
    if not all(text.isascii() and text.isdigit() and len(text) < 6 for text in (booked, known)):
        return ""
    before = f" {known} were booked before." if int(known) else ""
    if not int(booked):
        return f"Nothing was left to book.{before}"
    return f"{booked} {'line was' if int(booked) == 1 else 'lines were'} booked.{before}"


def _page(
    work: Work,
    day: TillDay | None = None,
    content: bytes = b"",
    faults: tuple[Fault, ...] = (),
    said: str = "",
) -> TillPage:
    terms = work.catalogue.policy.shop
    day_or_none = day or TillDay((), 0, (), (), ())
    changes = tuple(_change(one) for one in day_or_none.changes)
    sold_on = sorted({terms.day_of(line.at) for line in day_or_none.lines})
    return TillPage(
        is_read=day is not None,
        lines=len(day_or_none.lines),
        known=day_or_none.known,
        amount=day_or_none.amount,
        days=tuple(day_words(one, terms) for one in sold_on),
        changes=changes,
        odd=sum(bool(one.notes) for one in changes),
        counted=_counted(work, day_or_none.changes),
        left=(),
        left_counted=(),
        left_many=0,
        file_faults=tuple(
            FaultShown(one.row, one.column, one.message, one.accepted) for one in day_or_none.faults[:MOST_FAULTS]
        ),
        more_faults=max(0, len(day_or_none.faults) - MOST_FAULTS),
        remarks=day_or_none.remarks,
        carried=_packed(content) if day is not None and not day.faults else "",
        digest=day_or_none.digest,
        counter=tuple(_counter_day(work, one) for one in counter_days(work) if one.sales),
        said=said,
        faults=faults,
    )


def _counter_day(work: Work, one: CounterDay) -> DayShown:
    return DayShown(one.day.isoformat(), day_words(one.day, work.catalogue.policy.shop), one.sales, one.amount)


def _notes(missing: int, promised: int, codes: tuple[str, ...], *, is_booked: bool) -> tuple[NoteShown, ...]:
    notes = []
    if missing:
        said = "had: they were booked" if is_booked else "has: booked"
        notes.append(NoteShown(f"{missing} more sold than the ledger {said} as found. Count the shelf."))
    if promised:
        are = "are" if is_booked else "will be"
        notes.append(NoteShown(f"{promised} set aside{' for' if codes else ''}", codes, f"{are} missing."))
    return tuple(notes)


def _counted(work: Work, changes: tuple[ShelfChange, ...]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    terms = work.catalogue.policy.shop
    found: dict[str, list[str]] = {}
    for one in changes:
        if one.counted_at is not None:
            found.setdefault(when_words(one.counted_at, work.now, terms), []).append(one.part.sku)
    return tuple((when, tuple(skus)) for when, skus in found.items())


def _change(one: ShelfChange) -> ChangeShown:
    notes = _notes(one.missing, one.promised, one.stand.codes, is_booked=False)
    back = f", {one.back} back" if one.back else ""
    return ChangeShown(one.part.name, one.part.sku, f"{one.sold}{back}", one.amount, one.stand.on_hand, one.left, notes)


@owner_router.post("/console/till")
def look(request: Request, account: OwnerOf, form: PhotoForm, shop: ShopOf, pages: PagesOf) -> Response:
    """What a file comes to; nothing is booked by looking."""
    content = _file_in(form)
    day: TillDay | None = None
    faults = _faults_of_file(form, content)
    with shop.reading(account.name) as work:
        try:
            day = None if faults else read_till(work, content)
        except InvalidInput as error:
            faults = error.faults
        status = 422 if day is None or day.faults else 200
        page = _page(work, day, content, faults)
        return pages.show(request, "console/till.html", page, work.catalogue.policy.shop, status=status)


def _file_in(form: FormData) -> bytes:
    """The file of the form; of one that is too large no more than shows it."""
    file = form.get("file")
    return file.file.read(MOST_BYTES + 1) if isinstance(file, UploadFile) else b""


def _faults_of_file(form: FormData, content: bytes) -> tuple[Fault, ...]:
    """What is wrong with a file before it is read: there is none, or its name says that it is no table."""
    if not content:
        return (NO_FILE,)
    file = form.get("file")
    name = (file.filename or "") if isinstance(file, UploadFile) else ""
    return (NO_TABLE,) if "." in name and not name.strip().casefold().endswith(ENDINGS) else ()


@owner_router.post("/console/till/book")
def book(request: Request, account: OwnerOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Book the file as it was shown, whole or not at all."""
    try:
        content = _unpacked(text_in(form, "carried"))
        with shop.writing(account.name) as work:
            day = book_till(work, content, text_in(form, "shown"))
        return see_other(_after(day))
    except (InvalidInput, Conflict) as error:
        faults, status = error.faults, 422 if isinstance(error, InvalidInput) else 409
    with shop.reading(account.name) as work:
        is_whole = BROKEN not in faults
        page = _page(work, read_till(work, content) if is_whole else None, content if is_whole else b"", faults)
        return pages.show(request, "console/till.html", page, work.catalogue.policy.shop, status=status)


def _packed(content: bytes) -> str:
    return base64.b64encode(zlib.compress(content, 9)).decode()


def _unpacked(text: str) -> bytes:
    """The file that a page carried; raises `InvalidInput` where it is none, or too large."""
    try:
        reader = zlib.decompressobj()
        content = reader.decompress(base64.b64decode(text, validate=True), MOST_BYTES + 1)
    except (binascii.Error, ValueError, zlib.error):
        raise InvalidInput([BROKEN]) from None
    if not content or not reader.eof or len(content) > MOST_BYTES:
        raise InvalidInput([BROKEN])
    return content
