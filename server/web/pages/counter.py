"""A sale over the counter: scan or type, quantity, done."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Path
from starlette.requests import Request
from starlette.responses import Response

from server.domain.counter import Sold, read_pieces
from server.domain.errors import Conflict, Fault, InvalidInput
from server.usecases.counter import (
    item_at_counter,
    sale_at_counter,
    sales_on,
    sell_at_counter,
    stand_of,
    take_sale_back,
)
from server.usecases.work import Work, new_token
from server.web.pages.desk import when_words
from server.web.pages.forms import FaultyForm, Form, text_in
from server.web.render import day_words, see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

MOST_DIGITS = 9
FIRST_DAY = date(2000, 1, 1)


@dataclass(frozen=True, slots=True)
class PartInSet:
    """A part of the set that was scanned, and how many are free."""

    name: str
    sku: str
    free: int


@dataclass(frozen=True, slots=True)
class ItemShown:
    """The part or set that was scanned: what a piece costs, in cents, how it stands, and the parts of a set."""

    sku: str
    name: str
    maker: str
    price: int
    on_hand: int
    held: int
    free: int
    codes: tuple[str, ...]
    parts: tuple[PartInSet, ...]


@dataclass(frozen=True, slots=True)
class SaleShown:
    """What was sold at once, in words; `amount` in cents, what was paid when it was sold."""

    id: int
    name: str
    sku: str
    pieces: int
    amount: int
    when: str
    by: str
    is_back: bool
    parts: tuple[str, ...]
    """SKUs of a set's parts."""


@dataclass(frozen=True)
class CounterPage(FaultyForm):
    """The counter: a field to scan into, or the part that was scanned; what was sold last, and today."""

    item: ItemShown | None
    typed: str
    pieces: str
    key: str
    faults: tuple[Fault, ...]
    sold: SaleShown | None
    left: int
    sales: tuple[SaleShown, ...]
    total: int
    day_shown: str
    """The day of these sales, in words; empty for today."""
    day_before: str
    day_after: str
    """The addresses of the days beside it; empty where that is a day to come."""

    def value(self, name: str) -> str:
        """A field as typed."""
        return self.pieces if name == "pieces" else self.typed


@router.get("/desk/counter")
def show(
    request: Request,
    account: StaffOf,
    shop: ShopOf,
    pages: PagesOf,
    item: str | None = None,
    sold: str = "",
    day: str = "",
) -> Response:
    """The field to scan into; with an `item` the part or set it names and how many; with a number `sold` what was sold last.

    A `day` shows its sales in place of today's.
    """
    with shop.reading(account.name) as work:
        sale = sale_at_counter(work, int(sold)) if _is_number(sold) else None
        page, status = _page(work, item, sale=sale, day=_day(work, day))
        return pages.show(request, "desk/counter.html", page, work.catalogue.policy.shop, status=status)


@router.post("/desk/counter")
def sell(request: Request, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Sell, and back to the empty field; where that cannot be, the part again with the reason."""
    sku, pieces, key = (text_in(form, name) for name in ("sku", "pieces", "key"))
    try:
        with shop.writing(account.name) as work:
            sale = sell_at_counter(work, sku, read_pieces(pieces), key)
        return see_other("/desk/counter?" + urlencode({"sold": sale.id}))
    except (InvalidInput, Conflict) as error:
        faults, status = error.faults, 422 if isinstance(error, InvalidInput) else 409
    with shop.reading(account.name) as work:
        is_item = all(fault.field == "pieces" for fault in faults)
        page, _ = _page(work, sku if is_item else None, pieces=pieces, faults=faults)
        return pages.show(request, "desk/counter.html", page, work.catalogue.policy.shop, status=status)


@router.post("/desk/counter/{number}/take-back")
def take_back(number: Annotated[int, Path(ge=1, le=2**31 - 1)], account: StaffOf, shop: ShopOf) -> Response:
    """Take a sale back; its pieces are on hand again. Back to the list of its day."""
    with shop.writing(account.name) as work:
        sold = take_sale_back(work, number)
        day = work.catalogue.policy.shop.day_of(sold.sales[0].at)
        is_today = day == work.today
    return see_other(f"/desk/counter?sold={number}" + ("" if is_today else f"&day={day}"))


def _day(work: Work, text: str) -> date:
    """A day that was asked for; today where it is none, or one to come."""
    try:
        day = date.fromisoformat(text) if len(text) == len("2026-11-25") else work.today
        return min(max(day, FIRST_DAY), work.today)
    except ValueError:
        return work.today


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= MOST_DIGITS


def _page(
    work: Work,
    typed: str | None,
    *,
    pieces: str = "1",
    faults: tuple[Fault, ...] = (),
    sale: Sold | None = None,
    day: date | None = None,
) -> tuple[CounterPage, int]:
    """The page and its status: 422 where what was scanned is nothing that the catalogue has."""
    item, status = None, 200
    if typed is not None:
        try:
            item = _item(work, typed)
        except InvalidInput as error:
            faults, status = (*faults, *error.faults), 422
    shown = day or work.today
    sales = sales_on(work, shown)
    page = CounterPage(
        item=item,
        typed="" if typed is None else typed,
        pieces=pieces,
        key=new_token(),
        faults=faults,
        sold=_sale(work, sale) if sale else None,
        left=stand_of(work, sale.sku).on_hand if sale else 0,
        sales=tuple(_sale(work, one) for one in sales),
        total=sum(one.amount for one in sales),
        day_shown="" if shown == work.today else day_words(shown, work.catalogue.policy.shop),
        day_before=_address_of(shown - timedelta(days=1)) if shown > FIRST_DAY else "",
        day_after=_address_of(shown + timedelta(days=1)) if shown < work.today else "",
    )
    return page, status


def _address_of(day: date) -> str:
    return f"/desk/counter?day={day.isoformat()}#sold-list"


def _item(work: Work, typed: str) -> ItemShown:
    found = item_at_counter(work, typed)
    one, stand = found.item, found.stand
    parts = tuple(PartInSet(part.name, part.sku, stood.free) for part, stood in found.parts)
    return ItemShown(
        one.sku, one.name, one.maker, found.price, stand.on_hand, stand.held, stand.free, stand.codes, parts
    )


def _sale(work: Work, sold: Sold) -> SaleShown:
    one = work.catalogue.parts.get(sold.sku) or work.catalogue.sets.get(sold.sku)
    first = sold.sales[0]
    return SaleShown(
        id=sold.id,
        name=one.name if one else sold.sku,
        sku=sold.sku,
        pieces=sold.pieces,
        amount=sold.paid,
        when=when_words(first.at, work.now, work.catalogue.policy.shop),
        by=first.by,
        is_back=sold.is_back,
        parts=tuple(sale.sku for sale in sold.sales) if first.of_set else (),
    )
