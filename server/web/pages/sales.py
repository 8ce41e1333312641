"""Sales at the desk: the newest ones, one with its balance and its whole story, payments either way, and receipts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import get_args

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.money import Cents
from server.domain.pieces import STATE_WORDS as PIECE_WORDS
from server.domain.pieces import Piece
from server.domain.policy import ShopTerms
from server.domain.sales import (
    CONCLUDED_WORDS,
    MEANS_WORDS,
    MONEY,
    PAPER_WORDS,
    STATE_WORDS,
    Item,
    Sale,
    SaleState,
    Settlement,
    cash_rounded,
    counted_label,
    may_be_taken_back,
    taken_back,
    ways_paid,
)
from server.domain.slots import SLOT_WORDS
from server.usecases.called_up import story_of_sale
from server.usecases.pieces import pieces_of_sale
from server.usecases.returns import cases_of
from server.usecases.sales import buyer_of, list_sales, paper_name, policy_of, read_sale, sale_for, take_payment
from server.usecases.work import Work, new_token
from server.web.pages.calls import RowNumber
from server.web.pages.contract import MEANS_CHOICES, amount_to_type, payment_in
from server.web.pages.desk import gear_words, things_of
from server.web.pages.forms import Form, TypedForm, text_in
from server.web.pages.papers import SellerShown, seller_of
from server.web.pages.story import ToldShown, story_shown
from server.web.render import day_words, see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, SettingsOf, ShopOf

open_router = APIRouter(include_in_schema=False)
router = APIRouter(include_in_schema=False)

STATES: tuple[SaleState, ...] = get_args(SaleState)
STATE_CHOICES = tuple((state, STATE_WORDS[state]) for state in STATES)
LONGEST_SERIAL = 100
GONE_WORDS = {"returned": "given back", "swapped": "swapped for another", "withdrawn": "taken out"}


@dataclass(frozen=True, slots=True)
class SaleShown:
    """A sale in the list; `owed` in cents, negative where the shop owes."""

    number: int
    code: str
    name: str
    when: str
    state: str
    owed: Cents


@dataclass(frozen=True)
class SalesPage:
    """The newest sales, or those of one state, or with a serial number."""

    sales: tuple[SaleShown, ...]
    states: tuple[tuple[str, str], ...]
    state: str
    serial: str
    is_more: bool


@dataclass(frozen=True, slots=True)
class ItemShown:
    """An item of a sale: what it is, what was charged for it in cents, and where it is now."""

    number: int
    word: str
    label: str
    charged: Cents
    where: str
    serial: str
    is_included: bool


@dataclass(frozen=True, slots=True)
class PaperLink:
    """A paper of a sale; `gross` in cents, negative on a credit note."""

    number: int
    name: str
    kind: str
    day: str
    gross: Cents
    why: str


@dataclass(frozen=True, slots=True)
class PaidShown:
    """A payment of a sale, or what stands for one; in cents, negative where the shop paid."""

    id: int
    day: str
    means: str
    amount: Cents
    by: str
    note: str
    has_receipt: bool
    was_taken_back: bool = False
    may_be_taken_back: bool = False


@dataclass(frozen=True, slots=True)
class GearShown:
    """Old gear that comes with a sale: its number among the pieces, what it is, its value in cents, and where it stands."""

    number: int
    what: str
    value: Cents
    stands: str
    is_to_come: bool


@dataclass(frozen=True, slots=True)
class Act:
    """Something to do with a sale: its words and its address."""

    words: str
    address: str


@dataclass(frozen=True)
class SalePage:
    """A sale: its state and balance, the next thing to do, its items, papers, payments and story."""

    number: int
    code: str
    has_quote: bool
    has_goods: bool
    name: str
    phone: str
    email: str
    state: str
    owed: Cents
    concluded: str
    made_on: str
    delivery: str
    address: tuple[str, ...]
    may_write: bool
    next_act: Act | None
    acts: tuple[Act, ...]
    back_act: Act | None
    news: tuple[tuple[str, str, Act], ...]
    """What is open with it: in a word, in a sentence, and where to see to it."""
    gear: tuple[GearShown, ...]
    items: tuple[ItemShown, ...]
    papers: tuple[PaperLink, ...]
    charged: Cents
    paid: tuple[PaidShown, ...]
    met: Cents
    story: tuple[ToldShown, ...]
    customers_page: str


@dataclass(frozen=True)
class PayPage(TypedForm):
    """A payment to record, or money to pay out; `left` in cents, negative where the shop owes."""

    number: int
    code: str
    name: str
    left: Cents
    in_cash: Cents
    means: tuple[tuple[str, str], ...]
    ways: str
    """How the customer paid, where money goes back to them."""
    key: str
    typed: Mapping[str, str]
    faults: tuple[Fault, ...] = ()

    @property
    def other_faults(self) -> tuple[Fault, ...]:
        """What is wrong that stands at no field."""
        return tuple(fault for fault in self.faults if fault.field not in ("amount", "means", "note"))


@dataclass(frozen=True)
class ReceiptPage:
    """A receipt for one payment, either way; amounts in cents."""

    seller: SellerShown
    number: str
    paid_on: str
    buyer: tuple[str, ...]
    code: str
    amount: Cents
    rounding: Cents
    means: str
    note: str
    left: Cents
    as_of: str
    taken_back: str
    takes_back: bool
    """Whether it is a counter-entry, by which no money moved."""
    back_to: str


# The list.


@router.get("/desk/sales")
def show_all(
    request: Request, account: StaffOf, shop: ShopOf, pages: PagesOf, state: str = "", serial: str = ""
) -> Response:
    """The newest sales; with a `state` those that stand so, with a `serial` those with such a serial number."""
    wanted = next((one for one in STATES if one == state), None)
    sought = serial.strip()[:LONGEST_SERIAL]
    with shop.reading(account.name) as work:
        terms = work.catalogue.policy.shop
        found, is_more = list_sales(work, wanted, sought)
        page = SalesPage(
            sales=tuple(_listed(sale, terms) for sale in found),
            states=STATE_CHOICES,
            state=wanted or "",
            serial=sought,
            is_more=is_more,
        )
        return pages.show(request, "sales/sales.html", page, terms)


def _listed(sale: Sale, terms: ShopTerms) -> SaleShown:
    made = day_words(sale.made_on, terms)
    return SaleShown(sale.id, sale.code, sale.contact.name, made, STATE_WORDS[sale.state], sale.owed)


# One sale.


@router.get("/desk/sales/{number}")
def show(
    request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, settings: SettingsOf, pages: PagesOf
) -> Response:
    """A sale with all that belongs to it."""
    with shop.reading(account.name) as work:
        page = _sale_page(work, read_sale(work, number), settings.address)
        return pages.show(request, "sales/sale.html", page, work.catalogue.policy.shop)


def _sale_page(work: Work, sale: Sale, address: str) -> SalePage:
    terms = work.catalogue.policy.shop
    return SalePage(
        number=sale.id,
        code=sale.code,
        has_quote=bool(sale.quote_token),
        has_goods=bool(sale.goods),
        name=sale.contact.name,
        phone=sale.contact.phone,
        email=sale.contact.email,
        state=STATE_WORDS[sale.state],
        owed=sale.owed,
        concluded=CONCLUDED_WORDS[sale.concluded],
        made_on=day_words(sale.made_on, terms),
        delivery="sent to them" if sale.delivery == "deliver" else "collected at the shop",
        address=tuple(sale.address.split("\n")) if sale.address else (),
        may_write=sale.may_write,
        next_act=next_act(sale),
        acts=_acts(sale),
        back_act=_back_act(sale),
        news=tuple(_news(work, sale)),
        gear=tuple(_gear(one) for one in pieces_of_sale(work, sale.id) if one.source == "trade_in"),
        items=tuple(_item(item, terms) for item in sale.items),
        papers=tuple(
            PaperLink(
                paper.number,
                paper_name(work, paper),
                PAPER_WORDS[paper.kind],
                day_words(paper.day, terms),
                paper.gross,
                paper.why,
            )
            for paper in sale.papers
        ),
        charged=sum(paper.gross for paper in sale.papers),
        paid=tuple(_paid(sale, one, terms) for one in sale.settlements),
        met=sum(one.amount for one in sale.settlements),
        story=story_shown(story_of_sale(work, sale), terms),
        customers_page=f"{address}/owned/{sale.token}",
    )


def next_act(sale: Sale) -> Act | None:
    """The next thing to do with a sale: money first, then the goods; None where all is done."""
    base = f"/desk/sales/{sale.id}"
    if sale.owed > 0:
        return Act("Take payment", f"{base}/pay")
    if sale.owed < 0:
        return Act("Pay out", f"{base}/pay")
    if sale.state == "paid":
        return (
            Act("Send it", f"{base}/delivery") if sale.delivery == "deliver" else Act("Hand over", f"{base}/hand-over")
        )
    return Act("It arrived", f"{base}/delivery") if sale.state == "on_its_way" else None


def _acts(sale: Sale) -> tuple[Act, ...]:
    """All else that can be done with it."""
    base = f"/desk/sales/{sale.id}"
    acts = []
    if any(item.is_to_come for item in sale.items):
        acts += [Act("Hand over", f"{base}/hand-over"), Act("Delivery", f"{base}/delivery")]
    sent = sale.done("sent")
    if sent is not None and any(item.is_to_come for item in sale.items):
        acts.append(Act("Labels to print", f"{base}/delivery/label?parcels={sent.about.get('parcels', 1)}"))
    if any(item.is_with_customer for item in sale.items):
        acts += [
            Act("Swap for another size", f"{base}/swap"),
            Act("Something is faulty", f"{base}/fault"),
            Act("Support sessions", f"{base}/sessions"),
        ]
    chosen = next_act(sale)
    return tuple(act for act in acts if chosen is None or act.address != chosen.address)


def _back_act(sale: Sale) -> Act | None:
    """Taking something back, which stands apart from all else that can be done."""
    return Act("It comes back", f"/desk/sales/{sale.id}/return") if any(not item.gone for item in sale.goods) else None


def _news(work: Work, sale: Sale) -> Iterator[tuple[str, str, Act]]:
    """What came of the customer and is not settled: things that come back, and faulty ones."""
    terms, base = work.catalogue.policy.shop, f"/desk/sales/{sale.id}"
    for case in cases_of(work, sale):
        if case.is_settled:
            continue
        things, told = things_of(case, sale), day_words(case.notice_on, terms)
        if case.kind == "fault":
            yield "Faulty", f"{things}, told on {told}.", Act("See to it", f"{base}/fault")
        elif not case.outcome:
            due = f" Money due by {day_words(case.due_on, terms)}." if case.due_on else ""
            yield "Coming back", f"{things}, told on {told}.{due}", Act("It came", f"{base}/return")
        elif case.due_on and sale.owed < 0:
            yield "Came back", f"{things}. Money due by {day_words(case.due_on, terms)}.", Act("Pay out", f"{base}/pay")


def _gear(piece: Piece) -> GearShown:
    stands = {"expected": "to come", "to_inspect": "here, to look at"}.get(piece.state, PIECE_WORDS[piece.state])
    is_to_come = piece.state in ("expected", "to_inspect")
    return GearShown(piece.id, gear_words(piece), piece.bought, stands, is_to_come)


def _item(item: Item, terms: ShopTerms) -> ItemShown:
    label = counted_label(item.label, item.quantity)
    is_included = not item.charged and bool(item.worth)
    return ItemShown(
        item.number, SLOT_WORDS.get(item.slot, ""), label, item.charged, where_is(item, terms), item.serial, is_included
    )


def where_is(item: Item, terms: ShopTerms) -> str:
    """Where an item is now, in words; empty for what is nothing to hand over."""
    if not item.is_goods:
        return ""
    if item.gone:
        words = GONE_WORDS[item.gone]
        return f"{words} {day_words(item.gone_on, terms)}" if item.gone_on else words
    if item.received_on is not None:
        return f"with them since {day_words(item.received_on, terms)}"
    if item.sent_on is not None:
        return f"sent {day_words(item.sent_on, terms)}"
    return "set aside" if item.is_held or item.piece is not None else "follows, not in stock"


def _paid(sale: Sale, one: Settlement, terms: ShopTerms) -> PaidShown:
    counters = {mark.about.get("counter") for mark in taken_back(sale).values()}
    return PaidShown(
        one.id,
        day_words(one.day, terms),
        MEANS_WORDS[one.means],
        one.amount,
        one.by,
        one.note,
        one.means in MONEY and one.id not in counters,
        one.id in taken_back(sale),
        may_be_taken_back(sale, one),
    )


# Payments.


@router.get("/desk/sales/{number}/pay")
def ask_payment(request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The form for a payment, or for paying out what the shop owes."""
    with shop.reading(account.name) as work:
        page = _pay_page(work, read_sale(work, number), {}, ())
        return pages.show(request, "sales/pay.html", page, work.catalogue.policy.shop)


@router.post("/desk/sales/{number}/pay")
def pay(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Record a payment, and back to the sale; where that cannot be, the form again with the reasons."""
    typed = {name: text_in(form, name) for name in ("amount", "means", "note", "other_way", "key")}
    try:
        with shop.writing(account.name) as work:
            read_sale(work, number)
            payment, faults = payment_in(form, is_out=text_in(form, "way") == "out")
            if payment is None:
                raise InvalidInput(faults)
            take_payment(work, number, payment, typed["key"], is_way_agreed=bool(typed["other_way"]))
        return see_other(f"/desk/sales/{number}")
    except (InvalidInput, Conflict) as error:
        faults, status = list(error.faults), 422 if isinstance(error, InvalidInput) else 409
    with shop.reading(account.name) as work:
        page = _pay_page(work, read_sale(work, number), typed, tuple(faults))
        return pages.show(request, "sales/pay.html", page, work.catalogue.policy.shop, status=status)


def _pay_page(work: Work, sale: Sale, typed: Mapping[str, str], faults: tuple[Fault, ...]) -> PayPage:
    rounds = work.catalogue.policy.sales.rounds_cash
    ways = ways_paid(sale) if sale.owed < 0 else ()
    return PayPage(
        number=sale.id,
        code=sale.code,
        name=sale.contact.name,
        left=sale.owed,
        in_cash=cash_rounded(sale.owed) if rounds else sale.owed,
        means=MEANS_CHOICES,
        ways=" and ".join(MEANS_WORDS[one] for one in ways),
        key=typed.get("key") or new_token(),
        typed={"amount": amount_to_type(sale.owed), "means": ways[0] if ways else "", **typed},
        faults=faults,
    )


# Receipts.


@router.get("/desk/sales/{number}/receipts/{entry}")
def receipt(
    request: Request, number: RowNumber, entry: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf
) -> Response:
    """The receipt for a payment, to print."""
    with shop.reading(account.name) as work:
        page = _receipt_page(work, read_sale(work, number), entry, f"/desk/sales/{number}")
        return pages.show(request, "sales/receipt.html", page, work.catalogue.policy.shop)


@open_router.get("/owned/{token}/receipts/{entry}")
def customers_receipt(request: Request, token: str, entry: RowNumber, shop: ShopOf, pages: PagesOf) -> Response:
    """The receipt for a payment, for the customer."""
    with shop.reading() as work:
        page = _receipt_page(work, sale_for(work, token), entry, f"/owned/{token}")
        return pages.show(request, "sales/receipt.html", page, work.catalogue.policy.shop)


def _receipt_page(work: Work, sale: Sale, entry: int, back_to: str) -> ReceiptPage:
    one = next((one for one in sale.settlements if one.id == entry and one.means in MONEY), None)
    if one is None:
        raise NotFound("entry", "There is no such receipt.")
    back = taken_back(sale).get(one.id)
    terms = work.catalogue.policy.shop
    following = next((other for other in sale.settlements if other.id > one.id), None)
    is_rounded = following is not None and following.means == "rounding"
    return ReceiptPage(
        seller=seller_of(policy_of(work, sale)),
        number=f"{sale.code}-{one.id}",
        paid_on=day_words(one.day, terms),
        buyer=tuple(buyer_of(sale).split("\n")),
        code=sale.code,
        amount=one.amount,
        rounding=following.amount if following is not None and is_rounded else 0,
        means=MEANS_WORDS[one.means],
        note=one.note,
        left=sale.owed,
        as_of=day_words(work.today, terms),
        taken_back=day_words(back.at.date(), terms) if back is not None else "",
        takes_back=one.id in {mark.about.get("counter") for mark in taken_back(sale).values()},
        back_to=back_to,
    )
