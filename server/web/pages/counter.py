"""A sale over the counter: scan or type, quantity, done."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Path
from starlette.requests import Request
from starlette.responses import Response

from server.domain.counter import Sale, read_pieces
from server.domain.errors import Conflict, Fault, InvalidInput
from server.usecases.counter import (
    item_at_counter,
    sale_at_counter,
    sales_today,
    sell_at_counter,
    stand_of,
    take_sale_back,
)
from server.usecases.work import Work, new_token
from server.web.pages.desk import when_words
from server.web.pages.forms import Form, text_in
from server.web.render import see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

MOST_DIGITS = 9


@dataclass(frozen=True, slots=True)
class ItemShown:
    """The part that was scanned: what a piece costs, in cents, and how it stands."""

    sku: str
    name: str
    maker: str
    price: int
    on_hand: int
    held: int
    free: int
    codes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SaleShown:
    """A sale in words; `amount` in cents, what was paid when it was sold."""

    id: int
    name: str
    sku: str
    pieces: int
    amount: int
    when: str
    by: str
    is_back: bool


@dataclass(frozen=True)
class CounterPage:
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

    def value(self, name: str) -> str:
        """A field as typed."""
        return self.pieces if name == "pieces" else self.typed

    def fault_at(self, name: str) -> Fault | None:
        """What is wrong with a field."""
        return next((fault for fault in self.faults if fault.field == name), None)


@router.get("/desk/counter")
def show(
    request: Request, account: StaffOf, shop: ShopOf, pages: PagesOf, item: str | None = None, sold: str = ""
) -> Response:
    """The field to scan into; with an `item` the part it names and how many; with a number `sold` what was sold last."""
    with shop.reading(account.name) as work:
        sale = sale_at_counter(work, int(sold)) if _is_number(sold) else None
        page, status = _page(work, item, sale=sale)
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
    """Take a sale back; its pieces are on hand again."""
    with shop.writing(account.name) as work:
        take_sale_back(work, number)
    return see_other(f"/desk/counter?sold={number}")


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= MOST_DIGITS


def _page(
    work: Work, typed: str | None, *, pieces: str = "1", faults: tuple[Fault, ...] = (), sale: Sale | None = None
) -> tuple[CounterPage, int]:
    """The page and its status: 422 where what was scanned is nothing that the catalogue has."""
    item, status = None, 200
    if typed is not None:
        try:
            item = _item(work, typed)
        except InvalidInput as error:
            faults, status = (*faults, *error.faults), 422
    sales = sales_today(work)
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
    )
    return page, status


def _item(work: Work, typed: str) -> ItemShown:
    found = item_at_counter(work, typed)
    part, stand = found.part, found.stand
    return ItemShown(part.sku, part.name, part.maker, found.price, stand.on_hand, stand.held, stand.free, stand.codes)


def _sale(work: Work, sale: Sale) -> SaleShown:
    part = work.catalogue.parts.get(sale.sku)
    return SaleShown(
        sale.id,
        part.name if part else sale.sku,
        sale.sku,
        sale.pieces,
        sale.pieces * sale.price,
        when_words(sale.at, work.now, work.catalogue.policy.shop),
        sale.by,
        sale.taken_back_at is not None,
    )
