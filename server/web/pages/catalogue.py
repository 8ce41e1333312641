"""The owner's list of parts: found by the address, changed in the row, with what is wrong said first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.listing import (
    ALL_SLOTS,
    FLAG_WORDS,
    FLAGS,
    SOLD_WORDS,
    STOCK_WORDS,
    Asked,
    Listed,
    found_among,
)
from server.domain.money import Cents
from server.domain.slots import SLOT_WORDS
from server.usecases.catalogue_edits import all_listed, part_listed
from server.usecases.list_edits import RowTyped, change_rows
from server.usecases.step_changes import skus_changed
from server.usecases.work import Work
from server.web.pages.catalogue_rows import RowShown, row_shown, rows_typed, with_typed
from server.web.pages.forms import Form
from server.web.pages.kept import Kept, kept_in, kept_step
from server.web.render import see_other
from server.web.signed import OwnerOf
from server.web.state import PagesOf, ShopOf

owner_router = APIRouter(include_in_schema=False)

PAGE = 50
MOST_SOUGHT = 100
MOST_BESIDE = 10
"""So many parts that were just kept are shown although they are not among those looked for any more."""
MOST_ROWS = 60
"""The fields of so many rows fit into one form."""


@dataclass(frozen=True, slots=True)
class Choice:
    """A choice of what to look for: its words, how many there are, its address."""

    words: str
    count: int
    href: str
    is_chosen: bool


@dataclass(frozen=True)
class CataloguePage:
    """What is looked for, what was found, and what is wrong with any of it; amounts in cents."""

    asked: Asked
    query: str
    bulk: str
    sought: tuple[tuple[str, str], ...]
    slots: tuple[tuple[str, str], ...]
    makers: tuple[str, ...]
    stocks: tuple[tuple[str, str], ...]
    solds: tuple[tuple[str, str], ...]
    flags: tuple[tuple[str, str], ...]
    found: int
    pieces: int
    held: int
    at_cost: Cents
    at_price: Cents
    wrong: tuple[Choice, ...]
    rows: tuple[RowShown, ...]
    first: int
    before: str
    after: str
    floor: str
    kept: Kept | None
    is_booked: bool
    is_none_ticked: bool
    faults: tuple[Fault, ...] = ()
    is_asked: bool = field(default=False)

    @property
    def waiting(self) -> tuple[RowShown, ...]:
        """The rows that were changed and are not kept yet."""
        return tuple(row for row in self.rows if row.is_waiting)


@owner_router.get("/console/catalogue")
def show(request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The parts that are looked for; `kept` names the step that was just made of some."""
    with shop.reading(account.name) as work:
        page = _page(work, request.query_params)
        return pages.show(request, "console/catalogue.html", page, work.catalogue.policy.shop)


@owner_router.post("/console/catalogue")
def change(request: Request, account: OwnerOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Keep all rows that were changed as one step, and back to the same list; where that cannot be, the list as it was typed."""
    rows, query = rows_typed(form), request.query_params
    try:
        with shop.writing(account.name) as work:
            version = change_rows(work, rows)
        kept = {**_kept(query), **({"kept": str(version)} if version else {})}
        return see_other(f"/console/catalogue?{urlencode(kept)}")
    except (InvalidInput, Conflict) as error:
        faults, status = error.faults, 422 if isinstance(error, InvalidInput) else 409
    with shop.reading(account.name) as work:
        page = _page(work, query, rows, faults)
        return pages.show(request, "console/catalogue.html", page, work.catalogue.policy.shop, status=status)


def asked_in(query: QueryParams) -> Asked:
    """What an address looks for; what it does not know is passed over."""

    def one_of(name: str, known: Iterable[str]) -> str:
        value = query.get(name, "")
        return value if value in known else ""

    return Asked(
        words=query.get("q", "").strip()[:MOST_SOUGHT],
        slot=one_of("slot", ALL_SLOTS),
        maker=query.get("maker", "")[:200],
        stock=one_of("stock", STOCK_WORDS),
        sold=one_of("sold", SOLD_WORDS),
        flag=one_of("flag", FLAGS),
    )


def query_of(asked: Asked) -> dict[str, str]:
    """What is looked for, as it stands in an address."""
    named = {"q" if one.name == "words" else one.name: getattr(asked, one.name) for one in fields(asked)}
    return {name: value for name, value in named.items() if value}


def _kept(query: QueryParams) -> dict[str, str]:
    """The list as it is asked for, with the page that is looked at."""
    page = {"page": str(_number(query))} if _number(query) > 1 else {}
    return {**query_of(asked_in(query)), **page}


def _number(query: QueryParams) -> int:
    text = query.get("page", "1")
    return max(1, int(text)) if text.isascii() and text.isdigit() and len(text) <= 6 else 1


def _page(
    work: Work, query: QueryParams, typed: Sequence[RowTyped] = (), faults: tuple[Fault, ...] = ()
) -> CataloguePage:
    asked, everything = asked_in(query), all_listed(work)
    found = found_among(everything, asked)
    number = min(_number(query), max(1, -(-len(found) // PAGE)))
    first = (number - 1) * PAGE
    kept = query_of(asked)
    return CataloguePage(
        asked=asked,
        query=urlencode(_kept(query)),
        bulk=urlencode(kept),
        sought=tuple(kept.items()),
        slots=tuple((slot, SLOT_WORDS[slot]) for slot in ALL_SLOTS),
        makers=tuple(sorted({row.part.maker for row in everything})),
        stocks=tuple(STOCK_WORDS.items()),
        solds=tuple(SOLD_WORDS.items()),
        flags=tuple(FLAG_WORDS.items()),
        found=len(found),
        pieces=sum(row.on_hand for row in found),
        held=sum(row.held for row in found),
        at_cost=sum(row.on_hand * row.part.cost for row in found),
        at_price=sum(row.on_hand * row.price for row in found),
        wrong=_wrong(everything, asked),
        rows=_rows(work, query, found[first : first + PAGE], typed, faults),
        first=first + 1 if found else 0,
        before=_to(kept, number - 1) if number > 1 else "",
        after=_to(kept, number + 1) if first + PAGE < len(found) else "",
        floor=f"{work.catalogue.policy.margin_floor_percent.normalize():f} %",
        kept=kept_in(work, query),
        is_booked="booked" in query,
        is_none_ticked="none" in query,
        faults=faults,
        is_asked=bool(kept),
    )


def _rows(
    work: Work,
    query: QueryParams,
    found: tuple[Listed, ...],
    typed: Sequence[RowTyped],
    faults: tuple[Fault, ...],
) -> tuple[RowShown, ...]:
    """The rows of a page: first those that were typed in or just kept and are not among them, so that nobody looks for them."""
    cells = {row.sku: row.cells for row in typed}
    step = kept_step(work, query)
    changed = skus_changed(work, step.version) if step is not None else frozenset()
    here = {row.part.sku for row in found}
    beside = [*cells] if cells else sorted(changed) if len(changed) <= MOST_BESIDE else []
    others = [part_listed(work, sku) for sku in beside if sku not in here and sku in work.catalogue.parts]
    rows = [*others, *found][:MOST_ROWS]
    shown = (row_shown(work, row, place, row.part.sku in changed) for place, row in enumerate(rows, start=1))
    return tuple(with_typed(row, cells, faults) for row in shown)


def _to(kept: Mapping[str, str], number: int) -> str:
    return "/console/catalogue?" + urlencode({**kept, "page": str(number)})


def _wrong(everything: tuple[Listed, ...], asked: Asked) -> tuple[Choice, ...]:
    """What may be wrong with any of the parts that are looked for, each with how many there are."""
    around = found_among(everything, replace(asked, flag=""))
    choices = []
    for flag in FLAGS:
        count = sum(flag in row.flags for row in around)
        is_chosen = asked.flag == flag
        address = urlencode(query_of(replace(asked, flag="" if is_chosen else flag)))
        if count or is_chosen:
            choices.append(Choice(FLAG_WORDS[flag], count, f"/console/catalogue?{address}", is_chosen))
    return tuple(choices)
