"""One change for many parts: said, looked at part by part with what each would earn, then done as one step or not at all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.datastructures import FormData, QueryParams
from starlette.requests import Request
from starlette.responses import Response

from server.domain.bulk_changes import ENDING_WORDS, Changed
from server.domain.catalogue import Part
from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.listing import found_among, margin_at
from server.domain.money import Cents
from server.domain.part_words import bulk_words, counted_words
from server.domain.reductions import DayWords, MoneyWords, called_words, moved_words
from server.domain.sets import MOST_PARTS, PARTS_ACCEPTED, said_parts
from server.usecases.accounts import Account
from server.usecases.bulk_changes import Booking, StockChange, apply_change, apply_stock, work_out, work_out_stock
from server.usecases.catalogue_edits import all_listed, words_in
from server.usecases.work import Shop, Work
from server.web.pages.bulk_said import read_change, stock_words
from server.web.pages.catalogue import asked_in, query_of
from server.web.pages.catalogue_rows import percent_words
from server.web.pages.forms import Form, TypedForm
from server.web.pages.part_shown import KIND_CHOICES
from server.web.render import see_other
from server.web.signed import OwnerOf
from server.web.state import PagesOf, ShopOf

owner_router = APIRouter(include_in_schema=False)

CHANGES = (
    ("price", "Another price"),
    ("markdown", "Mark down"),
    ("markdown_off", "Take markdowns off"),
    ("sold", "Sell, or sell no more"),
    ("stock", "Book stock"),
)
FIELDS = ("change", "by", "value", "ending", "percent", "since", "sold_is", "kind", "pieces", "why", "dearer")
MOST_SHOWN = 200
BY = (("percent", "per cent"), ("amount", "amount"))
SOLD = (("yes", "sold"), ("no", "not sold"))
WORDS = {
    "change": "What is to be done",
    "by": "By",
    "value": "Up or down by",
    "ending": "Rounded",
    "percent": "Down by",
    "since": "From",
    "sold_is": "Sold or not",
    "kind": "What happened",
    "pieces": "Pieces of each",
    "why": "Why",
    "parts": "Those ticked",
}
REFUSED = {
    "same": "It stays as it is.",
    "price": "No price between 0.01 and 100000.00 would come of it.",
    "markdown_above": "Its markdown of {markdown} would not be below the price: take that off first.",
    "not_below": "That is not below its price.",
    "none": "It is not marked down.",
    "dearer": "It is marked down further already: this would make it dearer.",
}


@dataclass(frozen=True, slots=True)
class RowShown:
    """A part in the preview: what it is and what it becomes, in words; what it earns then; why it is left out, or what is to know."""

    sku: str
    name: str
    before: str
    after: str
    earned: Cents | None
    percent: str
    is_thin: bool
    is_loss: bool
    is_dearer: bool
    refused: str
    called: str


@dataclass(frozen=True)
class BulkPage(TypedForm):
    """The parts chosen, what is to be done with them, and the preview once that is said."""

    what: str
    ticked: tuple[str, ...]
    query: str
    back: str
    asked: tuple[tuple[str, str], ...]
    changes: tuple[tuple[str, str], ...]
    bys: tuple[tuple[str, str], ...]
    endings: tuple[tuple[str, str], ...]
    solds: tuple[tuple[str, str], ...]
    kinds: tuple[tuple[str, str], ...]
    earliest: str
    rows: tuple[RowShown, ...] = ()
    more: int = 0
    left_out: int = 0
    done: int = 0
    thin: int = 0
    loss: int = 0
    dearer: int = 0
    about: str = ""
    digest: str = ""
    is_shown: bool = False
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def words_of(self, name: str) -> str:
        """What a field asks for."""
        return WORDS.get(name, "")


@owner_router.get("/console/catalogue/bulk")
def show(request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The form, and the preview where the address says what is to be done."""
    query = request.query_params
    with shop.reading(account.name) as work:
        page = _page(work, query)
        status = 422 if page.faults else 200
        return pages.show(request, "console/bulk.html", page, work.catalogue.policy.shop, status=status)


@owner_router.post("/console/catalogue/bulk")
def answer(request: Request, account: OwnerOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """As the address would, for parts that were ticked, since an address cannot name many; do what the preview said; or make a set."""
    query = _as_query(form)
    if query.get("digest"):
        return _apply(request, account, query, shop, pages)
    ticked, back = query.getlist("sku"), query_of(asked_in(query))
    if query.get("do") and not ticked:
        return see_other("/console/catalogue?" + urlencode({**back, "none": "ticked"}))
    if query.get("do") == "set" and len(ticked) <= MOST_PARTS:
        return see_other("/console/sets/edit?" + urlencode({"parts": said_parts(ticked)}))
    too_many = Fault("parts", f"{len(ticked)} are ticked.", PARTS_ACCEPTED)
    with shop.reading(account.name) as work:
        page = _page(work, query, (too_many,) if query.get("do") == "set" else ())
        status = 422 if page.faults else 200
        return pages.show(request, "console/bulk.html", page, work.catalogue.policy.shop, status=status)


def _apply(request: Request, account: Account, query: QueryParams, shop: Shop, pages: PagesOf) -> Response:
    """Do what the preview said, and back to the list; where something moved meanwhile, the preview anew."""
    faults: tuple[Fault, ...] = ()
    status = 422  # Of what cannot be read; the page reads it again, and says what is wrong with it.
    try:
        with shop.writing(account.name) as work:
            change = read_change(query, work.today)
            skus = _skus(work, query)
            if isinstance(change, StockChange):
                apply_stock(work, change, skus, query.get("digest", ""))
                done = {"booked": "yes"}
            else:
                done = {"kept": str(apply_change(work, change, skus, query.get("digest", "")))}
        return see_other("/console/catalogue?" + urlencode({**query_of(asked_in(query)), **done}))
    except Conflict as error:
        faults, status = error.faults, 409
    except InvalidInput as error:
        faults = tuple(fault for fault in error.faults if fault.field not in FIELDS)
    with shop.reading(account.name) as work:
        page = _page(work, query, faults)
        return pages.show(request, "console/bulk.html", page, work.catalogue.policy.shop, status=status)


def _as_query(form: FormData) -> QueryParams:
    return QueryParams([(name, value) for name, value in form.multi_items() if isinstance(value, str)])


def _skus(work: Work, query: QueryParams) -> tuple[str, ...]:
    """The parts ticked, or all that are looked for; those that the catalogue does not have are passed over."""
    ticked = [sku for sku in dict.fromkeys(query.getlist("sku")) if sku in work.catalogue.parts]
    if ticked:
        return tuple(ticked)
    return tuple(row.part.sku for row in found_among(all_listed(work), asked_in(query)))


def _page(work: Work, query: QueryParams, faults: tuple[Fault, ...] = ()) -> BulkPage:
    asked, skus = query_of(asked_in(query)), _skus(work, query)
    ticked = tuple(sku for sku in dict.fromkeys(query.getlist("sku")) if sku in work.catalogue.parts)
    typed = {name: query.get(name, "") for name in FIELDS}
    plain = BulkPage(
        what=counted_words([work.catalogue.parts[sku] for sku in skus]),
        ticked=ticked,
        query=urlencode(asked),
        back="/console/catalogue" + (f"?{urlencode(asked)}" if asked else ""),
        asked=tuple(asked.items()),
        changes=CHANGES,
        bys=BY,
        endings=tuple((value, words) for value, words in ENDING_WORDS.items() if value != "exact"),
        solds=SOLD,
        kinds=KIND_CHOICES,
        earliest=work.today.isoformat(),
        typed={**typed, "by": typed["by"] or "percent"},
        faults=faults,
    )
    return _with_preview(work, plain, query, skus) if query.get("change") else plain


def _with_preview(work: Work, plain: BulkPage, query: QueryParams, skus: tuple[str, ...]) -> BulkPage:
    """The page with what would be done, or with what is wrong with what was said."""
    try:
        change = read_change(query, work.today)
    except InvalidInput as error:
        return replace(plain, faults=(*plain.faults, *error.faults))
    if isinstance(change, StockChange):
        bookings, digest = work_out_stock(work, change, skus)
        rows = tuple(_booking_shown(one) for one in bookings)
        about = stock_words(change, sum(not row.refused for row in rows))
    else:
        changed, digest = work_out(work, change, skus)
        rows = tuple(_row_shown(work, one) for one in changed)
        parts = [one.after for one in changed if not one.refused]
        about = bulk_words(change, parts, *words_in(work)) if parts else ""
    done = sum(not row.refused for row in rows)
    return replace(
        plain,
        rows=sorted_rows(rows)[:MOST_SHOWN],
        more=max(0, len(rows) - MOST_SHOWN),
        left_out=len(rows) - done,
        done=done,
        thin=sum(row.is_thin and not row.refused for row in rows),
        loss=sum(row.is_loss and not row.refused for row in rows),
        dearer=sum(row.is_dearer for row in rows),
        about=about,
        digest=digest,
        is_shown=True,
    )


def sorted_rows(rows: tuple[RowShown, ...]) -> tuple[RowShown, ...]:
    """Those left out first, then those at a loss and those under the margin's floor, since they are what must be looked at."""
    return tuple(sorted(rows, key=lambda row: (not row.refused, not row.is_loss, not row.is_thin)))


def _booking_shown(one: Booking) -> RowShown:
    refused = f"Only {one.before} are on hand." if one.is_refused else ""
    refused = refused or ("" if one.movement is not None else "The ledger says so already.")
    return RowShown(
        one.sku, one.name, f"{one.before} on hand", str(one.after), None, "", False, False, False, refused, ""
    )


def _row_shown(work: Work, one: Changed) -> RowShown:
    money, day = words_in(work)
    part, catalogue = one.after, work.catalogue
    holding = part.markdown.price if part.markdown is not None else part.price
    margin = margin_at(holding, part, catalogue)
    verdict = one.verdict
    refused = REFUSED.get(one.refused, "")
    if one.refused == "markdown_above" and part.markdown is not None:
        refused = refused.format(markdown=money(part.markdown.price))
    if one.refused in ("past", "smaller") and verdict is not None:
        refused = moved_words(verdict, money, day)
    return RowShown(
        sku=part.sku,
        name=part.name,
        before=_stands(one.before, money, day),
        after=_stands(part, money, day),
        earned=margin.amount,
        percent=percent_words(margin),
        is_thin=margin.is_under(catalogue.policy.margin_floor_percent),
        is_loss=margin.amount < 0,
        is_dearer=one.is_dearer,
        refused=refused,
        called="" if verdict is None or one.refused else called_words(verdict, money, day),
    )


def _stands(part: Part, money: MoneyWords, day: DayWords) -> str:
    """A part's price, its markdown and whether it is sold, in words."""
    words = money(part.price)
    if part.markdown is not None:
        since = f" from {day(part.markdown.since)}" if part.markdown.since else ""
        words += f", marked down to {money(part.markdown.price)}{since}"
    return words if part.sold else f"{words}, not sold"
