"""A serial number corrected at the desk, with a reason."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Fault, InvalidInput
from server.domain.sales import Sale
from server.domain.serials import NOT_WRITTEN, may_be_corrected, serial_words
from server.usecases.sales import read_sale
from server.usecases.serials import correct_serial
from server.usecases.work import Work, new_token
from server.web.pages.calls import RowNumber
from server.web.pages.forms import Form, TypedForm, text_in
from server.web.render import see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

FIELD_WORDS = {"item": "Which part", "serial": "The number on it", "why": "Why"}


@dataclass(frozen=True)
class SerialsPage(TypedForm):
    """The serial numbers of a sale as they are known, and the form that corrects one."""

    number: int
    code: str
    name: str
    parts: tuple[tuple[str, str], ...]
    options: tuple[tuple[str, str], ...]
    key: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def words_of(self, name: str) -> str:
        """What a field asks for; empty for what is no field."""
        return FIELD_WORDS.get(name, "")


def _page(sale: Sale, typed: Mapping[str, str], faults: Sequence[Fault] = ()) -> SerialsPage:
    items = [item for item in sale.items if may_be_corrected(item)]
    return SerialsPage(
        number=sale.id,
        code=sale.code,
        name=sale.contact.name,
        parts=tuple((item.label, serial_words(sale, item) or NOT_WRITTEN) for item in items),
        options=tuple((str(item.number), item.label) for item in items),
        key=typed.get("key") or new_token(),
        typed=typed,
        faults=tuple(faults),
    )


def _shown(request: Request, work: Work, pages: PagesOf, page: SerialsPage, status: int = 200) -> Response:
    return pages.show(request, "handover/serials.html", page, work.catalogue.policy.shop, status=status)


@router.get("/desk/sales/{number}/serials")
def show(request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The serial numbers, and the form."""
    with shop.reading(account.name) as work:
        return _shown(request, work, pages, _page(read_sale(work, number), {}))


@router.post("/desk/sales/{number}/serials")
def correct(
    request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf
) -> Response:
    """Correct one; what is wrong is said at its field, and what was typed is kept."""
    typed = {name: text_in(form, name) for name in ("item", "serial", "has_none", "why", "key")}
    item = typed["item"]
    place = int(item) if item.isascii() and item.isdigit() and len(item) < 10 else 0
    try:
        with shop.writing(account.name) as work:
            correct_serial(work, number, place, typed["serial"], bool(typed["has_none"]), typed["why"], typed["key"])
        return see_other(f"/desk/sales/{number}/serials")
    except InvalidInput as error:
        faults = error.faults
    with shop.reading(account.name) as work:
        return _shown(request, work, pages, _page(read_sale(work, number), typed, faults), 422)
