"""Sales as the desk makes them: a quote kept, agreed to and bought, and how far it has come."""

from __future__ import annotations

from itertools import count
from typing import Any

from server.domain.quotes import Quote
from server.domain.sales import Concluded, Means, Sale
from server.domain.stock import Contact
from server.usecases.quotes import issue_quote
from server.usecases.sales import Payment, Terms, make_contract, read_sale, take_payment
from server.usecases.stock import agree_to_quote
from server.usecases.work import Shop
from tests.builders_shop import learner

KEYS = count(1)
ADDRESS = "Some One\n1 The Strand\nTullaveen\nIreland"


def new_key() -> str:
    """A form's key that no other form has."""
    return f"form-key-{next(KEYS):06d}"


def agreed_quote(shop: Shop, **given: Any) -> Quote:
    """A quote for the recommended kit, agreed to by somebody of its own; collected at the shop unless it is said otherwise."""
    with shop.writing() as work:
        quote = issue_quote(work, learner(**{"delivery": "collect", **given}))
    with shop.writing() as work:
        who = Contact("Some One", f"{quote.code.lower()}@example.org")
        agree_to_quote(work, quote.token, who, quote.revision)
    return quote


def bought(
    shop: Shop,
    concluded: Concluded = "distance",
    *,
    paid: int | None = None,
    means: Means = "terminal",
    may_write: bool = True,
    **given: Any,
) -> Sale:
    """A contract with its first payment: all that is left to pay, unless it is said otherwise."""
    quote = agreed_quote(shop, **given)
    amount = quote.kit.price.balance if paid is None else paid
    with shop.writing("Maeve") as work:
        terms = Terms(concluded, ADDRESS if given.get("delivery") == "deliver" else "", may_write)
        payment = Payment(amount, means) if amount else None
        return make_contract(work, quote.code, quote.revision, terms, payment, new_key())


def paid(shop: Shop, number: int, amount: int, means: Means = "terminal", key: str = "") -> Sale:
    """A payment, or a pay-out where it is negative."""
    with shop.writing("Maeve") as work:
        return take_payment(work, number, Payment(amount, means), key or new_key())


def sale_now(shop: Shop, number: int) -> Sale:
    """A sale as it stands."""
    with shop.reading() as work:
        return read_sale(work, number)
