"""What to order: the list for a season, size by size with its reason, the owner's own numbers, and each maker's order to take away."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from server.domain.deposits import decimal_of
from server.domain.errors import Fault, InvalidInput
from server.domain.money import Cents, Exact, round_half_up
from server.domain.numbers import FEWEST_FOR_A_SHARE
from server.domain.order_list import MakersOrder, OrderLine, UnlistedLine, Wanted
from server.domain.policy import ShopTerms
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS, SLOT_WORDS
from server.outside.workbook import workbook_of
from server.usecases.orders import OrderList, OrdersAsked, Typed, change_orders, read_orders, read_orders_asked
from server.usecases.work import Work
from server.web.pages.forms import Form, TypedForm, text_in
from server.web.pages.number_sections import whole_words
from server.web.pages.number_tables import class_words, size_words
from server.web.pages.order_files import COLUMNS, about_words, rows_of, sheets_of, unlisted_rows
from server.web.pages.tables import table_to_save
from server.web.render import day_words, money_words, see_other
from server.web.signed import OwnerOf
from server.web.state import PagesOf, ShopOf

owner_router = APIRouter(include_in_schema=False)

FIELDS = ("season_from", "season_to", "from", "to", "share")
MOST_NAMED = 6
THIN = 30
"""Of fewer quotes that decided the list is said to be thin: the share that buys is then uncertain by ten per cent and more."""
A_YEAR = 350
"""From so many days on all months are in them, nearly."""
MISSING_AT_LEAST = 0.1
"""So much of the days counted may lie before the first quote without a word about it."""
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@dataclass(frozen=True, slots=True)
class PartShown:
    """A part that could be ordered, in words, and whether it is the one that would be."""

    sku: str
    words: str
    is_ordered: bool


@dataclass(frozen=True, slots=True)
class LineShown:
    """A line of the list in words; amounts in cents. `pieces` are as typed, those kept tell a change from what was left alone.

    Without parts it is a size that the shop does not list.
    """

    key: str
    words: str
    asked: int
    unmet: int
    counter: int
    wanted: str
    on_hand: int | None
    held: int
    due: int
    suggested: int
    because: str
    is_own: bool
    pieces: str
    pieces_kept: str
    sku_kept: str
    parts: tuple[PartShown, ...]
    cost: Cents
    about: str = ""
    """What to ask makers for where it has no parts."""
    fault: Fault | None = None

    @property
    def field(self) -> str:
        """The line's key as a name within a page."""
        return "".join(sign if sign.isalnum() or sign in "-_." else "-" for sign in self.key)

    @property
    def is_told(self) -> bool:
        """Whether it says something at once: ordered, changed, typed wrong, or of a size that the shop does not list."""
        return self.pieces not in ("", "0") or self.is_own or self.fault is not None or not self.parts


@dataclass(frozen=True, slots=True)
class SlotShown:
    """The lines of a slot; sizes nobody asked for and nobody changed are only named."""

    slot: str
    title: str
    pieces: int
    cost: Cents
    lines: tuple[LineShown, ...]
    unasked: str

    @property
    def told(self) -> tuple[LineShown, ...]:
        """The lines that are shown at once."""
        return tuple(line for line in self.lines if line.is_told)

    @property
    def others(self) -> tuple[LineShown, ...]:
        """The lines of which nothing is ordered."""
        return tuple(line for line in self.lines if not line.is_told)


@dataclass(frozen=True)
class OrdersPage(TypedForm):
    """What to order for a season: the sum first, how sure it is, then slot by slot, then maker by maker; amounts in cents."""

    season: str
    counted: str
    pieces: int
    cost: Cents
    unlisted: int
    """Pieces ordered of sizes that the shop does not list, whose cost is not known."""
    kits: str
    all_days: tuple[str, str] | None
    """Words and address of the list counted from all days, where most quotes lie elsewhere."""
    base: tuple[str, ...]
    how: tuple[str, ...]
    slots: tuple[SlotShown, ...]
    makers: tuple[MakersOrder, ...]
    query: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    @property
    def line_faults(self) -> tuple[Fault, ...]:
        """What is wrong in lines, which may be far down the page."""
        return tuple(fault for fault in self.faults if fault.field not in FIELDS)


@owner_router.get("/console/orders")
def show(request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The list for the season of the address, the coming April to September where none is named."""
    typed = {name: request.query_params.get(name, "") for name in FIELDS}
    with shop.reading(account.name) as work:
        faults: tuple[Fault, ...] = ()
        try:
            asked = read_orders_asked(work, typed)
        except InvalidInput as error:
            faults, asked = error.faults, read_orders_asked(work, {})
        page = _page(work, read_orders(work, asked), typed if faults else _typed(asked), faults)
        return pages.show(
            request, "console/orders.html", page, work.catalogue.policy.shop, status=422 if faults else 200
        )


@owner_router.post("/console/orders")
def change(request: Request, account: OwnerOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Keep the owner's own numbers; where one cannot be read the list again with the fault beside it and nothing typed lost."""
    typed = {name: text_in(form, name) for name in FIELDS}
    lines = _lines_in(form)
    faults: tuple[Fault, ...]
    try:
        with shop.writing(account.name) as work:
            asked = read_orders_asked(work, typed)
            change_orders(work, asked, lines)
        return see_other(f"/console/orders?{_query(asked)}{_place(form)}")
    except InvalidInput as error:
        faults = error.faults
    with shop.reading(account.name) as work:
        is_address = any(fault.field in FIELDS for fault in faults)
        asked = read_orders_asked(work, {} if is_address else typed)
        page = _page(work, read_orders(work, asked), typed if is_address else _typed(asked), faults, lines)
        return pages.show(request, "console/orders.html", page, work.catalogue.policy.shop, status=422)


def _place(form: FormData) -> str:
    """The slot whose button was pressed, as a place on the page."""
    slot = text_in(form, "slot")
    return f"#{slot}" if slot in (*CORE_SLOTS, *EXTRA_SLOTS) else ""


def _lines_in(form: FormData) -> list[Typed]:
    keys = [name.removeprefix("pieces-") for name in form if name.startswith("pieces-")]
    return [
        Typed(
            key,
            text_in(form, f"pieces-{key}"),
            text_in(form, f"sku-{key}"),
            text_in(form, f"was-{key}"),
            text_in(form, f"was-sku-{key}"),
        )
        for key in keys
    ]


@owner_router.get("/console/orders/list.csv")
def as_csv(request: Request, account: OwnerOf, shop: ShopOf) -> Response:
    """The order, maker by maker, as CSV."""
    listed = _listed(request, account.name, shop)
    rows = [
        [str(cell) for cell in row] for row in (*rows_of(listed.makers, decimal_of), *unlisted_rows(listed.unlisted))
    ]
    return table_to_save(f"order-{listed.asked.season.first.isoformat()}.csv", [list(COLUMNS), *rows])


@owner_router.get("/console/orders/list.xlsx")
def as_workbook(request: Request, account: OwnerOf, shop: ShopOf) -> Response:
    """The order as a workbook: all of it on the first sheet, and a sheet for each maker with its sum."""
    listed = _listed(request, account.name, shop)
    name = f"order-{listed.asked.season.first.isoformat()}.xlsx"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(workbook_of(sheets_of(listed.makers, listed.unlisted)), media_type=XLSX, headers=headers)


def _listed(request: Request, name: str, shop: ShopOf) -> OrderList:
    with shop.reading(name) as work:
        typed = {field: request.query_params.get(field, "") for field in FIELDS}
        return read_orders(work, read_orders_asked(work, typed))


# The page.


def _typed(asked: OrdersAsked) -> dict[str, str]:
    return {
        "season_from": asked.season.first.isoformat(),
        "season_to": asked.season.last.isoformat(),
        "from": asked.counted.first.isoformat(),
        "to": asked.counted.last.isoformat(),
        "share": "" if asked.percent is None else str(asked.percent),
    }


def _query(asked: OrdersAsked) -> str:
    return urlencode({name: value for name, value in _typed(asked).items() if value})


def _page(
    work: Work,
    listed: OrderList,
    typed: Mapping[str, str],
    faults: tuple[Fault, ...],
    lines: Sequence[Typed] = (),
) -> OrdersPage:
    terms, asked = work.catalogue.policy.shop, listed.asked
    told = {one.key: one for one in lines}
    at = {fault.field: fault for fault in faults}
    return OrdersPage(
        season=f"{day_words(asked.season.first, terms)} to {day_words(asked.season.last, terms)}",
        counted=f"{day_words(asked.counted.first, terms)} to {day_words(asked.counted.last, terms)}",
        pieces=sum(line.pieces for line in listed.lines),
        cost=sum(line.cost for line in listed.lines),
        unlisted=sum(line.pieces for line in listed.unlisted),
        kits=_kits(listed),
        all_days=_all_days(listed, terms),
        base=_base(listed, terms),
        how=_how(listed),
        slots=tuple(
            shown for slot in (*CORE_SLOTS, *EXTRA_SLOTS) if (shown := _slot(slot, listed, terms, told, at)) is not None
        ),
        makers=listed.makers,
        query=_query(asked),
        typed=typed,
        faults=faults,
    )


def _kits(listed: OrderList) -> str:
    """What the whole list comes to, so that it can be held against what an owner remembers."""
    kept, days = listed.base.kept, listed.asked.counted.number
    quotes = f"{kept} quote{'' if kept == 1 else 's'} in {days} day{'' if days == 1 else 's'}"
    about = round(listed.kits)
    kits = f"about {about} kit{'' if about == 1 else 's'}" if about else "less than one kit"
    return f"{quotes}: {kits} in the season." if kept else ""


def _all_days(listed: OrderList, terms: ShopTerms) -> tuple[str, str] | None:
    days = listed.base.all_days
    if days is None or not listed.base.lies_elsewhere:
        return None
    number = listed.base.all_kept
    words = f"Count all days since {day_words(days.first, terms)} ({number} quote{'' if number == 1 else 's'})"
    return words, f"/console/orders?{_query(replace(listed.asked, counted=days))}"


def _base(listed: OrderList, terms: ShopTerms) -> tuple[str, ...]:
    """How thick the ground is that the list stands on, in sentences; the first is always said."""
    base, counted = listed.base, listed.asked.counted
    kept = f"{base.kept} quote{'' if base.kept == 1 else 's'} kept in these days, {base.decided} of them decided, {base.bought} bought."
    said = [kept]
    if base.oldest is None:
        return (*said, "No quote was kept here yet: nothing can be said about a season.")
    if (base.oldest - counted.first).days > counted.number * MISSING_AT_LEAST:
        since = day_words(base.oldest, terms)
        said.append(f"Quotes are kept here only since {since}: take what is suggested for the least of it.")
    if counted.first.month != listed.asked.season.first.month and counted.number < A_YEAR:
        said.append("They are other months than the season’s, in which more or fewer may ask.")
    if listed.asked.percent is None and base.decided < THIN:
        words = f"Fewer than {THIN} decided, so the share that buys is little more than a guess"
        if base.decided < FEWEST_FOR_A_SHARE:
            words += ", near a half for want of any"
        said.append(f"{words}. Say yours above if you know better.")
    return tuple(said)


def _how(listed: OrderList) -> tuple[str, ...]:
    """How the list comes about, in a few sentences."""
    terms, asked = listed.terms, listed.asked
    share = _per_cent(100 * terms.share.mean)
    bought = (
        f"{share}, as you have set it,"
        if asked.percent is not None
        else f"{share}, as of those who decided (one bought and one not added, so that few cases say little),"
    )
    longer = (
        f"{terms.scale:.2f} times as long as the days counted"
        if abs(terms.scale - 1) > 0.005
        else "as long as they are"
    )
    return (
        f"Demand is every kept quote of the days counted by its ideal size, what was not there included, of whom {bought} buy; and"
        f" what was sold over the counter. The season is {longer}.",
        "Ordered is the number that is enough in so many seasons that one piece more would as likely cost as earn: one too few loses"
        f" price less cost, one too many cost less what it fetches afterwards. Prices are without VAT and less"
        f" {_per_cent(terms.discount_percent)}, the discount usually given on parts of a kit; what is left of a price"
        " after the season stands in the policy.",
        "A size that was missed and that no part in the catalogue fits stands in a line of its own. Nobody knows what such a part"
        " costs, so none is suggested, but pieces can be set; the order has the size in place of a SKU.",
        "What is on hand counts as of today: what sells before the season begins is missing then, so look again nearer to it.",
    )


def _per_cent(value: float | Exact) -> str:
    return f"{round_half_up(Fraction(value))}\N{NO-BREAK SPACE}%"


def _slot(
    slot: str, listed: OrderList, terms: ShopTerms, told: Mapping[str, Typed], at: Mapping[str, Fault]
) -> SlotShown | None:
    all_lines = [line for line in listed.lines if line.wanted.slot == slot]
    lines = [line for line in all_lines if _is_worth_a_row(line) or line.wanted.key in told]
    unasked = [_words(line.wanted) for line in all_lines if line not in lines]
    unlisted = [line for line in listed.unlisted if line.wanted.slot == slot]
    if not lines and not unlisted:
        return None
    title = SLOT_WORDS[slot]
    return SlotShown(
        slot,
        title[:1].upper() + title[1:],
        sum(line.pieces for line in lines) + sum(line.pieces for line in unlisted),
        sum(line.cost for line in lines),
        (
            *(_line(line, listed, terms, told.get(line.wanted.key), at) for line in lines),
            *(_unlisted(line, told.get(line.wanted.key), at) for line in unlisted),
        ),
        _unasked(unasked),
    )


def _unasked(words: Sequence[str]) -> str:
    """Sizes nobody asked for, by name while they are few."""
    return ", ".join(words) if len(words) <= MOST_NAMED else f"{len(words)} more sizes or parts"


def _is_worth_a_row(line: OrderLine) -> bool:
    return line.demand.mean > 0 or line.choice is not None or line.wanted.unmet > 0


def _words(wanted: Wanted) -> str:
    """A size with what it joins, or a part by its name and size."""
    if wanted.size is not None:
        return ", ".join((class_words(wanted.size), *wanted.joins))
    part = wanted.parts[0]
    measure = part.gear.measures.get("size", "")
    return f"{part.name}, {measure}" if measure else part.name


def _line(
    line: OrderLine, listed: OrderList, terms: ShopTerms, told: Typed | None, at: Mapping[str, Fault]
) -> LineShown:
    key, demand = line.wanted.key, line.demand
    return LineShown(
        key=key,
        words=_words(line.wanted),
        asked=line.wanted.asked,
        unmet=line.wanted.unmet,
        counter=line.wanted.counter,
        wanted=f"{demand.mean:.1f}, {demand.low} to {demand.high}",
        on_hand=line.on_hand,
        held=line.held,
        due=line.due,
        suggested=line.suggestion.order,
        because=_because(line, terms),
        is_own=line.choice is not None,
        pieces=told.pieces if told else str(line.pieces),
        pieces_kept=str(line.pieces),
        sku_kept=line.part.sku,
        parts=tuple(
            PartShown(
                part.sku, _part_words(part.sku, line, listed, terms), part.sku == (told.sku if told else line.part.sku)
            )
            for part in line.wanted.parts
        ),
        cost=line.cost,
        fault=at.get(f"pieces-{key}") or at.get(f"sku-{key}"),
    )


def _unlisted(line: UnlistedLine, told: Typed | None, at: Mapping[str, Fault]) -> LineShown:
    key, wanted = line.wanted.key, line.wanted
    times = Counter(size_words(wanted.slot, ideal) for ideal in wanted.ideals)
    sizes = ", ".join(size if number == 1 else f"{number} × {size}" for size, number in times.items())
    return LineShown(
        key=key,
        words=f"{_words(wanted)}: nothing stocked fits",
        asked=wanted.asked,
        unmet=wanted.unmet,
        counter=0,
        wanted=f"{line.demand.mean:.1f}, {line.demand.low} to {line.demand.high}",
        on_hand=None,
        held=0,
        due=0,
        suggested=0,
        because=f"Sizes asked for: {sizes}. No part has such a size, so no cost is known and no number suggested; nothing that is"
        " here helps those who asked.",
        is_own=line.choice is not None,
        pieces=told.pieces if told else str(line.pieces),
        pieces_kept=str(line.pieces),
        sku_kept="",
        parts=(),
        about=f"a size the shop does not list: {about_words(line)}",
        cost=0,
        fault=at.get(f"pieces-{key}") or at.get(f"sku-{key}"),
    )


def _part_words(sku: str, line: OrderLine, listed: OrderList, terms: ShopTerms) -> str:
    part = next(one for one in line.wanted.parts if one.sku == sku)
    here = listed.there.on_hand.get(sku, 0)
    sold = listed.sold.get(sku, 0)
    words = f"{part.name} · {money_words(part.cost, terms)} · {here} here"
    if sold > 0:
        words += f", {sold} sold"
    return words if part.markdown_on(listed.terms.today) is None else f"{words}, marked down"


def _because(line: OrderLine, terms: ShopTerms) -> str:
    """Why so many, in a sentence or two."""
    suggestion, stakes, demand = line.suggestion, line.stakes, line.demand
    if demand.mean <= 0:
        return "Nobody asked for it in the days counted."
    if stakes.under <= 0:
        return "It earns nothing at this price, so none is ordered."
    seasons = f"{min(99, round(100 * stakes.ratio))} of 100 seasons"
    few, many = whole_words(stakes.under, terms), whole_words(stakes.over, terms)
    worth = f"Worth having enough in {seasons} (one missed loses {few}, one left over {many}): {_pieces(suggestion.wanted)}."
    there = suggestion.on_hand + suggestion.due
    if not suggestion.wanted:
        return worth
    return f"{worth} {there or 'None'} free or due, so {suggestion.order or 'none'}."


def _pieces(number: int) -> str:
    return "none" if not number else f"{number} piece{'' if number == 1 else 's'}"
