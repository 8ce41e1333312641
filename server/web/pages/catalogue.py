"""The owner's list of parts: found by the address, changed in the row, with what is wrong said first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
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
from server.domain.pricing import Margin
from server.domain.reductions import called_words
from server.domain.slots import SLOT_WORDS
from server.usecases.catalogue_edits import all_listed, change_part, digest_of, part_listed, typed_of, words_in
from server.usecases.steps import list_steps
from server.usecases.work import Work
from server.web.pages.forms import Form, TypedForm, text_in
from server.web.render import see_other
from server.web.signed import OwnerOf
from server.web.state import PagesOf, ShopOf

owner_router = APIRouter(include_in_schema=False)

PAGE = 50
ROW_FIELDS = ("price", "markdown_price", "markdown_from", "sold")
MOST_SOUGHT = 100
WRONG = ("gone", "no_day", "not_reduced", "thin")


@dataclass(frozen=True)
class RowShown(TypedForm):
    """A part in the list: what stands of it, and its fields as they are or as they were typed; amounts in cents."""

    number: int
    sku: str
    name: str
    what: str
    on_hand: int
    held: int
    price: Cents
    cost: Cents
    earned: Cents
    percent: str
    flags: tuple[str, ...]
    called: str
    is_plain: bool
    is_retired: bool
    is_changed: bool
    shown: str
    typed: Mapping[str, str]
    faults: tuple[Fault, ...] = ()


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
    done: str
    floor: str
    is_asked: bool = field(default=False)


@owner_router.get("/console/catalogue")
def show(request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The parts that are looked for; `changed` names the one that was just changed."""
    with shop.reading(account.name) as work:
        page = _page(work, request.query_params)
        return pages.show(request, "console/catalogue.html", page, work.catalogue.policy.shop)


@owner_router.post("/console/catalogue")
def change(request: Request, account: OwnerOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Change a part in its row, and back to the same list; where that cannot be, the list with the row as it was typed."""
    sku, shown = text_in(form, "sku"), text_in(form, "shown")
    typed = {name: text_in(form, name) for name in ROW_FIELDS}
    typed["sold"] = "yes" if typed["sold"] else "no"
    try:
        with shop.writing(account.name) as work:
            change_part(work, sku, typed, shown)
        kept = {**_kept(request.query_params), "changed": sku}
        return see_other(f"/console/catalogue?{urlencode(kept)}#changed")
    except (InvalidInput, Conflict) as error:
        faults, status = error.faults, 422 if isinstance(error, InvalidInput) else 409
    with shop.reading(account.name) as work:
        page = _page(work, request.query_params, sku, typed, faults)
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
    work: Work,
    query: QueryParams,
    wrong: str = "",
    typed: Mapping[str, str] | None = None,
    faults: tuple[Fault, ...] = (),
) -> CataloguePage:
    asked, everything = asked_in(query), all_listed(work)
    found = found_among(everything, asked)
    number = min(_number(query), max(1, -(-len(found) // PAGE)))
    first = (number - 1) * PAGE
    changed = query.get("changed", "")
    marked = wrong or changed
    rows = found[first : first + PAGE]
    if marked in work.catalogue.parts and marked not in {row.part.sku for row in rows}:
        rows = (part_listed(work, marked), *rows)
    shown = tuple(row_shown(work, row, place, row.part.sku == marked) for place, row in enumerate(rows, start=1))
    if typed is not None:
        shown = tuple(
            replace(row, typed={**row.typed, **typed}, faults=_said_now(row, faults)) if row.sku == wrong else row
            for row in shown
        )
    kept = query_of(asked)
    return CataloguePage(
        asked=asked,
        query=urlencode(_kept(query)),
        bulk=urlencode(kept),
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
        rows=shown,
        first=first + 1 if found else 0,
        before=_to(kept, number - 1) if number > 1 else "",
        after=_to(kept, number + 1) if first + PAGE < len(found) else "",
        done=_done(work) if "done" in query else "",
        floor=f"{work.catalogue.policy.margin_floor_percent.normalize():f} %",
        is_asked=bool(kept),
    )


def _done(work: Work) -> str:
    """What the newest step was, if it changed many parts."""
    newest = next(iter(list_steps(work)), None)
    return newest.about.rpartition(" (")[0] if newest is not None and newest.kind == "bulk" else "the ledger has it"


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


def _said_now(row: RowShown, faults: tuple[Fault, ...]) -> tuple[Fault, ...]:
    """The faults, where it was changed meanwhile with what it is now."""
    if not any(fault.field == "sku" for fault in faults):
        return faults
    now = row.typed
    marked = f", marked down to {now['markdown_price']} from {now['markdown_from']}" if now["markdown_price"] else ""
    words = f" It is now at {now['price']}{marked}, {'sold' if now['sold'] == 'yes' else 'not sold'}."
    return tuple(replace(fault, message=fault.message + words, accepted="") for fault in faults)


def percent_words(margin: Margin) -> str:
    """What is earned, in whole per cent of the price without VAT."""
    return f"{margin.percent:.0f} %".replace("-", "−")


def row_shown(work: Work, row: Listed, number: int, is_changed: bool) -> RowShown:
    """A part as it is in the list."""
    part, cells = row.part, typed_of(row.part)
    return RowShown(
        number=number,
        sku=part.sku,
        name=part.name,
        what=f"{SLOT_WORDS[part.slot]}, {part.maker}",
        on_hand=row.on_hand,
        held=row.held,
        price=row.price,
        cost=part.cost,
        earned=row.margin.amount,
        percent=percent_words(row.margin),
        flags=tuple(FLAG_WORDS[flag] for flag in row.flags if flag in WRONG and flag != "not_reduced"),
        called=called_words(row.verdict, *words_in(work)) if row.verdict is not None and part.on_sale else "",
        is_plain=row.verdict is not None and row.verdict.reduction is None,
        is_retired=part.retired,
        is_changed=is_changed,
        shown=digest_of(part),
        typed={name: cells.get(name, "") for name in ROW_FIELDS},
    )
