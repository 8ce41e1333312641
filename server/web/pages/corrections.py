"""The form at the desk that takes back a payment which was written down by mistake."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Fault, InvalidInput
from server.domain.money import Cents
from server.domain.sales import MEANS_WORDS, Sale
from server.usecases.corrections import entry_of, take_entry_back
from server.usecases.sales import read_sale
from server.usecases.work import Work, new_token
from server.web.pages.calls import RowNumber
from server.web.pages.forms import Form, TypedForm, text_in
from server.web.render import day_words, see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

FIELD_WORDS = {"why": "Why"}


@dataclass(frozen=True, kw_only=True)
class TakeBackPage(TypedForm):
    """An entry of what was paid that is taken back: its amount in cents, negative where the shop paid."""

    number: int
    code: str
    entry: int
    amount: Cents
    means: str
    day: str
    by: str
    key: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def words_of(self, name: str) -> str:
        """What a field asks for."""
        return FIELD_WORDS.get(name, "")


@router.get("/desk/sales/{number}/entries/{entry}/take-back")
def ask_take_back(
    request: Request, number: RowNumber, entry: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf
) -> Response:
    """Ask why an entry is taken back, before it is."""
    with shop.reading(account.name) as work:
        page = _take_back_page(work, read_sale(work, number), entry)
        return pages.show(request, "sales/take_back.html", page, work.catalogue.policy.shop)


@router.post("/desk/sales/{number}/entries/{entry}/take-back")
def take_back(
    request: Request, number: RowNumber, entry: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf
) -> Response:
    """Take an entry back, and on to the sale."""
    typed = {name: text_in(form, name) for name in ("why", "key")}
    try:
        with shop.writing(account.name) as work:
            take_entry_back(work, number, entry, typed["why"], typed["key"])
        return see_other(f"/desk/sales/{number}#paid")
    except InvalidInput as error:
        faults = error.faults
    with shop.reading(account.name) as work:
        page = _take_back_page(work, read_sale(work, number), entry, typed, faults)
        return pages.show(request, "sales/take_back.html", page, work.catalogue.policy.shop, status=422)


def _take_back_page(
    work: Work, sale: Sale, entry: int, typed: Mapping[str, str] | None = None, faults: tuple[Fault, ...] = ()
) -> TakeBackPage:
    one = entry_of(sale, entry)
    return TakeBackPage(
        number=sale.id,
        code=sale.code,
        key=(typed or {}).get("key") or new_token(),
        typed=typed or {},
        faults=faults,
        entry=one.id,
        amount=one.amount,
        means=MEANS_WORDS[one.means],
        day=day_words(one.day, work.catalogue.policy.shop),
        by=one.by,
    )
