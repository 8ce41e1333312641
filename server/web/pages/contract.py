"""From a quote to a contract, and the quote that is withdrawn: two forms at the desk."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import cast

from fastapi import APIRouter
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from server.domain.deposits import decimal_of
from server.domain.errors import Conflict, Fault, InvalidInput, Lapsed, Outdated, TooMany
from server.domain.finding import said_code
from server.domain.money import Cents
from server.domain.quotes import Quote
from server.domain.returns import Told
from server.domain.sale_terms import SaleTerms
from server.domain.sales import CONCLUDED, CONCLUDED_WORDS, MEANS_WORDS, MONEY, Concluded, Means, cash_rounded
from server.domain.stock import Contact, read_contact
from server.usecases.desk import know_code
from server.usecases.returns import told_of_quote
from server.usecases.sales import (
    CONCLUDED_ACCEPTED,
    MEANS_ACCEPTED,
    Payment,
    Terms,
    contract_offered,
    faults_of_contract,
    make_contract,
)
from server.usecases.standing import withdraw_quote
from server.usecases.work import Work, new_token
from server.web.pages.docket import Docket, docket_of_quote
from server.web.pages.forms import AMOUNT, Form, TypedForm, amount, cents, text_in, texts_in
from server.web.pages.words import title_of
from server.web.render import see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

MEANS_CHOICES = tuple((means, MEANS_WORDS[means]) for means in MONEY)
FIELDS = ("concluded", "address", "name", "email", "phone", "may_write", "together", "amount", "means", "note", "key")


@dataclass(frozen=True)
class ContractPage(TypedForm):
    """The form that makes the contract: what is to pay first, how it is concluded, where it goes, and the first payment.

    Amounts in cents; `left` is negative where the shop owes.
    """

    quote: Quote
    title: str
    docket: Docket
    left: Cents
    fees: Cents
    in_cash: Cents
    asks_contact: bool
    contact: Contact | None
    is_sent: bool
    concluded: tuple[tuple[str, str, str], ...]
    means: tuple[tuple[str, str], ...]
    told: Told
    has_trades: bool
    key: str
    typed: Mapping[str, str]
    faults: tuple[Fault, ...] = ()

    @property
    def other_faults(self) -> tuple[Fault, ...]:
        """What is wrong that stands at no field of the form."""
        return tuple(fault for fault in self.faults if fault.field not in FIELDS or fault.field == "key")


@dataclass(frozen=True)
class WithdrawPage(TypedForm):
    """A quote to withdraw, and why."""

    code: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()


@router.get("/desk/quotes/{code}/contract")
def ask_contract(request: Request, code: str, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The form that makes the contract of a quote's newest revision; of one that was bought, its sale."""
    know_code(shop, account.id, code)
    with shop.reading(account.name) as work:
        page = _contract_page(work, code, {}, ())
        if isinstance(page, int):
            return see_other(f"/desk/sales/{page}")
        return pages.show(request, "sales/contract.html", page, work.catalogue.policy.shop)


@router.post("/desk/quotes/{code}/contract")
def contract(request: Request, code: str, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Make the contract, and on to its sale; where that cannot be, the form again with every reason and all that was typed."""
    know_code(shop, account.id, code)
    typed = {name: text_in(form, name) for name in FIELDS}
    typed["together"] = ", ".join(texts_in(form, "together"))
    try:
        with shop.writing(account.name) as work:
            terms, payment, faults = _read(form)
            if faults:
                known = {fault.field for fault in faults}
                more = faults_of_contract(work, code, terms, payment)
                raise InvalidInput([*faults, *(fault for fault in more if fault.field not in known)])
            sale = make_contract(work, code, _revision(form), terms, payment, typed["key"])
        return see_other(f"/desk/sales/{sale.id}")
    except (InvalidInput, Conflict) as error:
        status = 422 if isinstance(error, InvalidInput) else 409
        faults = list(error.faults)
        if isinstance(error, Outdated):
            typed["amount"] = ""  # It was the older revision's.
    except (Lapsed, TooMany) as error:
        faults, status = [Fault("quote", str(error))], 410 if isinstance(error, Lapsed) else 429
    with shop.reading(account.name) as work:
        page = _contract_page(work, code, typed, tuple(faults))
        if isinstance(page, int):
            return see_other(f"/desk/sales/{page}")
        return pages.show(request, "sales/contract.html", page, work.catalogue.policy.shop, status=status)


def _read(form: FormData) -> tuple[Terms, Payment | None, list[Fault]]:
    """The terms and the payment of a form, and what of them cannot be read."""
    faults: list[Fault] = []
    contact = None
    if form.getlist("name"):
        try:
            contact = read_contact(*(text_in(form, name) for name in ("name", "email", "phone")))
        except InvalidInput as error:
            faults += error.faults
    payment = None
    if form.getlist("amount"):
        payment, wrong = payment_in(form)
        faults += wrong
    concluded = text_in(form, "concluded")
    if concluded not in CONCLUDED:
        faults.append(Fault("concluded", "How is the contract made?", CONCLUDED_ACCEPTED))
    together = [
        code for text in texts_in(form, "together") for code in text.replace(";", ",").split(",") if code.strip()
    ]
    faults += [
        Fault("together", f"{code.strip()} is not a code.", "codes such as HKBN 04QA, with commas between them")
        for code in together
        if not said_code(code)
    ]
    terms = Terms(
        cast(Concluded, concluded), text_in(form, "address"), bool(text_in(form, "may_write")), contact, together
    )
    return terms, payment, faults


def payment_in(form: FormData, *, is_out: bool = False) -> tuple[Payment | None, list[Fault]]:
    """The payment of a form, negative where the shop pays out, and what of it cannot be read."""
    read, means = cents(text_in(form, "amount")), text_in(form, "means")
    faults = []
    if not isinstance(read, int):
        faults.append(Fault("amount", "This is not an amount.", AMOUNT))
    if means not in MONEY:
        faults.append(Fault("means", "How was it paid?", MEANS_ACCEPTED))
    if faults or not isinstance(read, int):
        return None, faults
    return Payment(-read if is_out else read, cast(Means, means), text_in(form, "note")), []


def _revision(form: FormData) -> int:
    text = text_in(form, "revision")
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 7 else 0


def _contract_page(work: Work, code: str, typed: Mapping[str, str], faults: tuple[Fault, ...]) -> ContractPage | int:
    """The form as it stands, or the number of the sale that the quote became already; raises `Conflict` for one withdrawn."""
    offered = contract_offered(work, code)
    if isinstance(offered, int):
        return offered
    quote, policy, contact = offered.quote, work.catalogue.policy, offered.contact
    usual = {
        "amount": amount(offered.left) if offered.left > 0 else "",
        "name": contact.name if contact else "",
        "email": contact.email if contact else "",
        "phone": contact.phone if contact else "",
    }
    told = {name: value for name, value in typed.items() if value or name not in ("amount", "key")}
    return ContractPage(
        quote=quote,
        title=title_of(quote.setup),
        docket=docket_of_quote(quote),
        left=offered.left,
        fees=offered.fees,
        in_cash=cash_rounded(offered.left) if policy.sales.rounds_cash else offered.left,
        asks_contact=not offered.is_agreed,
        contact=contact,
        is_sent=offered.is_sent,
        concluded=_concluded_choices(policy.sales),
        means=MEANS_CHOICES,
        told=told_of_quote(work, quote),
        has_trades=bool(quote.kit.price.trades),
        key=typed.get("key") or new_token(),
        typed={**usual, **told},
        faults=faults,
    )


def _concluded_choices(terms: SaleTerms) -> tuple[tuple[str, str, str], ...]:
    """The ways to make a contract, each with what it means for giving back; local law decides."""
    law = f"{terms.cancel_days} days to give it back without a reason, from the day all of it came. Local law decides."
    counter = (
        f"No right to cancel by law; the shop takes unused goods back within {terms.counter_days} days."
        if terms.counter_days
        else "No right to cancel by law."
    )
    means = {"counter": counter, "beach": law, "distance": law}
    return tuple((one, CONCLUDED_WORDS[one], means[one]) for one in CONCLUDED)


# Withdrawing.


@router.get("/desk/quotes/{code}/withdraw")
def ask_why(request: Request, code: str, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """Ask why a quote is withdrawn, before it is."""
    know_code(shop, account.id, code)
    with shop.reading(account.name) as work:
        page = WithdrawPage(said_code(code))
        return pages.show(request, "sales/withdraw.html", page, work.catalogue.policy.shop)


@router.post("/desk/quotes/{code}/withdraw")
def withdraw(request: Request, code: str, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Withdraw a quote, and back to it; where that cannot be, the form again with the reason."""
    know_code(shop, account.id, code)
    because = text_in(form, "because")
    with shop.writing(account.name) as work:
        try:
            withdraw_quote(work, code, because)
        except (InvalidInput, Conflict) as error:
            page = WithdrawPage(said_code(code), {"because": because}, error.faults)
            status = 422 if isinstance(error, InvalidInput) else 409
            return pages.show(request, "sales/withdraw.html", page, work.catalogue.policy.shop, status=status)
    return see_other(f"/desk/quotes/{said_code(code)}")


def amount_to_type(left: Cents) -> str:
    """What is left, on whichever side, as it is typed."""
    return decimal_of(abs(left)) if left else ""
