"""One part for the owner: its fields, its prices with their days, its ledger with who and why, its photographs; or a new one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import cast
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.listing import ALL_SLOTS
from server.domain.stock import BY_HAND, MovementKind
from server.usecases.accounts import Account
from server.usecases.catalogue_edits import (
    MOST_PHOTOS,
    add_part,
    book_stock,
    bring_back_part,
    change_part,
    change_photos,
    columns_of,
    make_it_the_price,
    part_listed,
    part_of,
    retire_part,
)
from server.usecases.work import Shop, Work
from server.web.pages.forms import Form, PhotoForm, photos_in, text_in, texts_in
from server.web.pages.part_shown import PIECES_ACCEPTED, new_page, part_page
from server.web.render import see_other
from server.web.signed import OwnerOf
from server.web.state import PagesOf, ShopOf

owner_router = APIRouter(include_in_schema=False)

KEPT_WORDS = {
    "fields": "Kept as it stands here.",
    "new": "It is in the catalogue now. Count what is on the shelf, below.",
    "stock": "Booked.",
    "photos": "The photographs are kept so.",
    "retired": "Retired: it is offered no more, and what was sold and quoted stays on record.",
    "back": "Brought back: it is on the list again.",
    "plain": "That is its plain price now.",
}


@owner_router.get("/console/part")
def show(request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf, sku: str = "", kept: str = "") -> Response:
    """The part of a SKU."""
    return _shown(request, account, shop, pages, sku, kept=KEPT_WORDS.get(kept, ""))


@owner_router.post("/console/part")
def change(request: Request, account: OwnerOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Keep the fields of a part as they were typed."""
    sku = text_in(form, "sku")

    def done(work: Work) -> None:
        change_part(work, sku, _fields_in(form, part_of(work, sku).slot), text_in(form, "shown"))

    return _done(request, account, form, shop, pages, "fields", done)


@owner_router.get("/console/part/new")
def begin(request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf, slot: str = "") -> Response:
    """The form for a new part of a slot; without one the slots to choose from."""
    with shop.reading(account.name) as work:
        page = new_page(slot if slot in ALL_SLOTS else "", {"sold": "yes"}, ())
        return pages.show(request, "console/part.html", page, work.catalogue.policy.shop)


@owner_router.post("/console/part/new")
def add(request: Request, account: OwnerOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Add a part, and on to it; what is wrong is said beside its field."""
    slot = text_in(form, "slot")
    slot = slot if slot in ALL_SLOTS else ""
    typed = _fields_in(form, slot) if slot else {}
    faults: tuple[Fault, ...] = (Fault("slot", "A slot has to be chosen.", "one of those below"),)
    try:
        if slot:
            with shop.writing(account.name) as work:
                part = add_part(work, slot, typed)
            return see_other("/console/part?" + urlencode({"sku": part.sku, "kept": "new"}))
    except InvalidInput as error:
        faults = error.faults
    with shop.reading(account.name) as work:
        page = new_page(slot, typed, faults)
        return pages.show(request, "console/part.html", page, work.catalogue.policy.shop, status=422)


@owner_router.post("/console/part/stock")
def book(request: Request, account: OwnerOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Book what happened to a part, by its reason."""
    sku, kind, pieces = (text_in(form, name) for name in ("sku", "kind", "pieces"))

    def done(work: Work) -> None:
        part_of(work, sku)
        faults = []
        if kind not in BY_HAND:
            faults.append(Fault("kind", "This has to be said.", "one of those listed"))
        if not _is_whole(pieces):
            faults.append(Fault("pieces", "This is not a number of pieces.", PIECES_ACCEPTED))
        if faults:
            raise InvalidInput(faults)
        book_stock(work, sku, cast(MovementKind, kind), int(pieces), text_in(form, "why"), _newest_in(form))

    return _done(request, account, form, shop, pages, "stock", done)


@owner_router.post("/console/part/retire")
def retire(request: Request, account: OwnerOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Retire a part, or bring it back."""
    sku, shown, is_back = text_in(form, "sku"), text_in(form, "shown"), text_in(form, "back") == "yes"

    def done(work: Work) -> None:
        (bring_back_part if is_back else retire_part)(work, sku, shown)

    return _done(request, account, form, shop, pages, "back" if is_back else "retired", done)


@owner_router.post("/console/part/plain")
def make_plain(request: Request, account: OwnerOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Make the markdown the plain price."""

    def done(work: Work) -> None:
        make_it_the_price(work, text_in(form, "sku"), text_in(form, "shown"))

    return _done(request, account, form, shop, pages, "plain", done)


@owner_router.post("/console/part/photos")
def photograph(request: Request, account: OwnerOf, form: PhotoForm, shop: ShopOf, pages: PagesOf) -> Response:
    """Keep further photographs of a part, and delete those ticked."""
    photos, faults = photos_in(form, "photos", MOST_PHOTOS)

    def done(work: Work) -> None:
        part_of(work, text_in(form, "sku"))
        if faults:
            raise InvalidInput(faults)
        change_photos(work, text_in(form, "sku"), photos, texts_in(form, "drop"))

    return _done(request, account, form, shop, pages, "photos", done)


def _done(
    request: Request,
    account: Account,
    form: FormData,
    shop: Shop,
    pages: PagesOf,
    kept: str,
    done: Callable[[Work], None],
) -> Response:
    """Back to the part once something is done; where it cannot be, the part again with what was typed and why not."""
    sku = text_in(form, "sku")
    try:
        with shop.writing(account.name) as work:
            done(work)
        return see_other("/console/part?" + urlencode({"sku": sku, "kept": kept}))
    except (InvalidInput, Conflict) as error:
        faults, status = error.faults, 422 if isinstance(error, InvalidInput) else 409
    typed = {name: text_in(form, name) for name in form if name not in ("sku", "shown", "newest", "photos", "drop")}
    return _shown(request, account, shop, pages, sku, typed, faults, status)


def _shown(
    request: Request,
    account: Account,
    shop: Shop,
    pages: PagesOf,
    sku: str,
    typed: Mapping[str, str] | None = None,
    faults: tuple[Fault, ...] = (),
    status: int = 200,
    kept: str = "",
) -> Response:
    with shop.reading(account.name) as work:
        page = part_page(work, part_listed(work, sku), typed or {}, faults, kept)
        return pages.show(request, "console/part.html", page, work.catalogue.policy.shop, status=status)


def _fields_in(form: FormData, slot: str) -> dict[str, str]:
    typed = {name: text_in(form, name) for name, _, _ in columns_of(slot)}
    return {**typed, "sold": "yes" if typed["sold"] else "no"} if "sold" in typed else typed


def _is_whole(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= 7


def _newest_in(form: FormData) -> int:
    """The newest entry that the form was shown with; −1 where it does not say, so that nothing is booked unseen."""
    text = text_in(form, "newest")
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 12 else -1
