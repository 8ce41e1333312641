"""Swapping a part for another size at the desk: which parts still may, the sizes in stock, and the difference before it is done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.fit import is_less
from server.domain.kits import size_words
from server.domain.sales import MONEY, Item, Sale
from server.domain.slots import SLOT_WORDS
from server.domain.swaps import Swap, may_be_swapped
from server.usecases.sales import policy_of, read_sale
from server.usecases.swaps import digest_of, last_day_of_swap, preview_swap, sizes_for, swap_part, to_pay_now
from server.usecases.work import Work, new_token
from server.web.pages.calls import RowNumber
from server.web.pages.contract import MEANS_CHOICES
from server.web.pages.forms import Form, TypedForm, text_in
from server.web.render import day_words, see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

MOST_DIGITS = 6
FIELD_WORDS = {"serial": "Serial number of the new one", "means": "How they pay"}


@dataclass(frozen=True, slots=True)
class SizeShown:
    """Another size in stock: where choosing it leads, and why it may not be chosen."""

    sku: str
    way: str
    label: str
    refusal: str
    is_chosen: bool


@dataclass(frozen=True, slots=True)
class PartShown:
    """A part that the customer has: until when it may be swapped, and for what."""

    number: int
    word: str
    label: str
    until: str
    is_over: bool
    sizes: tuple[SizeShown, ...]


@dataclass(frozen=True)
class SwapPage(TypedForm):
    """The parts of a sale with their other sizes, and what the chosen one comes to."""

    number: int
    code: str
    name: str
    days: int
    lessons: int
    parts: tuple[PartShown, ...]
    item: int
    sku: str
    swap: Swap | None
    left: int
    in_cash: int
    means: tuple[tuple[str, str], ...]
    digest: str
    key: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def words_of(self, name: str) -> str:
        """What a field is called."""
        return FIELD_WORDS.get(name, "")


def _part(work: Work, sale: Sale, item: Item, chosen: tuple[int, str]) -> PartShown:
    shop = work.catalogue.policy.shop
    last = last_day_of_swap(work, sale, item)
    is_over = last is None or work.today > last
    listed = work.catalogue.parts.get(item.sku)
    size = f", {size_words(listed.gear)}" if listed else ""
    sizes = () if is_over else sizes_for(work, sale, item)
    return PartShown(
        number=item.number,
        word=SLOT_WORDS[item.slot],
        label=f"{item.label}{size}",
        until=day_words(last, shop) if last else "",
        is_over=is_over,
        sizes=tuple(
            SizeShown(
                one.part.sku,
                "smaller" if listed and is_less(one.part.gear.size, listed.gear.size) else "larger",
                f"{one.part.name}, {size_words(one.part.gear)}",
                one.refusal,
                chosen == (item.number, one.part.sku),
            )
            for one in sizes
        ),
    )


def _page(
    work: Work, sale: Sale, item: int, sku: str, typed: Mapping[str, str] | None = None, faults: tuple[Fault, ...] = ()
) -> SwapPage:
    swap = None
    if item and sku:
        try:
            swap = preview_swap(work, sale, item, sku)
        except InvalidInput as error:
            faults = faults or error.faults
    terms = policy_of(work, sale).sales
    return SwapPage(
        number=sale.id,
        code=sale.code,
        name=sale.contact.name,
        days=terms.swap_days,
        lessons=terms.swap_lessons,
        parts=tuple(_part(work, sale, one, (item, sku)) for one in sale.goods if may_be_swapped(one)),
        item=item,
        sku=sku,
        swap=swap,
        left=sale.owed,
        in_cash=to_pay_now(work, swap, "cash") if swap else 0,
        means=MEANS_CHOICES,
        digest=digest_of(swap) if swap else "",
        key=new_token(),
        typed=typed or {},
        faults=faults,
    )


def _number(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) <= MOST_DIGITS else 0


@router.get("/desk/sales/{number}/swap")
def show(request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The parts that may be swapped; with an `item` and a `sku` what that swap comes to."""
    asked = request.query_params
    with shop.reading(account.name) as work:
        page = _page(work, read_sale(work, number), _number(asked.get("item", "")), asked.get("sku", "")[:60])
        status = 422 if page.faults else 200
        return pages.show(request, "returns/swap.html", page, work.catalogue.policy.shop, status=status)


@router.post("/desk/sales/{number}/swap")
def swap(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Swap what was shown, with the payment of what is then left."""
    item, sku, serial = _number(text_in(form, "item")), text_in(form, "sku"), text_in(form, "serial")
    said, has_none = text_in(form, "means"), text_in(form, "has_none")
    means = next((one for one in MONEY if one == said), None)
    try:
        with shop.writing(account.name) as work:
            digest, key = text_in(form, "digest"), text_in(form, "key")
            swap_part(work, number, item, sku, serial, digest, key, means, has_none=bool(has_none))
        return see_other(f"/desk/sales/{number}")
    except (InvalidInput, Conflict) as error:
        faults, status = error.faults, 422 if isinstance(error, InvalidInput) else 409
    with shop.reading(account.name) as work:
        page = _page(
            work, read_sale(work, number), item, sku, {"serial": serial, "means": said, "has_none": has_none}, faults
        )
        return pages.show(request, "returns/swap.html", page, work.catalogue.policy.shop, status=status)
