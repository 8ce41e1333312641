"""The owner's sets: several parts sold as one item, how many their parts make, and what is left of their price."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.money import vat_inside
from server.usecases.sets import SetStand, cells_of, digest_of, list_sets, put_set, read_set, retire_set, set_of
from server.usecases.work import Work
from server.web.pages.forms import Form, TypedForm, text_in
from server.web.pages.kept import Kept, kept_as, kept_in
from server.web.render import see_other
from server.web.signed import OwnerOf
from server.web.state import PagesOf, ShopOf

owner_router = APIRouter(include_in_schema=False)

MOST_TYPED = 1000
"""Signs that the address may name parts with."""
FIELD_WORDS = {
    "sku": "SKU",
    "name": "Name",
    "maker": "Maker",
    "gtin": "GTIN",
    "price": "Price",
    "parts": "Parts",
    "sold": "Sold",
}


@dataclass(frozen=True, slots=True)
class SetShown:
    """A set in words; amounts in cents. `left` is its price less VAT and the cost of its parts."""

    sku: str
    name: str
    maker: str
    price: int
    apart: int
    left: int
    on_hand: int
    free: int
    parts: tuple[tuple[str, str, bool], ...]
    """Name and SKU of each part, and whether it keeps the set from being there."""
    is_on_sale: bool


@dataclass(frozen=True)
class SetsPage:
    """All sets, those that cannot be sold today said so."""

    sets: tuple[SetShown, ...]
    kept: Kept | None


@dataclass(frozen=True)
class SetPage(TypedForm):
    """One set, or a new one, to be changed."""

    shown: SetShown | None
    digest: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def words_of(self, name: str) -> str:
        """What a field asks for."""
        return FIELD_WORDS.get(name, "")


@owner_router.get("/console/sets")
def show_sets(request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """All sets."""
    with shop.reading(account.name) as work:
        page = SetsPage(tuple(_shown(work, one) for one in list_sets(work)), kept_in(work, request.query_params))
        return pages.show(request, "console/sets.html", page, work.catalogue.policy.shop)


def _shown(work: Work, stood: SetStand) -> SetShown:
    one, terms = stood.one, work.catalogue.policy.shop
    cost = sum(part.cost for part in stood.parts)
    return SetShown(
        sku=one.sku,
        name=one.name,
        maker=one.maker,
        price=one.price,
        apart=stood.apart,
        left=one.price - vat_inside(one.price, terms.vat_percent) - cost,
        on_hand=stood.stand.on_hand,
        free=stood.stand.free,
        parts=tuple((part.name, part.sku, part.sku in stood.short) for part in stood.parts),
        is_on_sale=stood.is_on_sale,
    )


@owner_router.get("/console/sets/edit")
def show_set(
    request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf, sku: str = "", parts: str = ""
) -> Response:
    """A set by its SKU, or the form for a new one, of some parts where the address names their SKUs."""
    with shop.reading(account.name) as work:
        typed = {"sold": "yes", "parts": parts[:MOST_TYPED]} if not sku else None
        return pages.show(request, "console/sets_edit.html", _page(work, sku, typed), work.catalogue.policy.shop)


def _page(
    work: Work, sku: str, typed: Mapping[str, str] | None = None, faults: tuple[Fault, ...] = (), digest: str = ""
) -> SetPage:
    if not sku:
        return SetPage(None, "", typed or {"sold": "yes"}, faults)
    stood = read_set(work, sku)
    first = cells_of(stood.one)
    return SetPage(_shown(work, stood), digest or digest_of(stood.one), typed or first, faults)


@owner_router.post("/console/sets/edit")
def change(request: Request, account: OwnerOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Keep a set, new or changed, as one step of the catalogue."""
    sku, digest = text_in(form, "of"), text_in(form, "shown")
    typed = {name: text_in(form, name) for name in FIELD_WORDS} | ({"sku": sku} if sku else {})
    try:
        with shop.writing(account.name) as work:
            before = work.catalogue.version
            kept = kept_as(put_set(work, set_of(work, typed), digest), before)
        return see_other("/console/sets" + (f"?{urlencode(kept)}" if kept else ""))
    except (InvalidInput, Conflict) as error:
        faults, status = error.faults, 422 if isinstance(error, InvalidInput) else 409
    with shop.reading(account.name) as work:
        page = _page(work, sku, typed, faults, digest)
        return pages.show(request, "console/sets_edit.html", page, work.catalogue.policy.shop, status=status)


@owner_router.post("/console/sets/retire")
def retire(account: OwnerOf, form: Form, shop: ShopOf) -> Response:
    """Take a set out of the catalogue; its parts stay."""
    with shop.writing(account.name) as work:
        version = retire_set(work, text_in(form, "of"))
    return see_other(f"/console/sets?kept={version}")
