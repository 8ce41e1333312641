"""Contracts and their money: a quote becomes a sale when the shop takes payment; what is paid in parts; papers in one series.

What does not commit is there for other verbs, which commit. Locks are taken in one order: the quote, the sale, lessons, pieces, parts,
and the series of papers last.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from server.domain.codes import spaced_code
from server.domain.contracts import agreed_share, gear_of, invoice_lines, items_of, plain_delivery
from server.domain.deposits import decimal_of
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound, Outdated
from server.domain.money import Cents
from server.domain.pieces import Piece, scheme_for
from server.domain.policy import Policy
from server.domain.quotes import Quote
from server.domain.sales import (
    CONCLUDED,
    CONCLUDED_WORDS,
    MARK_WORDS,
    MEANS_WORDS,
    MONEY,
    MOST_PAYMENT,
    Concluded,
    Mark,
    MarkKind,
    Means,
    Paper,
    PaperKind,
    PaperLine,
    Sale,
    SaleState,
    check_payment,
    check_way_back,
    paper_number,
    rounding_for,
    write_paper,
)
from server.domain.stock import Contact, Hold
from server.outside.amounts import money_in_words
from server.outside.public_holidays import public_holidays
from server.persistence.cases import settle_paid_returns
from server.persistence.pieces import add_piece
from server.persistence.policies import load_policy
from server.persistence.sales import (
    add_mark,
    add_paper,
    add_sale,
    add_settlement,
    hold_of_sale,
    load_sale,
    load_sales,
    newest_sales,
    next_number,
    sale_at,
    sale_of_quote,
    sale_under,
    sales_with_serial,
)
from server.persistence.stock import contact_of, keep_hold, open_hold_of
from server.usecases.clock import check_clock
from server.usecases.deposits import fees_back_with, give_back_with
from server.usecases.messages import tell
from server.usecases.quotes import find_quote, locked_quote, read_quote, refuse_settled
from server.usecases.stock import set_aside
from server.usecases.work import Work, is_token, new_token

LONGEST_NOTE = 200
FEWEST_IN_ADDRESS, LONGEST_ADDRESS = 5, 400
LONGEST_KEY = 100
MOST_LISTED = 60
MOST_FILTERED = 5
"""How many times as many sales are looked at where only those of one state are wanted."""
KEY_ACCEPTED = "the key of the form, of 8 to 100 characters"
ADDRESS_ACCEPTED = f"name of the street, place, postcode and country, in at most {LONGEST_ADDRESS} characters"
CONCLUDED_ACCEPTED = "one of: " + "; ".join(CONCLUDED_WORDS[one] for one in CONCLUDED)
MEANS_ACCEPTED = "one of: " + "; ".join(MEANS_WORDS[one] for one in MONEY)
NO_SALE = "There is no such sale."


@dataclass(frozen=True, slots=True)
class Payment:
    """Money as the desk takes it: how much in cents, how, and a note; never a card number."""

    amount: Cents
    means: Means
    note: str = ""


@dataclass(frozen=True, slots=True)
class Terms:
    """How a contract is made: where, to which address it goes if it is sent, and whether the shop may write afterwards."""

    concluded: Concluded
    address: str = ""
    may_write: bool = False
    contact: Contact | None = None
    """For whom, where nobody has asked to hold the parts yet."""
    together: Sequence[str] = ()
    """Codes of quotes of parts bought before, which count towards the same lesson fees."""


def make_contract(work: Work, code: str, revision: int, terms: Terms, payment: Payment | None, key: str) -> Sale:
    """Make the contract of a quote's newest revision: the shop takes payment, the parts stay set aside until they are handed over.

    In one transaction: the lesson fees are given back as of the day it was agreed to, the first invoice is written, old gear is
    expected, the first payment is recorded, and the customer is told. The same form sent again (`key`) gives the sale it made. Raises
    `InvalidInput` with every fault, `NotFound`, `Outdated`, `Conflict` for a quote that was bought or withdrawn, and what setting
    aside raises where nobody had agreed yet.
    """
    check_key(key)
    quote = locked_quote(work, find_quote(work, code))
    there = sale_under(work.session, key)
    if there is not None:
        return read_sale(work, there)
    refuse_settled(work, quote.token)
    if revision != quote.revision:
        words = f"This was revision {revision}; the newest is revision {quote.revision}. Look at it again."
        raise Outdated([Fault("revision", words, str(quote.revision))])
    faults = [*_faults_of_terms(quote, terms), *(payment_faults(payment) if payment else ())]
    hold = open_hold_of(work.session, quote.token, work.now, to_change=True)
    is_held = hold is not None and hold.revision == revision
    if not is_held and terms.contact is None:
        faults.append(
            Fault("name", "Nobody has agreed to this revision yet: who buys it?", "a name and how to reach them")
        )
    if faults:
        raise InvalidInput(faults)
    if hold is None or not is_held:
        assert terms.contact is not None
        hold = set_aside(work, quote, terms.contact, revision)
    contact = contact_of(work.session, quote.token) or terms.contact
    if contact is None:
        raise InvalidInput(
            [Fault("name", "We do not know any more who agreed to this.", "a name and how to reach them")]
        )
    sale = _kept(work, quote, hold, contact, terms, key)
    sale = _first_settlements(work, sale, quote, hold, terms)
    if payment is not None:
        sale = pay(work, sale, payment, f"{key}:payment")
    elif sale.owed > 0:
        raise InvalidInput(
            [Fault("amount", "A contract is made with a payment.", "a part of the balance, or all of it")]
        )
    _tell_made(work, sale)
    work.commit()
    return sale


@dataclass(frozen=True)
class Offered:
    """A quote before its contract: what is left to pay (negative: the shop owes), who asked, and whether they agreed to this revision.

    `fees` are the lesson fees that would be given back as of the day they agreed; amounts in cents.
    """

    quote: Quote
    left: Cents
    fees: Cents
    is_agreed: bool
    contact: Contact | None
    is_sent: bool


def contract_offered(work: Work, code: str) -> Offered | int:
    """What the contract of a quote would be today, or the number of the sale that it became already; it writes nothing.

    Raises `InvalidInput` or `NotFound` for a code that is none, and `Conflict` for a quote that was withdrawn.
    """
    token = find_quote(work, code)
    number = sale_of_quote(work.session, token)
    if number is not None:
        return number
    refuse_settled(work, token)
    quote = read_quote(work, token)
    hold = open_hold_of(work.session, token, work.now)
    is_agreed = hold is not None and hold.revision == quote.revision
    zone = work.zone
    as_of = hold.made_at.astimezone(zone).date() if hold is not None and is_agreed else work.today
    fees, price = fees_back_with(work, quote, (), as_of), quote.kit.price
    left = price.charged + price.delivery - price.trade_in - price.voucher - fees
    return Offered(quote, left, fees, is_agreed, contact_of(work.session, token), _is_sent(quote))


def faults_of_contract(work: Work, code: str, terms: Terms, payment: Payment | None) -> list[Fault]:
    """What `make_contract` would find wrong with terms and payment by themselves, so that a form can say it with all else."""
    quote = read_quote(work, find_quote(work, code))
    return [*_faults_of_terms(quote, terms), *(payment_faults(payment) if payment else ())]


def _faults_of_terms(quote: Quote, terms: Terms) -> list[Fault]:
    faults = []
    if terms.concluded not in CONCLUDED:
        faults.append(Fault("concluded", "This is not a way to make a contract here.", CONCLUDED_ACCEPTED))
    return [*faults, *address_faults(terms.address, is_sent=_is_sent(quote))]


def tidy_address(address: str) -> str:
    """An address a line each, however its lines were ended, without blanks around them and without empty ones."""
    return "\n".join(line for line in (line.strip() for line in address.splitlines()) if line)


def address_faults(address: str, *, is_sent: bool) -> list[Fault]:
    """What is wrong with an address as it was typed; one is needed where something is to be sent."""
    kept = tidy_address(address)
    if is_sent and len(kept) < FEWEST_IN_ADDRESS:
        return [Fault("address", "It is to be sent: where to?", ADDRESS_ACCEPTED)]
    if len(kept) > LONGEST_ADDRESS or not kept.replace("\n", "").isprintable():
        return [Fault("address", "This address cannot be kept.", ADDRESS_ACCEPTED)]
    return []


def _is_sent(quote: Quote) -> bool:
    return (quote.answers.get("delivery") or "deliver") == "deliver"


def _kept(work: Work, quote: Quote, hold: Hold, contact: Contact, terms: Terms, key: str) -> Sale:
    """The sale with its items and its first mark, its parts kept aside for good."""
    policy, price = work.catalogue.policy, quote.kit.price
    percent = policy.shop.vat_percent
    held = list(hold.skus)
    items = []
    for item in items_of(quote, work.catalogue.parts, percent, work.today):
        is_held = item.is_goods and item.sku in held
        if is_held:
            held.remove(item.sku)
        items.append(replace(item, is_held=is_held))
    sale = Sale(
        id=0,
        token=new_token(),
        code=quote.code,
        quote_token=quote.token,
        revision=quote.revision,
        concluded=terms.concluded,
        made_at=work.now,
        made_on=work.today,
        contact=contact,
        delivery="deliver" if _is_sent(quote) else "collect",
        zone=quote.answers.get("zone") or policy.shop.home_zone,
        address=tidy_address(terms.address),
        tier_name=price.tier.name if price.tier else "",
        tier_percent=price.tier.percent if price.tier else 0,
        agreed_share=agreed_share(price),
        policy_version=quote.policy_version,
        may_write=terms.may_write,
        items=tuple(items),
    )
    number = add_sale(work.session, sale, key, hold.id)
    keep_hold(work.session, hold.id, work.now)
    plain = plain_delivery(quote, work.catalogue)
    about = {"concluded": terms.concluded, "revision": quote.revision, "plain_delivery": plain}
    mark(work, number, "confirmed", key, about=about)
    return read_sale(work, number)


def _first_settlements(work: Work, sale: Sale, quote: Quote, hold: Hold, terms: Terms) -> Sale:
    """What meets the first invoice besides money: lesson fees given back, old gear, a voucher paid before."""
    price = quote.kit.price
    zone = work.zone
    fees = give_back_with(work, quote, terms.together, hold.made_at.astimezone(zone).date())
    for gear in gear_of(quote):
        _expect(work, sale, quote, gear.place, gear.value)
    percent = work.catalogue.policy.shop.vat_percent
    sale = issue(work, sale, "invoice", invoice_lines(sale.items, price.delivery, percent))
    for means, amount, note in (
        ("lesson_fee", fees, ""),
        ("trade_in", price.trade_in, ""),
        ("voucher", price.voucher, "paid before"),
    ):
        if amount:
            sale = settle(work, sale, means, amount, note, checked=False)  # type: ignore[arg-type]
    return sale


def _expect(work: Work, sale: Sale, quote: Quote, place: int, value: Cents) -> None:
    """Old gear that is to come with a contract, at the value that was agreed; firm once it was looked at."""
    given = (quote.answers.get("trades") or ())[place]
    slot = given["slot"]
    piece = Piece(
        id=0,
        token=new_token(),
        source="trade_in",
        state="expected",
        slot=slot,
        name=given.get("name") or "",
        maker="",
        condition=given.get("condition") or "good",
        bought=value,
        scheme=scheme_for("trade_in"),
        percent=work.catalogue.policy.shop.vat_percent,
        from_sale=sale.id,
        from_item=place,
    )
    add_piece(work.session, piece, work.now, work.actor)


def tell_owner(work: Work, sale: Sale, name: str, values: Mapping[str, str]) -> None:
    """Write a message of a kind to whoever bought, with the code of the sale and the way to their page. It does not commit."""
    tell(
        work,
        name,
        to_name=sale.contact.name,
        to_email=sale.contact.email,
        about=f"sale:{sale.id}",
        values={"code": spaced_code(sale.code), "link": f"/owned/{sale.token}", **values},
    )


def _tell_made(work: Work, sale: Sale) -> None:
    said = money_of(work)
    tell_owner(
        work,
        sale,
        "contract_made",
        {
            "paid": said(sum(one.amount for one in sale.settlements if one.means in MONEY)),
            "left": said(max(0, sale.owed)),
        },
    )


# Reading.


def read_sale(work: Work, number: int) -> Sale:
    """A sale by its number; raises `NotFound`."""
    sale = load_sale(work.session, number)
    if sale is None:
        raise NotFound("sale", NO_SALE)
    return sale


def sale_for(work: Work, token: str) -> Sale:
    """The sale at a customer's address; raises `NotFound`."""
    number = sale_at(work.session, token) if is_token(token) else None
    if number is None:
        raise NotFound("token", NO_SALE)
    return read_sale(work, number)


def sale_of(work: Work, quote_token: str) -> Sale | None:
    """The sale that a quote became, or None."""
    number = sale_of_quote(work.session, quote_token)
    return None if number is None else load_sale(work.session, number)


def list_sales(work: Work, state: SaleState | None = None, serial: str = "") -> tuple[list[Sale], bool]:
    """The newest sales, of a state or with a serial number where that is asked for, and whether older ones were not looked at."""
    if serial:
        # A serial number is kept only where it can be printed, and PostgreSQL refuses to look for the sign of zero.
        numbers = sales_with_serial(work.session, serial, MOST_LISTED + 1) if serial.isprintable() else []
    else:
        numbers = newest_sales(work.session, MOST_LISTED * (MOST_FILTERED if state else 1) + 1)
    most = MOST_LISTED * (MOST_FILTERED if state and not serial else 1)
    found = load_sales(work.session, numbers[:most])
    return [sale for sale in found if state is None or sale.state == state][:MOST_LISTED], len(numbers) > most


def locked_sale(work: Work, number: int) -> Sale:
    """A sale that nobody else may change meanwhile; raises `NotFound`."""
    sale = load_sale(work.session, number, to_change=True)
    if sale is None:
        raise NotFound("sale", NO_SALE)
    return sale


def policy_of(work: Work, sale: Sale) -> Policy:
    """The policy under which a sale was made."""
    return policy_at(work, sale.policy_version)


def holidays_around(work: Work, sale: Sale) -> frozenset[date]:
    """The public holidays of the shop's country from the year of a sale until next year."""
    years = range(sale.made_on.year, work.today.year + 2)
    return public_holidays(policy_of(work, sale).shop.country, years)


def held_by(work: Work, sale: Sale) -> int | None:
    """The hold that sets a sale's parts aside."""
    return hold_of_sale(work.session, sale.id)


# Steps of other verbs; none of them commits.


def check_key(key: str) -> None:
    """Refuse a form without its key; raises `InvalidInput`."""
    if not 8 <= len(key) <= LONGEST_KEY or not key.isprintable():
        raise InvalidInput([Fault("key", "The form has lost its key: load the page again.", KEY_ACCEPTED)])


def case_done_under(sale: Sale, key: str) -> int | None:
    """The number of the case that a form's key has opened; None for a new key. Raises `Conflict` where it has done something else."""
    done = sale.done_under(key)
    if done is None:
        return None
    case = done.about.get("case")
    if case is None:
        raise Conflict([Fault("key", "This form was used for something else already: load the page again.")])
    return int(case)


TOLD_ELSEWHERE = ("paid", "returned", "swapped", "serial")
"""What follows by itself, and what the record of deeds has in words of its own."""


def mark(
    work: Work, number: int, kind: MarkKind, key: str, why: str = "", about: Mapping[str, Any] | None = None
) -> Mark:
    """Keep that something was done with a sale, once for each key."""
    add_mark(work.session, number, kind, work.now, work.actor, key, why, about)
    if kind not in TOLD_ELSEWHERE:
        work.note_deed(f"sale {number}: {MARK_WORDS[kind][0].lower()}{MARK_WORDS[kind][1:]}")
    return Mark(kind, work.now, work.actor, why, about or {}, key)


def issue(
    work: Work, sale: Sale, kind: PaperKind, lines: Sequence[PaperLine], *, why: str = "", corrects: int | None = None
) -> Sale:
    """Write an invoice or a credit note under the next number of the series; the sale with it. The sale has to be locked."""
    check_clock(work)
    number = next_number(work.session)
    paper = write_paper(
        kind,
        number,
        work.today,
        lines,
        sale.papers,
        why=why,
        corrects=corrects,
        by=work.actor,
        buyer=buyer_of(sale),
        policy_version=work.catalogue.policy.version,
    )
    add_paper(work.session, sale.id, paper)
    return read_sale(work, sale.id)


def buyer_of(sale: Sale) -> str:
    """Who buys as a paper names them, a line each: the address as it was given, which may begin with the name, or the name."""
    lines = [line for line in sale.address.split("\n") if line]
    return "\n".join(lines if lines[:1] == [sale.contact.name] else [sale.contact.name, *lines])


def settle(work: Work, sale: Sale, means: Means, amount: Cents, note: str = "", *, checked: bool = True) -> Sale:
    """Keep a payment (positive) or a pay-out (negative), with the rounding of cash where the shop rounds; the sale with it.

    Raises `InvalidInput` where more would be paid than is left, unless it is not `checked`: what the contract itself brings is not.
    The sale has to be locked, or be new.
    """
    check_clock(work)
    rounds = work.catalogue.policy.sales.rounds_cash
    was_owed = sale.owed
    if checked and (fault := check_payment(sale, means, amount, rounds, money_of(work))) is not None:
        raise InvalidInput([fault])
    rounding = rounding_for(means, amount, was_owed, rounds) if checked else 0
    add_settlement(work.session, sale.id, means, amount, work.today, work.now, work.actor, note)
    if rounding:
        add_settlement(work.session, sale.id, "rounding", rounding, work.today, work.now, work.actor)
    sale = read_sale(work, sale.id)
    if was_owed > 0 >= sale.owed:
        mark(work, sale.id, "paid", key=f"paid:{len(sale.settlements)}")
        sale = read_sale(work, sale.id)
    return sale


def payment_faults(payment: Payment) -> list[Fault]:
    """What is wrong with money as it was typed, before it is held against a balance."""
    faults = []
    if payment.means not in MONEY:
        faults.append(Fault("means", "This is not a way to pay here.", MEANS_ACCEPTED))
    if not 0 < abs(payment.amount) <= MOST_PAYMENT:
        accepted = f"an amount from 0.01 to {decimal_of(MOST_PAYMENT)}"
        faults.append(Fault("amount", "This is not an amount to pay.", accepted))
    if len(payment.note) > LONGEST_NOTE or not payment.note.isprintable():
        faults.append(Fault("note", "This note cannot be kept.", f"one line of at most {LONGEST_NOTE} characters"))
    return faults


# Payments.


def take_payment(work: Work, number: int, payment: Payment, key: str, *, is_way_agreed: bool = True) -> Sale:
    """Record a payment, in part or in full, once for each form; a negative amount pays out what the shop owes.

    Raises `NotFound`, and `InvalidInput` with every fault: an unknown way to pay, more than is left, or money that goes back
    another way than it came, unless that is agreed.
    """
    check_key(key)
    sale = locked_sale(work, number)
    if sale.done_under(key) is not None:
        return sale
    faults = payment_faults(payment)
    other_way = check_way_back(sale, payment.means) if payment.amount < 0 and not is_way_agreed else None
    if faults or other_way:
        raise InvalidInput([*faults, *([other_way] if other_way else [])])
    sale = pay(work, sale, payment, key)
    if sale.owed >= 0:
        settle_paid_returns(work.session, sale.id, work.now)
    work.commit()
    return sale


def pay(work: Work, sale: Sale, payment: Payment, key: str) -> Sale:
    """Keep a payment, or a pay-out where it is negative, as a step of another verb; the sale with it. The sale has to be locked."""
    kind: MarkKind = "payment" if payment.amount > 0 else "paid_out"
    said = f"{decimal_of(abs(payment.amount))}, {MEANS_WORDS[payment.means]}"
    mark(work, sale.id, kind, key, about={"amount": payment.amount, "means": payment.means, "said": said})
    return settle(work, sale, payment.means, payment.amount, payment.note)


def policy_at(work: Work, version: int) -> Policy:
    """A policy by its version; the one in force for 0."""
    now = work.catalogue.policy
    return now if version in (0, now.version) else load_policy(work.session, version)


def paper_name(work: Work, paper: Paper) -> str:
    """The number of a paper as it is printed, with the prefix of its day."""
    return paper_number(paper.number, policy_at(work, paper.policy_version).sales.invoice_prefix)


def money_of(work: Work) -> Callable[[Cents], str]:
    """How the shop writes an amount, for a sentence or a letter."""
    terms = work.catalogue.policy.shop
    return lambda cents: money_in_words(cents, terms.currency, terms.locale)
